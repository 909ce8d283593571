"""Tanks as they are sold: which of them, alone or linked, reach a size for the least money."""

from __future__ import annotations

import csv
import math
import os
from dataclasses import dataclass
from itertools import combinations_with_replacement
from pathlib import Path

import numpy as np

from rainharvest.core.errors import InputError, require, require_file
from rainharvest.sizing.tables import Catalogue
from rainharvest.sizing.trade_off import ENOUGH

COLUMNS = {"nominal_L": "nominal", "price": "price", "height_m": "height", "footprint_m2": "footprint"}

"""Columns of a catalogue file, and what each is."""

MOST_COMBINATIONS = 300_000


@dataclass(frozen=True)
class SoldTank:
    """One tank of a catalogue: upright, its plan the same at every height."""

    nominal: float  # [L] The size that it is sold as
    price: float  # In the currency of the study
    height: float  # [m] Height of its walls
    footprint: float  # [m2] Plan area that it stands on

    def __post_init__(self):
        for name in ("nominal", "height", "footprint"):
            value = getattr(self, name)
            require(0 < value < 1e9, f"{value:g} is not possible", "give it above zero", name)
        require(0 <= self.price < 1e12, f"a price of {self.price:g}", "give zero or more", "price")


@dataclass(frozen=True)
class Choice:
    """A combination of tanks that makes one store."""

    tanks: tuple[SoldTank, ...]  # From the largest down
    nominal: float  # [L] What they hold together, a taller tank counted up to the height of the lowest
    price: float  # Of the tanks and of linking them
    footprint: float  # [m2] Plan area that they stand on

    @property
    def words(self) -> str:
        """The combination in words, for example "2 x 5,000 L + 1,000 L"."""
        sizes = [tank.nominal for tank in self.tanks]
        counted = dict.fromkeys(sizes)
        return " + ".join(
            (f"{sizes.count(size)} x " if sizes.count(size) > 1 else "") + f"{size:,.0f} L"
            for size in counted
        )


def read_catalogue(path: str | os.PathLike) -> tuple[SoldTank, ...]:
    """Read a catalogue of tanks."""
    path = Path(path)
    require_file(path)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise InputError(f"cannot be read ({why})", "name a CSV file of tanks", file=path) from None
    numbered = [
        (n, line) for n, line in enumerate(lines, 1) if line.strip() and not line.lstrip().startswith("#")
    ]
    require(numbered, "it holds no line", f"begin with the line {','.join(COLUMNS)}", file=path)
    head = [cell.strip() for cell in next(csv.reader([numbered[0][1]]))]
    for column in COLUMNS:
        remedy = f"name the columns {', '.join(COLUMNS)}"
        require(column in head, f"the column {column} is missing", remedy, f"line {numbered[0][0]}", path)
    tanks = []
    for number, line in numbered[1:]:
        cells = next(csv.reader([line]))
        row = dict(zip(head, cells, strict=False))
        values = {}
        for column, name in COLUMNS.items():
            text = row.get(column, "").strip()
            try:
                values[name] = float(text)
            except ValueError:
                problem = f"{column} is {text!r}, not a number"
                remedy = "write it with a decimal point, without a unit"
                raise InputError(problem, remedy, f"line {number}", path) from None
        try:
            tanks.append(SoldTank(**values))
        except InputError as error:
            raise InputError(error.problem, error.remedy, f"line {number}: {error.place}", path) from None
    require(tanks, "it lists no tank", "add a line a tank", file=path)
    return tuple(tanks)


def cheapest_alike(tanks: tuple[SoldTank, ...], nominal: float, plan: Catalogue) -> Choice | None:
    """Return the cheapest tanks of one kind that hold a nominal size together, or none.

    Linked tanks of one kind fill and empty together and stand on bases alike; of one price the fewest are taken.

    >>> small, large = SoldTank(1000, 200, 1.5, 1.0), SoldTank(3000, 450, 1.5, 2.2)
    >>> [cheapest_alike((small, large), size, Catalogue(file="tanks.csv")).words for size in (1500, 2500)]
    ['2 x 1,000 L', '3,000 L']
    """
    found = []
    for tank in _fitting(tanks, plan):
        many = max(math.ceil(nominal / tank.nominal * ENOUGH), 1)
        price = many * tank.price + plan.link_price * (many - 1)
        choice = Choice((tank,) * many, many * tank.nominal, price, many * tank.footprint)
        if many <= plan.most_linked and choice.footprint <= _room(plan):
            found.append(choice)
    return min(found, key=lambda choice: (choice.price, len(choice.tanks)), default=None)


def _room(plan: Catalogue) -> float:
    """Return the plan area that there is for the tanks [m2]."""
    return math.inf if plan.most_footprint is None else plan.most_footprint * (1 + 1e-12)


def _fitting(tanks: tuple[SoldTank, ...], plan: Catalogue) -> list[SoldTank]:
    """Return the tanks that fit on the site by themselves, each once."""
    high = math.inf if plan.most_height is None else plan.most_height
    return [t for t in dict.fromkeys(tanks) if t.height <= high and t.footprint <= _room(plan)]


def every_choice(tanks: tuple[SoldTank, ...], plan: Catalogue) -> tuple[Choice, ...]:
    """Return the combinations that nothing betters: more store for more money, the cheapest first.

    Every combination of up to so many tanks is counted through. Among equals the one with fewer tanks stays.

    >>> small, large = SoldTank(1000, 200, 1.5, 1.0), SoldTank(3000, 450, 1.5, 2.2)
    >>> plan = Catalogue(file="tanks.csv", most_linked=2, link_price=20)
    >>> [choice.words for choice in every_choice((small, large), plan)]
    ['1,000 L', '2 x 1,000 L', '3,000 L', '3,000 L + 1,000 L', '2 x 3,000 L']
    """
    fit, most_linked = _fitting(tanks, plan), plan.most_linked
    require(fit, "no tank of the catalogue fits", "allow more height or footprint, or add tanks", "catalogue")
    fit.sort(key=lambda t: (-t.nominal, t.price))
    count = sum(math.comb(len(fit) + n - 1, n) for n in range(1, most_linked + 1))
    problem = f"{len(fit)} tanks, up to {most_linked} linked, make {count:,} combinations"
    require(count <= MOST_COMBINATIONS, problem, "leave tanks out, or link fewer", "most_linked")
    size, price, height, area = (
        np.array([getattr(t, k) for t in fit]) for k in ("nominal", "price", "height", "footprint")
    )
    holds, costs, stands, members = [], [], [], []
    for n in range(1, most_linked + 1):
        pick = np.array(list(combinations_with_replacement(range(len(fit)), n)))
        lowest = height[pick].min(axis=1, keepdims=True)
        holds.append((size[pick] * (lowest / height[pick])).sum(axis=1))
        costs.append(price[pick].sum(axis=1) + plan.link_price * (n - 1))
        stands.append(area[pick].sum(axis=1))
        members += [tuple(row) for row in pick]
    holds, costs, stands = (np.concatenate(x) for x in (holds, costs, stands))
    number = np.array([len(m) for m in members])
    # Cheapest first; of one price the largest, then the fewest tanks. What holds no more than a cheaper one goes.
    order = np.lexsort((number, -holds, costs))
    order = order[stands[order] <= _room(plan)]
    most = np.maximum.accumulate(holds[order])
    better = np.concatenate([[True], holds[order][1:] > most[:-1] * (1 + 1e-12)])
    return tuple(
        Choice(tuple(fit[i] for i in members[k]), float(holds[k]), float(costs[k]), float(stands[k]))
        for k in order[better]
    )
