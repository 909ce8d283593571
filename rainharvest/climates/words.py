"""What many climates show, in sentences."""

from __future__ import annotations

import textwrap

import numpy as np
import xarray as xr

from rainharvest.climates.explain import dry_against_wet
from rainharvest.core.quantities import QUANTITIES
from rainharvest.core.reader import days, litres, percent, rounded

NEARLY = 0.001

"""A cost below this share of the water is next to nothing."""


def sides_words(sides: xr.Dataset, capacity: float) -> str:
    """Return what one tank does in each climate."""
    one = sides[sides.attrs["measure"]].sel(conveyance="dry run", arrangement="rain only")
    reached = one.interp(capacity=capacity)
    order = np.argsort(-reached.values)
    names = [str(n) for n in sides.climate.values]
    shown = ", ".join(f"{names[k]} {percent(float(reached[k]))}" for k in order)
    size = sides.reaching.sel(conveyance="dry run", arrangement="rain only").values
    able = [f"{names[k]} {litres(size[k], up=True)}" for k in order if np.isfinite(size[k])]
    never = [names[k] for k in order if not np.isfinite(size[k])]
    text = f"The same tank of {litres(capacity)} supplies: {shown}. To reach {percent(sides.attrs['target'])} it takes "
    text += "; ".join(able) if able else "more than any size tried everywhere"
    if able and never:
        text += f"; no size tried reaches it with {' and '.join(never)}"
    return text + "."


def wet_sides_words(sides: xr.Dataset) -> str:
    """Return what the wet run costs in each climate."""
    costs, names = sides.wet_cost.values, [str(n) for n in sides.climate.values]
    most, least = int(np.argmax(costs)), int(np.argmin(costs))
    spells = sides.standing_spells_a_year.sel(conveyance="wet run").values
    longest = sides.longest_standing.sel(conveyance="wet run").values
    old, long = int(np.argmax(spells)), int(np.argmax(longest))
    limit = sides.attrs["standing_limit"]
    text = f"With {names[most]} the wet run {_costs(costs[most])}; with {names[least]} it {_costs(costs[least])}. "
    if spells[old] <= 0:
        return text + f"In no climate does its water stand for more than {limit:g} days."
    return text + (
        f"Water stands in it for more than {limit:g} days {spells[old]:.0f} times a year with {names[old]}, and for "
        f"{days(longest[long])} at the longest with {names[long]}."
    )


def _costs(share: float) -> str:
    if share > NEARLY:
        return f"costs {100 * share:.1f} % of the water that the dry run brings"
    return (
        f"brings {100 * -share:.1f} % more than the dry run" if share < -NEARLY else "costs next to nothing"
    )


def map_words(values: xr.DataArray, name: str, shown: str) -> str:
    """Return what a map shows: from where to where, and where nothing reaches."""
    known = values.values[np.isfinite(values.values)]
    words = QUANTITIES[name].long_name
    if not known.size:
        return f"{words}: reached nowhere in the region."
    if name == "group":
        counts = [int((known == k).sum()) for k in range(1, int(known.max()) + 1)]
        said = ", ".join(f"{count} in group {k}" for k, count in enumerate(counts, 1))
        return f"Groups of alike climates, the wettest first. Places: {said}."
    say = SAID[shown]
    low, high = (_place(values, int(find(values.values))) for find in (np.nanargmin, np.nanargmax))
    text = f"{words}: from {say(known.min())} at {low} to {say(known.max())} at {high}."
    if name == "reaching":
        text += f" It is reached at {known.size} places; at those with a cross no size tried reaches it."
    return text


def _place(values: xr.DataArray, number: int) -> str:
    """Return where a place of a grid lies, by its number in the order of the array."""
    at = dict(zip(values.dims, np.unravel_index(number, values.shape), strict=True))
    lat, lon = float(values.latitude[at["latitude"]]), float(values.longitude[at["longitude"]])
    ns, ew = ("S" if lat < 0 else "N"), ("W" if lon < 0 else "E")
    return f"{abs(lat):.2f}° {ns}, {abs(lon):.2f}° {ew}"


SAID = {
    "litres": litres,
    "percent": lambda share: f"{100 * share:.1f} %",
    "days": days,
    "number": lambda value: f"{rounded(value, 3):g}",
    "millimetres": lambda value: f"{value:g} mm",
}

"""How values are said."""


def cell_words(here: xr.Dataset, capacity: float, target: float) -> str:
    """Return what the building gets at one place, and of what climate that is."""
    if not np.isfinite(float(here.rain_year)):
        return "This place is at sea: choose another."
    reliability = here.volume_reliability.interp(capacity=capacity)
    dry, wet = (float(reliability.sel(conveyance=f"{kind} run")) for kind in ("dry", "wet"))
    size = float(here.reaching.sel(conveyance="dry run"))
    reach = f"takes {litres(size, up=True)}" if np.isfinite(size) else "is beyond every size tried"
    standing = here.standing_spells_a_year.sel(conveyance="wet run")
    return (
        f"Here {rounded(float(here.rain_year)):,.0f} mm fall in a mean year, {rounded(float(here.mean_storm)):g} mm a "
        f"storm, and {days(float(here.mean_dry_spell))} pass between storms. A tank of {litres(capacity)} supplies "
        f"{percent(dry)} by the dry run and {percent(wet)} by the wet one; {percent(target)} {reach}. The wet run "
        f"{_costs(float(here.wet_cost))}; its water grows old {float(standing):.0f} times a year."
    )


def explain_words(found: xr.Dataset) -> str:
    """Return which statistics of the climate go with the cost of the wet run, and how far that can be trusted."""
    rho = found.rank_correlation
    order = np.argsort(-np.abs(rho.values))
    names = [QUANTITIES[str(n)].long_name.lower() for n in found.statistic.values]
    shown = ", ".join(f"{names[k]} {_signed(rho[k])}" for k in order)
    without = found.explained_without.values
    k = int(np.argmin(without))
    between = np.abs(found.between.values - np.eye(len(names)))
    i, j = np.unravel_index(int(np.argmax(between)), between.shape)
    whole, less = percent(float(found.explained)), percent(without[k])
    return (
        f"Over {found.attrs['places']} places the cost of the wet run goes with (rank correlation): {shown}. All "
        f"together explain {whole} of the variance of the ranks; without {names[k]} it would be {less}. But {names[i]} "
        f"and {names[j]} go together themselves ({_signed(found.between[i, j])}), so this region cannot tell them "
        "apart; and neighbours share their weather, so no chance of error is given."
    )


def _signed(value: float) -> str:
    return f"{float(value):+.2f}".replace("-", "−")


def tell_climates(results: xr.Dataset, width: int = 100) -> None:
    """Print what a run over climates found, broken into lines."""
    for text in climates_headline(results):
        print(textwrap.fill(text, width))


def climates_headline(results: xr.Dataset) -> list[str]:
    """Return what a run over climates found, a few sentences."""
    known = np.isfinite(results.rain_year.values)
    first, last = results.attrs["first_day"], results.attrs["last_day"]
    out = [f"{known.sum():,} places were worked, on daily rain from {first} to {last}."]
    if results.attrs.get("invented"):
        out[0] += " The rain is invented."
    out += _repairs(results, known)
    target = percent(results.attrs["target"])
    for run in results.conveyance.values:
        sizes = results.reaching.sel(conveyance=run).isel(arrangement=0).values[known]
        able = np.sort(sizes[np.isfinite(sizes)])
        if able.size:
            low, middle, high = (able[int(q * (able.size - 1))] for q in (0.0, 0.5, 1.0))
            out.append(
                f"{str(run).capitalize()}: {target} is reached at {able.size:,} of them, with tanks from "
                f"{litres(low, up=True)} to {litres(high, up=True)}, {litres(middle, up=True)} in the middle."
            )
        else:
            out.append(f"{str(run).capitalize()}: {target} is reached nowhere with the sizes tried.")
    if {"dry run", "wet run"} <= set(map(str, results.conveyance.values)):
        costs = dry_against_wet(results).wet_cost.values
        costs = np.sort(costs[np.isfinite(costs)])
        if costs.size:
            middle, most = costs[costs.size // 2], costs[-1]
            out.append(
                f"In the middle of the places the wet run {_costs(middle)}; where it costs most it {_costs(most)}."
            )
    return out


def _repairs(results: xr.Dataset, known: np.ndarray) -> list[str]:
    """Return what was done to the rain, and which places are missing and why."""
    said = []
    clipped = float(results.days_clipped.sum())
    if clipped:
        said.append(f"{clipped:,.0f} values a hair below zero, by packing, were set to zero.")
    odd = int((results.days_impossible > 0).sum())
    if odd:
        said.append(
            f"{odd:,} places have impossible values (below zero, or above any rain measured) and are missing."
        )
    length = (
        int(
            (np.datetime64(results.attrs["last_day"]) - np.datetime64(results.attrs["first_day"])).astype(int)
        )
        + 1
    )
    holed = int(((results.days_missing > 0) & (results.days_missing < length)).sum())
    if holed:
        said.append(f"{holed:,} places lack some days and are missing: fill them first.")
    whole = int((results.days_missing == length).sum())
    if whole:
        said.append(f"{whole:,} places have no value at all and stay missing.")
    return said
