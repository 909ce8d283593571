"""Every key of the study files in one place: a page for a reader, and a JSON Schema that editors complete from.

Both are made from the tables of the rooms: ``python -m rainharvest.study.reference`` writes them.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from rainharvest.catchment.tables import HourlyRain
from rainharvest.climates.tables import Region
from rainharvest.core.mistakes import metric_factor
from rainharvest.core.quantities import SHOWN_UNITS
from rainharvest.core.reader import US_UNITS
from rainharvest.core.tables import meanings_of, models_of
from rainharvest.core.text import templates
from rainharvest.study.file import NOT_CHANGED, Study

ROOT = Path(__file__).parents[2]

SCHEMAS = {"data/studies/study.schema.json": Study, "data/studies/region.schema.json": Region}

FILES = {Study: "a study file", Region: "a study file of many climates"}

PAGE = "notebooks/study_file.md"


def tables_below(model: type[BaseModel]) -> dict[str, type[BaseModel]]:
    """Return a model and every table below it, by the name of its class."""
    out = {model.__name__: model}
    for field in model.model_fields.values():
        for inner in models_of(field.annotation):
            out |= {} if inner.__name__ in out or inner is Study else tables_below(inner)
    return out


def schema_of(model: type[BaseModel]) -> dict:
    """Return the JSON Schema of a study file: what it refuses is a mistake, what it lets pass may still be one."""
    out = model.model_json_schema()
    definitions = out.pop("$defs", {})
    out = definitions.pop(model.__name__, out)  # a study holds itself, through its options
    definitions.pop("Option", None)
    known = tables_below(model) | {"HourlyRain": HourlyRain}  # which no field holds: it becomes numbers
    for name, table in [(None, out), *definitions.items()]:
        of_table = known.get(name, model) if name else model
        if table.get("type") == "object" and (name is None or name in known):
            table["properties"] = _properties(table["properties"], of_table, us=model is Study)
            _either_spelling(table)
    if model is Study:
        out["properties"]["option"]["items"] = _option(out, definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **_plain(out),
        "$defs": _plain(definitions),
    }


def _properties(properties: dict, model: type[BaseModel], us: bool) -> dict:
    """Return the properties of a table, each with its unit in words, and under its US name where it has one."""
    out, meanings = {}, meanings_of(model)
    for name, said in properties.items():
        unit = said.get("unit", "")
        if us and metric_factor(unit) != 1:  # a US file's numbers have other limits, but for zero
            for part in (said, *said.get("anyOf", ())):
                for limit in ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum"):
                    if part.get(limit):
                        del part[limit]
        shown = f" [{_shown(unit)}]" if unit not in ("", "1") else ""
        out[name] = said = {"description": meanings[name] + shown} | said
        if us and "litre" in name:
            out[name.replace("litre", "gallon")] = said
    return out


def _either_spelling(table: dict) -> None:
    """Let what is required be given in litres or in gallons."""
    required = table.get("required", [])
    both = [name for name in required if "litre" in name]
    if both:
        table["required"] = [name for name in required if name not in both]
        table["allOf"] = [
            {"anyOf": [{"required": [n]}, {"required": [n.replace("litre", "gallon")]}]} for n in both
        ]


def _option(study: dict, definitions: dict) -> dict:
    """Return the schema of an option, which adds to it the tables that it changes, each in part."""
    for name, table in [*definitions.items()]:
        part = json.loads(json.dumps(table))
        part.pop("required", None)
        part.pop("allOf", None)
        for said in part.get("properties", {}).values():
            _to_parts(said)
        definitions[f"{name}InPart"] = part
    own = {
        "name": {
            "type": "string",
            "minLength": 1,
            "maxLength": 60,
            "description": "What the option is called.",
        },
        "note": {"type": "string", "description": "A sentence about it."},
        "roofs": {"type": "array", "items": {"type": "string"}, "description": "The roofs that it keeps."},
        "uses": {"type": "array", "items": {"type": "string"}, "description": "The uses that it keeps."},
    }
    changed = json.loads(
        json.dumps({name: said for name, said in study["properties"].items() if name not in NOT_CHANGED})
    )
    for said in changed.values():
        _to_parts(said)
    return {
        "type": "object",
        "required": ["name"],
        "additionalProperties": False,
        "properties": own | changed,
    }


def _to_parts(said: dict) -> None:
    """Let a single table be given in part; a list of tables stays whole."""
    for part in (said, *said.get("anyOf", ())):
        if "$ref" in part:
            part["$ref"] += "InPart"


def _plain(schema: object) -> object:
    """Return a schema without what only this package reads."""
    if isinstance(schema, list):
        return [_plain(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    out = {}
    for key, value in schema.items():
        if key == "properties":
            out[key] = {name: _plain(said) for name, said in value.items()}
        elif key not in _OURS and not (key == "default" and value is None):
            out[key] = _plain(value)
    return out


_OURS = ("title", "unit", "likely", "source", "kind", "file")


def _shown(unit: str) -> str:
    """Return a unit, with the one that stands for it in a US file."""
    us = US_UNITS.get(unit, ("",))[0]
    us = us if metric_factor(unit) != 1 else ""
    shown = SHOWN_UNITS.get(unit, unit)
    return f"{shown}; in a US file {us}" if us else shown


def page() -> str:
    """Return the page of every key, in Markdown."""
    of_study = _tables(Study, "")
    known = [table["keys"] for table in of_study]
    tables = [*of_study, *(one for one in _tables(Region, "") if one["keys"] not in known)]
    words = templates(Path(__file__).parent, keep_trailing_newline=True).get_template("reference.md.j2")
    return words.render(tables=tables)


def _tables(model: type[BaseModel], place: str) -> list[dict]:
    """Return a table's keys and those of the tables below it, in the order of the file."""
    keys, below, meanings = [], [], meanings_of(model)
    about = (model.__doc__ or "").strip().partition("\n")[0].replace("``", "`")
    for name, field in model.model_fields.items():
        inner = [one for one in models_of(field.annotation) if one is not Study]
        if model.__name__ == "Option" and name == "study":
            continue
        keys.append(_key(name, field, bool(inner)) | {"meaning": meanings[name].replace("``", "`")})
        several = "tuple" in str(field.annotation)
        at = f"{place}.{name}" if place else name
        for one in inner:
            found = _tables(one, at)
            found[0]["head"] = f"`[[{at}]]`" if several else f"`[{at}]`"
            below += found
    head = f"The top of {FILES[model]}" if model in FILES else place
    return [{"head": head, "about": about, "keys": keys}, *below]


def _key(name: str, field, table: bool) -> dict:
    """Return one key as a row of the page."""
    extra = field.json_schema_extra or {}
    default = field.get_default(call_default_factory=True)
    required = default is PydanticUndefined
    nothing = required or table or default is None or default in ("", (), {})
    given = field.examples[0] if field.examples else None if nothing else default
    choices = [*extra.get("enum", ()), *_choices(field.annotation)]
    if given is None and not table:
        given = choices[0] if choices else True if "bool" in str(field.annotation) else None
    unit = extra.get("unit", "")
    return {
        "name": f"`{name}`",
        "unit": "" if unit in ("", "1") else _shown(unit),
        "default": "required" if required else "" if nothing else f"`{toml(default)}`",
        "source": f"{extra['source']} ({extra['kind']})" if "source" in extra else "",
        "range": _range(field, extra, choices),
        "example": "" if table or given is None else f"`{name} = {toml(given)}`",
    }


def _choices(annotation: object) -> list[str]:
    if get_origin(annotation) is Literal:
        return [*get_args(annotation)]
    return [choice for part in get_args(annotation) for choice in _choices(part)]


_LIMITS = {"gt": "above", "ge": "from", "lt": "below", "le": "up to"}


def _range(field, extra: dict, choices: list) -> str:
    """Return what a key may hold, in words."""
    parts = [
        f"{word} {toml(getattr(rule, key))}"
        for key, word in _LIMITS.items()
        for rule in field.metadata
        if getattr(rule, key, None) is not None
    ]
    if "likely" in extra:
        low, high = extra["likely"]
        parts.append(f"doubted outside {toml(low)} to {toml(high)}")
    return "; ".join([*parts, *([", ".join(map(toml, choices))] if choices else [])])


def toml(value: object) -> str:
    """Return a value as TOML writes it.

    >>> toml({"bend 90": 3}), toml((True, 0.5, "a"))
    ('{ "bend 90" = 3 }', '[true, 0.5, "a"]')
    """
    if isinstance(value, BaseModel):
        return toml(value.model_dump())
    if isinstance(value, dict):
        inside = ", ".join(
            f"{k if k.replace('_', '').isalnum() else json.dumps(k)} = {toml(v)}" for k, v in value.items()
        )
        return f"{{ {inside} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value) if not isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def schema_text(model: type[BaseModel]) -> str:
    """Return the JSON Schema of a study file as text."""
    schema = schema_of(model)
    # a key or a table in a line
    inside = {
        key: ",\n  ".join(
            f"{json.dumps(name)}: {json.dumps(said, ensure_ascii=False)}" for name, said in part.items()
        )
        for key, part in schema.items()
        if key in ("properties", "$defs")
    }
    lines = [
        f"{json.dumps(key)}: "
        + (f"{{\n  {inside[key]}\n }}" if key in inside else json.dumps(value, ensure_ascii=False))
        for key, value in schema.items()
    ]
    return "{\n " + ",\n ".join(lines) + "\n}\n"


if __name__ == "__main__":
    for name, model in SCHEMAS.items():
        (ROOT / name).write_text(schema_text(model), encoding="utf-8")
    (ROOT / PAGE).write_text(page(), encoding="utf-8")
