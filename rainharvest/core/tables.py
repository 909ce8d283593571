"""Tables of the study file: what a field is measured in, what is likely, where its default comes from."""

from __future__ import annotations

import types
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import PydanticUndefined

from rainharvest.core.defaults import Default


class Table(BaseModel):
    """A table of the study file: frozen, and without a key that it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def quantity(
    unit: str,
    meaning: str,
    default: Any = PydanticUndefined,
    *,
    likely: tuple[float, float] | None = None,
    **limits: float,
) -> Any:
    """Return a field: its unit, meaning, default with source and likely range stand here and nowhere else.

    The units of a US file, the doubts about unlikely values and the JSON Schema read them from the field.
    Beyond ``likely`` (own choice, no source) a wrong unit is likelier than such a building.
    """
    known: dict[str, Any] = {"unit": unit}
    if likely:
        known["likely"] = list(likely)
    if isinstance(default, Default):
        known |= {"source": default.source, "kind": default.kind}
        default = default.value
    return Field(default, description=meaning, json_schema_extra=known, **limits)


def file_name(meaning: str, default: Any = PydanticUndefined, **limits: int) -> Any:
    """Return a field that names files, from the folder of the study file; that they are there is checked at once."""
    return Field(default, description=meaning, json_schema_extra={"file": True}, **limits)


def known_of(model: type[BaseModel], what: str) -> dict[str, Any]:
    """Return "unit", "likely", "source" or "file" of each field of a model that states it."""
    stated = {name: field.json_schema_extra or {} for name, field in model.model_fields.items()}
    return {name: extra[what] for name, extra in stated.items() if what in extra}


def models_of(annotation: object) -> list[type[BaseModel]]:
    """Return the tables that the type of a field allows."""
    if get_origin(annotation) in (Union, types.UnionType, tuple, list):
        return [model for part in get_args(annotation) for model in models_of(part)]
    return [annotation] if isinstance(annotation, type) and issubclass(annotation, BaseModel) else []
