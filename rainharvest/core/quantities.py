"""The one table of quantities: axis labels, slider labels, attributes and the glossary read it.

One word, one meaning, one unit. Inside the package rain is mm, plan area m2, every volume L and every
rate a day; other units end at the reader and begin again at the page.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rainharvest.core.defaults import rows_of

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Quantity:
    """One quantity of the field."""

    name: str  # The identifier used for it as parameter, variable and column
    unit: str  # Its unit in UDUNITS spelling; "1" for a ratio, "" for a thing that is not a number
    long_name: str  # The words used on axes, sliders and in attributes
    meaning: str = ""  # One sentence for the glossary
    cf_name: str = ""  # The CF standard name, where CF has one


DAYS_A_YEAR = 365.25

ROOMS = ("rainfall", "catchment", "demand", "storage", "sizing", "drought", "climates", "siteworks", "study")
"""The stages in the order of the job, each a folder with its own rows."""


def _rows(room: str) -> dict[str, Quantity]:
    return {name: Quantity(name, **row) for name, row in rows_of(room, "quantities").items()}


QUANTITIES: dict[str, Quantity] = {name: row for room in ROOMS for name, row in _rows(room).items()}


def attributes(name: str, **more: object) -> dict[str, object]:
    """Return the attributes that a variable of this name carries.

    >>> attributes("stored")
    {'units': 'L', 'long_name': 'Stored'}
    """
    q = QUANTITIES[name]
    out: dict[str, object] = {"units": q.unit} if q.unit else {}
    out["long_name"] = q.long_name
    if q.cf_name:
        out["standard_name"] = q.cf_name
    return out | more


def variables(dims: object, values: Mapping[str, object]) -> dict[str, tuple]:
    """Return variables of a Dataset, all on the same dimensions, each with its attributes.

    >>> variables("time", {"stored": [1.0]})
    {'stored': ('time', [1.0], {'units': 'L', 'long_name': 'Stored'})}
    """
    return {name: (dims, value, attributes(name)) for name, value in values.items()}


def along(**dims: object) -> dict[str, tuple]:
    """Return the coordinates that label dimensions, each with its attributes."""
    return {name: (name, values, attributes(name)) for name, values in dims.items()}


SHOWN_UNITS: dict[str, str] = rows_of("core", "units")["shown"]
"""Of a unit whose own spelling nobody reads, how axes and tables show it."""


def label(name: str, unit: str | None = None) -> str:
    """Return the words and the unit for an axis or a slider; no unit that the words tell, nor "a year" twice.

    Parameters
    ----------
    name : str
        A quantity of the table.
    unit : str, optional
        The unit shown, where the page shows another one than the table's (kL for L, % for 1).

    Returns
    -------
    str
        For example "Roof plan area (m²)".

    Examples
    --------
    >>> label("area"), label("capacity", "kL"), label("theta")
    ('Roof plan area (m²)', 'Usable tank size (kL)', 'Storage operating parameter')
    >>> label("failed_a_year"), label("yearly_yield")
    ('Days failed a year', 'Yield (L a year)')
    """
    q = QUANTITIES[name]
    shown = q.unit if unit is None else unit
    shown = "" if shown == "1" else SHOWN_UNITS.get(shown, shown)
    told = {word.rstrip("s") for word in q.long_name.lower().split()}
    if {word.rstrip("s") for word in shown.split()} <= told:
        return q.long_name
    return f"{q.long_name.removesuffix(' a year') if shown.endswith(' a year') else q.long_name} ({shown})"


def titled(frame: pd.DataFrame, percent: Collection[str] = ()) -> pd.DataFrame:
    """Return a table to print, with words and units in place of the names of the table of quantities.

    Parameters
    ----------
    frame : DataFrame
        Columns and rows named as quantities are renamed, and the heads of its rows; other names stay.
    percent : collection of str
        Columns of shares that are shown in per cent.

    Returns
    -------
    DataFrame
        The same numbers.

    Examples
    --------
    >>> import pandas as pd
    >>> list(titled(pd.DataFrame({"capacity": [9000.0], "note": ["linked"]})))
    ['Usable tank size (L)', 'note']
    >>> titled(pd.DataFrame({"volume_reliability": [0.5]}), percent=["volume_reliability"]).to_dict("list")
    {'Volume reliability (%)': [50.0]}
    """

    def words(name: object) -> object:
        return label(name, "%" if name in percent else None) if name in QUANTITIES else name

    shown = frame.assign(**{name: 100 * frame[name] for name in percent})
    return shown.rename(columns=words, index=words).rename_axis(index=words)


def glossary() -> str:
    """Return the table of quantities in Markdown."""
    rows = [
        f"| {q.long_name} | {'' if q.unit in ('', '1') else SHOWN_UNITS.get(q.unit, q.unit)} | {q.meaning} |"
        for q in sorted(
            (q for q in QUANTITIES.values() if q.meaning), key=lambda q: (q.long_name.lower(), q.name)
        )
    ]
    head = [
        "# Glossary",
        "",
        "Made from the table of names by `python -m rainharvest.core.quantities > notebooks/glossary.md`.",
        "",
    ]
    return "\n".join([*head, "| term | unit | meaning |", "|---|---|---|", *dict.fromkeys(rows)])


if __name__ == "__main__":
    print(glossary())
