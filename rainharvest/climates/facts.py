"""Many climates in the facts that anybody prints: the places, dry against wet, climates side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.compare import BORES
from rainharvest.catchment.facts import Climate
from rainharvest.catchment.tables import Catchment, Conveyance, run_of_kind
from rainharvest.climates.cells import VARIABLES, Plan, compute_places
from rainharvest.climates.statistics import STATISTICS, explain
from rainharvest.climates.tables import Region
from rainharvest.climates.tiles import COUNTS, Grid
from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import require
from rainharvest.core.quantities import QUANTITIES, attributes
from rainharvest.demand.tables import Use
from rainharvest.demand.uses import daily_demand, may_serve
from rainharvest.sizing.tables import Target
from rainharvest.sizing.trade_off import sizes_to_try

CLIMATE = (*STATISTICS, "mean_intensity")

"""The climate of a place in numbers."""

BOTH = {"dry run", "wet run"}

SIZES = 64

"""Sizes tried where the study names none: a block of the balance's lanes."""

RECORD = "the record"

"""Name of the record itself among the versions that climate models make of it."""

_TABLE = rows_of("climates", "results")["table"]


def plan_of(region: Region, grid: Grid) -> Plan:
    """Return what the study puts to every climate: with its own sizes, or 64 from half a day's demand to a year's."""
    time = xr.DataArray(grid.days, dims="time", name="time")
    demand = daily_demand(region.use, region.calendar, time).sum("use")
    share = region.tank.usable_share
    chosen = [] if region.tank.chosen is None else [region.tank.usable(region.tank.chosen)]
    tried = (
        np.array(region.tank.sizes) * share
        if region.tank.sizes
        else sizes_to_try(demand, SIZES - len(chosen))
    )
    sizes = np.union1d(tried, chosen)
    return Plan(
        catchments=region.catchments,
        demand=demand,
        capacity=tuple(map(float, sizes)),
        arrangements=region.arrangements,
        target=region.target.reliability,
        measure=region.target.measure,
        intensity=region.losses.intensity,
        standing_limit=region.standing_limit,
        bores=BORES if region.best_bore else (),
        theta=region.tank.theta,
        start_share=region.tank.start_share,
        year_start_month=region.year_start_month,
    )


def wet_against_dry(
    results: xr.Dataset, capacity: float, dry: str = "dry run", wet: str = "wet run"
) -> xr.Dataset:
    """Return what the wet run costs at the tap of a tank of one usable size, at every place.

    Water of rain delivered and days failed, in the first arrangement; between sizes tried, by a straight line.

    >>> dims = ("conveyance", "arrangement", "capacity")
    >>> water = {"yearly_yield": (dims, [[[100.0, 200.0]], [[90.0, 210.0]]])}
    >>> none = {name: (dims, np.zeros((2, 1, 2))) for name in ("mains_a_year", "failed_a_year")}
    >>> runs = {"conveyance": ["dry run", "wet run"], "capacity": [1000.0, 3000.0]}
    >>> found = wet_against_dry(xr.Dataset(water | none, runs), 1000.0)
    >>> float(found.wet_cost), float(found.wet_cost_a_year), float(found.wet_equal)
    (0.1, 10.0, 2000.0)
    """
    names = [str(name) for name in results.conveyance.values]
    for name in (dry, wet):
        problem = f"the results have no {name!r}"
        require(name in names, problem, f"name two of {', '.join(names)}", "conveyance")
    one = results[["yearly_yield", "mains_a_year", "failed_a_year"]].isel(arrangement=0, drop=True)
    one = one.transpose(..., "capacity").assign(water=one.yearly_yield - one.mains_a_year)
    of_dry, of_wet = (one.sel(conveyance=name, drop=True) for name in (dry, wet))
    lost = of_dry.water - of_wet.water
    here, there = (each[["water", "failed_a_year"]].interp(capacity=capacity) for each in (of_dry, of_wet))
    found = {
        "wet_cost": 1 - there.water / here.water.where(here.water > 0),
        "wet_cost_a_year": here.water - there.water,
        "wet_failed_a_year": there.failed_a_year - here.failed_a_year,
        "wet_equal": xr.apply_ufunc(_crossing, lost, lost.capacity, input_core_dims=[["capacity"]] * 2),
    }
    return xr.Dataset({name: values.assign_attrs(attributes(name)) for name, values in found.items()})


def _crossing(lost: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    """Return the last size at which what is lost turns into a gain, by a straight line; missing where it does not."""
    turns = (lost[..., :-1] > 0) & (lost[..., 1:] <= 0)
    at = turns.shape[-1] - 1 - np.flip(turns, axis=-1).argmax(axis=-1)
    before, after = (np.take_along_axis(lost, (at + k)[..., None], axis=-1)[..., 0] for k in (0, 1))
    found = turns.any(axis=-1)
    part = np.divide(before, before - after, out=np.zeros_like(before), where=found)
    return np.where(found, sizes[at] + part * (sizes[at + 1] - sizes[at]), np.nan)


def described_size(region: Region, results: xr.Dataset) -> float:
    """Return the usable size, one of those tried, whose figures are given for every place."""
    if region.tank.chosen is not None:
        return region.tank.usable(region.tank.chosen)
    middle = _spread(_of_record(results).reaching.isel(conveyance=0, arrangement=0).values)
    sizes = results.capacity.values
    wanted = sizes[sizes.size // 2] if middle is None else middle["middle"]
    return float(sizes[np.abs(sizes - wanted).argmin()])


def places_table(results: xr.Dataset, capacity: float) -> pd.DataFrame:
    """Return a row for every place: its climate, and what the tank nearest a size does there by each run of pipe."""
    one = results.drop_vars("done", errors="ignore").sel(capacity=capacity, method="nearest")
    columns = {_head(name): one[name] for name in (*CLIMATE, "record_days", "first_year")}
    columns["usable tank size [L]"] = xr.full_like(one.mean_storm, float(one.capacity))
    for run in one.conveyance.values:
        here = one.sel(conveyance=run)
        columns |= {f"{run}: {_head(name)}": here[name] for name in _TABLE["of_run"]}
        for kind in one.arrangement.values:
            label = f"{run}, {kind}" if one.sizes["arrangement"] > 1 else run
            of_kind = here.sel(arrangement=kind)
            columns |= {f"{label}: {_head(name)}": of_kind[name] for name in _TABLE["of_arrangement"]}
    if BOTH <= {str(run) for run in one.conveyance.values}:
        against = wet_against_dry(results, float(one.capacity))
        columns |= {_head(name): against[name] for name in _TABLE["of_wet"]}
    columns[_head("best_bore")] = one.best_bore
    flat = xr.Dataset({head: values.reset_coords(drop=True) for head, values in columns.items()})
    table = flat.to_dataframe().reset_index()
    space = one.mean_storm.dims
    for name in ("latitude", "longitude"):
        if name in one.coords and name not in space:
            table.insert(
                len(space), name, one[name].broadcast_like(one.mean_storm).transpose(*space).values.ravel()
            )
    return table[table[_head("mean_storm")].notna()].reset_index(drop=True)


def _head(name: str) -> str:
    about = QUANTITIES[name]
    return f"{about.long_name.lower()} [{about.unit}]"


@dataclass(frozen=True)
class Sides:
    """A building, and the climates to put it to side by side."""

    catchment: Catchment  # Its roofs and its run of pipe
    target: Target  # The reliability that it must reach
    climates: dict[str, Climate]  # By name
    demand: dict[str, xr.DataArray]  # [L/day] Over the days of each climate
    sizes: np.ndarray  # [L] Usable sizes of the curves

    @property
    def area(self) -> float:
        """Plan area of all roofs [m2]."""
        return sum(roof.area for roof in self.catchment.roofs)


def rain_uses(uses: Sequence[Use]) -> tuple[Use, ...]:
    """Return the uses that rain alone may serve."""
    uses = tuple(use for use in uses if may_serve("rain only", use.quality))
    require(uses, "every use needs drinking quality", "add a use such as flush toilets", "use")
    return uses


def both_runs(own: Conveyance, bore: float | None = None, **wet: float) -> dict[str, Conveyance]:
    """Return a run of pipe and one of the other kind: of one bore if it is given, and the wet one changed."""
    own = own if bore is None else own.model_copy(update={"bore": bore})
    return {"dry run": run_of_kind(own, "dry"), "wet run": run_of_kind(own, "wet").model_copy(update=wet)}


def in_each_climate(sides: Sides, *, area: float, capacity: float, **changes: float) -> xr.Dataset:
    """Put the building to each climate.

    Parameters
    ----------
    sides : Sides
        The building and the climates.
    area : float [m2]
        Plan area of all roofs together.
    capacity : float [L]
        Usable size of the tank.
    **changes
        As `both_runs`.

    Returns
    -------
    Dataset
        As `rainharvest.climates.cells.over_cells` on ``climate``, the tank among the sizes; and what the wet run
        costs at the tap of that tank: ``wet_cost``, ``wet_cost_a_year``, ``wet_failed_a_year``, ``wet_equal``.

    Raises
    ------
    InputError
        If a value is outside its limits, or a run cannot work.
    """
    factor, own = area / sides.area, sides.catchment
    roofs = tuple(r.model_copy(update={"area": r.area * factor, "outlet_level": None}) for r in own.roofs)
    catchments = {
        name: own.model_copy(update={"roofs": roofs, "conveyance": run})
        for name, run in both_runs(own.conveyance, **changes).items()
    }
    done = []
    for name, climate in sides.climates.items():
        plan = Plan(
            catchments,
            sides.demand[name],
            tuple(np.union1d(sides.sizes, capacity)),
            target=sides.target.reliability,
            measure=sides.target.measure,
            intensity=climate.intensity,
            bores=(),
        )
        hard = climate.intensity.mean_intensity, climate.intensity.variation
        done.append(compute_places(climate.rain.values, *hard, plan, climate.rain.indexes["time"]))
    # labelled once: five Datasets put together would take longer than the work
    out = xr.Dataset(
        {
            name: (("climate", *dims), np.stack([values[k] for values in done]), attributes(name))
            for k, (name, dims) in enumerate(VARIABLES.items())
        },
        plan.coords | {"climate": ("climate", list(sides.climates))},
    )
    return out.merge(wet_against_dry(out, capacity).drop_vars("capacity")).assign_attrs(plan_attributes(plan))


def plan_attributes(plan: Plan) -> dict[str, object]:
    """Return what the results say of the plan."""
    return {"target": plan.target, "measure": plan.measure, "standing_limit": plan.standing_limit}


def explained(results: xr.Dataset, capacity: float) -> xr.Dataset:
    """Return which statistics of the climate go with the cost of the wet run over a region, at the tap of one tank.

    Parameters
    ----------
    results : Dataset
        As `rainharvest.climates.panel.region_for`.
    capacity : float [L]
        Usable size of the tank.

    Returns
    -------
    Dataset
        As `rainharvest.climates.statistics.explain`.
    """
    return wet_and_why(results, capacity)[1]


def wet_and_why(results: xr.Dataset, capacity: float) -> tuple[xr.Dataset, xr.Dataset]:
    """Return what the wet run costs at the tap of one tank at every place, and what goes with it."""
    wet = wet_against_dry(results, capacity)
    return wet, explain(wet.wet_cost, results)


class Named(NamedTuple):
    """A value and what it belongs to."""

    name: str
    value: float


def _ordered(names: Sequence[str], values: np.ndarray) -> list[Named]:
    """Return values with their names, the greatest first."""
    return [Named(str(names[k]), float(values[k])) for k in np.argsort(-values)]


def sides_facts(sides: xr.Dataset, capacity: float) -> dict[str, object]:
    """Return what one tank does in several climates by the dry run, and what the wet run costs there."""
    names, by_dry = sides.climate.values, sides.sel(conveyance="dry run", arrangement="rain only")
    wet, order = sides.sel(conveyance="wet run"), np.argsort(sides.wet_cost.values)
    supplied = _ordered(names, by_dry[sides.attrs["measure"]].interp(capacity=capacity).values)
    sizes = [Named(one.name, float(by_dry.reaching.sel(climate=one.name))) for one in supplied]
    equal = sides.wet_equal.values
    return {
        "capacity": capacity,  # [L]
        "target": sides.attrs["target"],  # [1]
        "supplied": supplied,  # [1] by climate
        "reaching": [one for one in sizes if np.isfinite(one.value)],  # [L] the size that reaches the target
        "never": [one.name for one in sizes if not np.isfinite(one.value)],
        "dearest": Named(str(names[order[-1]]), tap_facts(sides, order[-1])),
        "cheapest": Named(str(names[order[0]]), tap_facts(sides, order[0])),
        # [L] the size from which the wet run brings as much
        "equal": [Named(str(n), float(e)) for n, e in zip(names, equal, strict=True) if np.isfinite(e)],
        "most_spells": _ordered(names, wet.standing_spells_a_year.values)[0],  # [1/year] of old water
        "longest": _ordered(names, wet.longest_standing.values)[0],  # [day] that water stands
        "standing_limit": sides.attrs["standing_limit"],  # [day]
    }


# [1], [L/year], [day/year]
_TAP = {"share": "wet_cost", "water": "wet_cost_a_year", "days": "wet_failed_a_year"}


def tap_facts(found: xr.Dataset, place: int = 0) -> dict[str, float]:
    """Return what the wet run costs at the tap, from `wet_against_dry`, of one place or of the only one."""
    return {key: float(found[name].values.ravel()[place]) for key, name in _TAP.items()}


def map_facts(values: xr.DataArray, name: str, form: str) -> dict[str, object]:
    """Return from where to where a map of a quantity goes, and how many places it shows; ``form`` as a layer's."""
    known = values.values[np.isfinite(values.values)]
    return {
        "words": QUANTITIES[name].long_name,
        "form": form,
        "known": known.size,  # places that have a value
        "lowest": _spot(values, values.argmin(...)) if known.size else None,
        "highest": _spot(values, values.argmax(...)) if known.size else None,
        "groups": np.bincount(known.astype(int))[1:].tolist() if name == "group" else [],  # places in each
        "a_size": name == "reaching",
    }


def _spot(values: xr.DataArray, at: Mapping[str, xr.DataArray]) -> dict[str, float]:
    """Return a value of a map and where it is."""
    one = values.isel(at)
    return {"value": float(one), "latitude": float(one.latitude), "longitude": float(one.longitude)}


def place_facts(
    here: xr.Dataset, wet: xr.Dataset, capacity: float, target: float
) -> dict[str, object] | None:
    """Return what the building gets at one place, in what climate, ``wet`` run or dry; None for a place at sea."""
    if not np.isfinite(float(here.rain_year)):
        return None
    supplied = here.volume_reliability.interp(capacity=capacity)
    size = float(here.reaching.sel(conveyance="dry run"))
    climate = {name: float(here[name]) for name in ("rain_year", "mean_storm", "mean_dry_spell")}
    return climate | {
        "capacity": capacity,  # [L]
        "dry": float(supplied.sel(conveyance="dry run")),  # [1] what the tank supplies
        "wet": float(supplied.sel(conveyance="wet run")),
        "target": target,  # [1]
        "reaching": size if np.isfinite(size) else None,  # [L] the size that reaches it
        "wet_cost": tap_facts(wet),
        "spells": float(here.standing_spells_a_year.sel(conveyance="wet run")),  # [1/year] of old water
    }


def explained_facts(found: xr.Dataset) -> dict[str, object]:
    """Return which statistics of the climate go with an outcome, from `rainharvest.climates.statistics.explain`."""
    names = [QUANTITIES[str(name)].long_name.lower() for name in found.statistic.values]
    rho, without = found.rank_correlation.values, found.explained_without.values
    between = np.abs(found.between.values - np.eye(len(names)))
    i, j = np.unravel_index(int(np.argmax(between)), between.shape)
    return {
        "places": found.attrs["places"],
        "correlations": [Named(names[k], float(rho[k])) for k in np.argsort(-np.abs(rho))],
        "explained": float(found.explained),
        "without": Named(names[int(np.argmin(without))], float(without.min())),  # that which is missed most
        "pair": (names[i], names[j]),  # the two that go together most
        "pair_correlation": float(found.between[i, j]),
    }


def _of_record(results: xr.Dataset) -> xr.Dataset:
    """Return the results on the records as they are."""
    return results.sel(model=RECORD, drop=True) if "model" in results.dims else results


def models_facts(results: xr.Dataset) -> dict[str, object] | None:
    """Return what the described tank supplies by the first run, by each record and as models change it."""
    if "model" not in results.dims:
        return None
    supplied = results[results.attrs["measure"]].isel(conveyance=0, arrangement=0)
    supplied = supplied.sel(capacity=results.attrs["described_size"], method="nearest").transpose(
        "site", "model"
    )
    own, changed = supplied.sel(model=RECORD).values, supplied.drop_sel(model=RECORD).values
    return {
        "capacity": results.attrs["described_size"],  # [L]
        "run": str(results.conveyance.values[0]),
        "models": changed.shape[1],
        "places": [
            {
                "name": str(name),
                "record": float(by_record),  # [1]
                "least": float(by_model.min()),
                "most": float(by_model.max()),
                "less": int((by_model < by_record).sum()),  # models that say less than the record
            }
            for name, by_record, by_model in zip(results.site.values, own, changed, strict=True)
        ],
    }


def run_facts(results: xr.Dataset) -> dict[str, object]:
    """Return what a run over climates found; with climate models, on the records as they are."""
    results = _of_record(results)
    known = np.isfinite(results.rain_year.values)
    first, last = results.attrs["first_day"], results.attrs["last_day"]
    days = int((np.datetime64(last) - np.datetime64(first)).astype(int)) + 1
    missing, clipped, impossible = (results[name].values for name in COUNTS)
    sizes = results.reaching.isel(arrangement=0)
    runs = [str(run) for run in results.conveyance.values]
    tank, cost = results.attrs["described_size"], None
    if set(runs) >= BOTH:
        against = wet_against_dry(results, tank)
        order = np.argsort(against.wet_cost.values.ravel())[: int(against.wet_cost.notnull().sum())]
        if order.size:
            middle, most = order[order.size // 2], order[-1]
            cost = {"middle": tap_facts(against, middle), "most": tap_facts(against, most)}
            cost |= {"capacity": tank, "equal": _spread(against.wet_equal.values)}
    record = results.record_days.values[known]
    return {
        "places": int(known.sum()),
        "first_day": first,
        "last_day": last,
        "invented": bool(results.attrs.get("invented")),
        "records": (float(record.min()), float(record.max()))
        if record.size
        else (0.0, 0.0),  # [day] least and most
        "common_period": bool(results.attrs.get("common_period")),
        "calendar": results.attrs.get("calendar", "standard"),
        "repairs": {  # what was done to the rain, and places that are missing
            "clipped": int(np.nansum(clipped)),
            "impossible": int((impossible > 0).sum()),
            "holed": int(((missing > 0) & (missing < days) & ~known & (impossible == 0)).sum()),
            "empty": int((missing == days).sum()),
        },
        "target": results.attrs["target"],  # [1]
        "reached": {run: _spread(sizes.sel(conveyance=run).values[known], lower=True) for run in runs},  # [L]
        "wet_cost": cost,
    }


def _spread(values: np.ndarray, lower: bool = False) -> dict[str, float] | None:
    """Return the spread of values that are known; of an even number of them the lower or the upper in the middle."""
    known = np.sort(values[np.isfinite(values)])
    if not known.size:
        return None
    middle = known[(known.size - 1) // 2 if lower else known.size // 2]
    return {"places": known.size, "least": known[0], "middle": float(middle), "most": known[-1]}
