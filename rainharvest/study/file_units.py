"""A study file in US units, brought to the metric units that everything inside works with.

The unit of a field stands in its model, in square brackets after its name in the docstring or at the end of
its description; what `rainharvest.reader.US_UNITS` names is converted, by factors that are exact by definition.
Where a metric key speaks of litres, the US file says gallons: ``gallons``, ``per_gallon``.
"""

from __future__ import annotations

import inspect
import re
from functools import cache

from pydantic import BaseModel

from rainharvest.reader import GALLON, US_UNITS
from rainharvest.study.file_mistakes import Mistake, models_of

_PARAMETER = re.compile(r"^(\w+(?:, \w+)*) : [^\n]*\[([^\[\]]*)\]", re.MULTILINE)
_DESCRIBED = re.compile(r"\[([^\[\]]*)\]$")


def to_metric(data: dict, model: type[BaseModel]) -> tuple[dict, list[Mistake]]:
    """Return a study file's tables in metric units.

    Parameters
    ----------
    data : dict
        The tables; unchanged where they are metric already.
    model : type
        The model of the study.

    Returns
    -------
    tuple of dict and list of Mistake
        The tables, with the keys of the model; keys that do not go with the units.
    """
    if data.get("units") != "us":
        return data, []
    mistakes: list[Mistake] = []
    return _table(data, model, (), mistakes), mistakes


@cache
def field_units(model: type[BaseModel]) -> dict[str, str]:
    """Return the unit of each field of a model that has one.

    Parameters
    ----------
    model : type
        The model.

    Returns
    -------
    dict of str to str
        As written in its docstring or descriptions.

    Examples
    --------
    >>> from rainharvest.demand.pool import Pool
    >>> field_units(Pool)
    {'pool_area': 'm2', 'pool_drop': 'mm'}
    """
    units = {}
    for names, unit in _PARAMETER.findall(inspect.getdoc(model) or ""):
        units |= dict.fromkeys(names.split(", "), unit)
    for name, field in model.model_fields.items():
        described = _DESCRIBED.search(field.description or "")
        if described:
            units[name] = described[1]
    return {name: unit for name, unit in units.items() if name in model.model_fields}


def metric_factor(unit: str) -> float:
    """Return how many of a metric unit make one of the US unit that stands for it.

    Parameters
    ----------
    unit : str
        A metric unit; a price is "currency/L" or "currency/kL" (a thousand gallons stand for a kilolitre).

    Returns
    -------
    float
        1 where US files use the same unit.

    Examples
    --------
    >>> metric_factor("mm"), metric_factor("day"), round(1 / metric_factor("currency/L"), 4)
    (25.4, 1.0, 3.7854)
    """
    if unit in ("currency/L", "currency/kL"):
        return 1 / GALLON
    if unit == "currency/m2":
        return 1 / US_UNITS["m2"][1]
    if unit == "currency/m":
        return 1 / US_UNITS["m"][1]
    return US_UNITS[unit][1] if unit in US_UNITS else 1.0


def _table(data: object, model: type[BaseModel], loc: tuple, mistakes: list[Mistake]) -> object:
    """Return a table, and the tables within it, in metric units."""
    if isinstance(data, list):
        return [_table(item, model, (*loc, i), mistakes) for i, item in enumerate(data)]
    if not isinstance(data, dict):
        return data
    units, out = field_units(model), {}
    for key, value in data.items():
        name = key.replace("gallon", "litre")
        if "litre" in key and key in model.model_fields:
            us = key.replace("litre", "gallon")
            mistakes.append(Mistake((*loc, key), 'litres in a file with units = "us"', f"give {us}"))
        field = model.model_fields.get(name)
        # An option is not a table of its own: it changes the study's.
        inner = models_of(field.annotation) if field and name != "option" else []
        if name == "option" and not loc:
            out[name] = _options(value, model, mistakes)
        elif inner:
            out[name] = _table(value, inner[0], (*loc, key), mistakes)
        else:
            out[name] = _times(value, metric_factor(units.get(name, "")))
    return out


def _options(value: object, model: type[BaseModel], mistakes: list[Mistake]) -> object:
    if not isinstance(value, list):
        return value
    return [_table(item, model, ("option", i, "study"), mistakes) for i, item in enumerate(value)]


def _times(value: object, factor: float) -> object:
    """Return a number, or the numbers of a list, times a factor; anything else as it is."""
    if factor == 1.0 or isinstance(value, bool):
        return value
    if isinstance(value, list):
        return [_times(item, factor) for item in value]
    return value * factor if isinstance(value, int | float) else value
