"""Default values with their sources, and the usual cautions."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

Kind = Literal["standard", "handbook", "open data", "common practice", "from memory", "own choice"]


@dataclass(frozen=True)
class Default:
    """One default value with its unit and its source."""

    value: float  # The number
    unit: str  # Its unit, UDUNITS spelling ("1" for a ratio)
    source: str  # Author, title, year and place of the table or clause; for common practice, "no source"
    # "standard", "handbook", "open data", "common practice", "from memory" (a published value that nobody
    # here has read in the original: check your edition) or "own choice"
    kind: Kind
    low: float | None = None  # The published range, where there is one
    high: float | None = None  # The published range, where there is one


def rows_of(room: str, name: str) -> dict:
    """Return the rows of a room's table of data, ``<name>.toml``."""
    return tomllib.loads((Path(__file__).parents[1] / room / f"{name}.toml").read_text("utf-8"))


@cache
def defaults_of(room: str) -> dict:
    """Return a room's defaults.toml: a Default for each row with a value, a dict of them for each table of rows."""
    return _defaults(rows_of(room, "defaults"))


def _defaults(rows: Mapping) -> dict:
    return {name: Default(**row) if "value" in row else _defaults(row) for name, row in rows.items()}


@dataclass(frozen=True)
class Caution:
    """One caution."""

    title: str  # What it is about
    text: str  # What to mind, and whose rules govern


CAUTIONS = {key: Caution(**row) for key, row in rows_of("core", "cautions").items()}
