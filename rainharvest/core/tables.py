"""Tables of the study file: what a field is measured in, what is likely, where its default comes from."""

from __future__ import annotations

import ast
import inspect
import re
import types
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator
from pydantic_core import PydanticUndefined

from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError


class Table(BaseModel):
    """A table of the study file: frozen, and without a key that it does not know.

    What a key means stands in the text below its field.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _no_quotes_about_numbers(cls, value: object, info: ValidationInfo) -> object:
        """Refuse a number, true or false in quotes: it would pass for one, and not be converted from US units."""
        for text in _texts(value) if _without_text(cls.model_fields[info.field_name].annotation) else ():
            if _PLAIN.fullmatch(text.strip()):
                raise InputError(f'"{text}" stands in quotes', f"write it without them: {text.strip()}")
        return value


_PLAIN = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?|true|false")


def _texts(value: object) -> Iterator[str]:
    """Yield the texts of a value, through lists and tables."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list | tuple | dict):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _texts(inner)


@cache
def _without_text(annotation: object) -> bool:
    """Return whether a field of this type holds numbers, true or false only."""
    if get_origin(annotation) is dict:
        return _without_text(get_args(annotation)[1])
    if get_origin(annotation) is Literal:
        return not any(isinstance(value, str) for value in get_args(annotation))
    parts = [part for part in get_args(annotation) if part not in (type(None), ...)]
    return all(map(_without_text, parts)) if parts else annotation in (int, float, bool)


def quantity(
    unit: str,
    default: Any = PydanticUndefined,
    *,
    likely: tuple[float, float] | None = None,
    schema: dict[str, Any] | None = None,
    **limits: Any,
) -> Any:
    """Return a field: its unit, default with source and likely range stand here and nowhere else.

    The units of a US file, the doubts about unlikely values, the page of keys and the JSON Schema read them from the
    field; ``examples`` among the limits is a value to show,
    ``schema`` what the JSON Schema says beside.
    Beyond ``likely`` (own choice, no source) a wrong unit is likelier than such a building.
    """
    known: dict[str, Any] = {"unit": unit} | (schema or {})
    if likely:
        known["likely"] = list(likely)
    if isinstance(default, Default):
        known |= {"source": default.source, "kind": default.kind}
        default = default.value
    return Field(default, json_schema_extra=known, **limits)


def file_name(default: Any = PydanticUndefined, **limits: Any) -> Any:
    """Return a field that names files, from the folder of the study file; that they are there is checked at once."""
    return Field(default, json_schema_extra={"file": True}, **limits)


def meanings_of(model: type[BaseModel]) -> dict[str, str]:
    """Return what each key of a table means: the text below its field."""
    out = {}
    for of in (one for one in reversed(model.__mro__) if issubclass(one, Table) and one is not Table):
        for field, text in pairwise(ast.parse(inspect.getsource(of)).body[0].body):
            if isinstance(field, ast.AnnAssign):
                out[field.target.id] = " ".join(text.value.value.split())
    return out


def known_of(model: type[BaseModel], what: str) -> dict[str, Any]:
    """Return "unit", "likely", "source" or "file" of each field of a model that states it."""
    stated = {name: field.json_schema_extra or {} for name, field in model.model_fields.items()}
    return {name: extra[what] for name, extra in stated.items() if what in extra}


def models_of(annotation: object) -> list[type[BaseModel]]:
    """Return the tables that the type of a field allows."""
    if get_origin(annotation) in (Union, types.UnionType, tuple, list, dict):
        return [model for part in get_args(annotation) for model in models_of(part)]
    return [annotation] if isinstance(annotation, type) and issubclass(annotation, BaseModel) else []
