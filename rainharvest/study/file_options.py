"""Options of a study: the same study with other roofs, another conveyance, another tank, another site.

An option names what it changes. A table is merged key by key with the study's; a list of tables takes the
place of the study's; ``roofs`` and ``uses`` choose among the study's by name.
"""

from __future__ import annotations

from difflib import get_close_matches

from rainharvest.catchment.conveyance import DRY_ONLY, WET_ONLY
from rainharvest.study.file_mistakes import Mistake

_CHOICES = {"roofs": "roof", "uses": "use"}
_OWN = ("name", "note", *_CHOICES)
_NOT_CHANGED = ("title", "units", "confirmed", "report", "option")


def with_options(data: dict) -> tuple[dict, list[Mistake]]:
    """Return a study's tables with each option written out as a whole study.

    Parameters
    ----------
    data : dict
        The tables of the study file, in metric units.

    Returns
    -------
    tuple of dict and list of Mistake
        The tables, each option now ``{name, note, study}``; what the options say that cannot be.
    """
    options = data.get("option", [])
    if not isinstance(options, list) or not all(isinstance(option, dict) for option in options):
        return data, [Mistake(("option",), "it is not a list of tables", "write each as [[option]]")]
    if not options:
        return data, []
    base = {key: value for key, value in data.items() if key != "option"}
    mistakes: list[Mistake] = []
    whole = []
    for i, option in enumerate(options):
        loc = ("option", i, "study")
        for key in _NOT_CHANGED:
            if key in option:
                mistakes.append(Mistake((*loc, key), "an option cannot change it", "leave it out"))
        changes = {k: v for k, v in option.items() if k not in (*_OWN, *_NOT_CHANGED)}
        if not changes and not any(key in option for key in (*_CHOICES, *_NOT_CHANGED)):
            mistakes.append(
                Mistake(("option", i), "it changes nothing", "name what it changes, such as tank.chosen")
            )
        study = merged(base, changes)
        for key, table in _CHOICES.items():
            if key in option:
                study[table] = _chosen(study.get(table), option[key], (*loc, key), mistakes)
        whole.append({k: option[k] for k in ("name", "note") if k in option} | {"study": study})
    return base | {"option": whole}, mistakes


def merged(base: dict, changes: dict) -> dict:
    """Return tables with changes laid over them, key by key.

    Parameters
    ----------
    base, changes : dict
        Tables of a study file.

    Returns
    -------
    dict
        New tables. A run of pipe that changes its kind loses the keys that only its old kind has.

    Examples
    --------
    >>> merged({"tank": {"chosen": 5000, "theta": 0}}, {"tank": {"chosen": 9000}})
    {'tank': {'chosen': 9000, 'theta': 0}}
    """
    out = dict(base)
    for key, value in changes.items():
        before = out.get(key)
        if not (isinstance(value, dict) and isinstance(before, dict)):
            out[key] = value
            continue
        if key == "conveyance" and value.get("kind", before.get("kind")) != before.get("kind"):
            before = {k: v for k, v in before.items() if k not in (*WET_ONLY, *DRY_ONLY)}
        out[key] = merged(before, value)
    return out


def _chosen(tables: object, names: object, loc: tuple, mistakes: list[Mistake]) -> object:
    """Return the tables of these names."""
    tables = [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
    known = [str(table.get("name", "")) for table in tables]
    if not isinstance(names, list) or not names:
        mistakes.append(Mistake(loc, "it is not a list of names", f"choose from {', '.join(known)}"))
        return tables
    for name in names:
        if name not in known:
            near = get_close_matches(str(name), known, 1)
            remedy = f"did you mean {near[0]}?" if near else f"choose from {', '.join(known)}"
            mistakes.append(Mistake(loc, f"{name!r} is no name of the study's", remedy))
    return [table for table in tables if table.get("name") in names] or tables
