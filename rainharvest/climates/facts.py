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
from rainharvest.climates.cells import VARIABLES, Plan, compute_places, coords_of
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

SIZES = 64

"""Sizes tried where the study names none: a block of the balance's lanes."""

_TABLE = rows_of("climates", "results")["table"]


def plan_of(region: Region, grid: Grid) -> Plan:
    """Return what the study puts to every climate: with its own sizes, or 64 from half a day's demand to a year's."""
    time = xr.DataArray(grid.days, dims="time", name="time")
    demand = daily_demand(region.use, region.calendar, time).sum("use")
    share = region.tank.usable_share
    sizes = np.array(region.tank.sizes) * share if region.tank.sizes else sizes_to_try(demand, SIZES)
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


def wet_cost(results: xr.Dataset, dry: str = "dry run", wet: str = "wet run") -> xr.DataArray:
    """Return the share of the dry run's water that the wet run does not bring, at every place.

    >>> results = xr.Dataset({"brought_a_year": ("conveyance", [100.0, 80.0])}, {"conveyance": ["dry run", "wet run"]})
    >>> float(wet_cost(results))
    0.2
    """
    names = [str(name) for name in results.conveyance.values]
    for name in (dry, wet):
        problem = f"the results have no {name!r}"
        require(name in names, problem, f"name two of {', '.join(names)}", "conveyance")
    of_dry, of_wet = (results.brought_a_year.sel(conveyance=name, drop=True) for name in (dry, wet))
    return (1 - of_wet / of_dry.where(of_dry > 0)).assign_attrs(attributes("wet_cost"))


def described_size(region: Region, results: xr.Dataset) -> float:
    """Return the usable size whose figures are given for every place."""
    if region.tank.chosen is not None:
        return region.tank.usable(region.tank.chosen)
    reaching = results.reaching.isel(conveyance=0, arrangement=0).values
    reaching = np.sort(reaching[np.isfinite(reaching)])
    sizes = results.capacity.values
    return float(reaching[reaching.size // 2] if reaching.size else sizes[sizes.size // 2])


def places_table(results: xr.Dataset, capacity: float) -> pd.DataFrame:
    """Return a row for every place: its climate, and what the tank nearest a size does there by each run of pipe."""
    one = results.drop_vars("done", errors="ignore").sel(capacity=capacity, method="nearest")
    columns = {_head(name): one[name] for name in CLIMATE}
    columns["usable tank size [L]"] = xr.full_like(one.mean_storm, float(one.capacity))
    for run in one.conveyance.values:
        here = one.sel(conveyance=run)
        columns |= {f"{run}: {_head(name)}": here[name] for name in _TABLE["of_run"]}
        for kind in one.arrangement.values:
            label = f"{run}, {kind}" if one.sizes["arrangement"] > 1 else run
            of_kind = here.sel(arrangement=kind)
            columns |= {f"{label}: {_head(name)}": of_kind[name] for name in _TABLE["of_arrangement"]}
    columns[_head("best_bore")] = one.best_bore
    flat = xr.Dataset({head: values.reset_coords(drop=True) for head, values in columns.items()})
    table = flat.to_dataframe().reset_index()
    space = one.mean_storm.dims
    for name in ("latitude", "longitude"):
        if name in one.coords and name not in space:
            table.insert(len(space), name, one[name].values.ravel())
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


def in_each_climate(sides: Sides, *, area: float, **changes: float) -> xr.Dataset:
    """Put the building to each climate.

    Parameters
    ----------
    sides : Sides
        The building and the climates.
    area : float [m2]
        Plan area of all roofs together.
    **changes
        As `both_runs`.

    Returns
    -------
    Dataset
        As `rainharvest.climates.cells.over_cells` on ``climate``, with ``wet_cost`` as `wet_cost`.

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
            tuple(sides.sizes),
            target=sides.target.reliability,
            measure=sides.target.measure,
            intensity=climate.intensity,
            bores=(),
        )
        hard = climate.intensity.mean_intensity
        done.append(compute_places(climate.rain.values, hard, plan, climate.rain.indexes["time"]))
    # labelled once: five Datasets put together would take longer than the work
    out = xr.Dataset(
        {
            name: (("climate", *dims), np.stack([values[k] for values in done]), attributes(name))
            for k, (name, dims) in enumerate(VARIABLES.items())
        },
        coords_of(plan) | {"climate": ("climate", list(sides.climates))},
    )
    return out.assign(wet_cost=wet_cost(out)).assign_attrs(plan_attributes(plan))


def plan_attributes(plan: Plan) -> dict[str, object]:
    """Return what the results say of the plan."""
    return {"target": plan.target, "measure": plan.measure, "standing_limit": plan.standing_limit}


def explained(results: xr.Dataset) -> xr.Dataset:
    """Return which statistics of the climate go with the cost of the wet run over a region.

    Parameters
    ----------
    results : Dataset
        As `rainharvest.climates.panel.region_for`.

    Returns
    -------
    Dataset
        As `rainharvest.climates.statistics.explain`.
    """
    return explain(results.wet_cost, results)


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
    wet = sides.sel(conveyance="wet run")
    supplied = _ordered(names, by_dry[sides.attrs["measure"]].interp(capacity=capacity).values)
    sizes = [Named(one.name, float(by_dry.reaching.sel(climate=one.name))) for one in supplied]
    return {
        "capacity": capacity,  # [L]
        "target": sides.attrs["target"],  # [1]
        "supplied": supplied,  # [1] by climate
        "reaching": [one for one in sizes if np.isfinite(one.value)],  # [L] the size that reaches the target
        "never": [one.name for one in sizes if not np.isfinite(one.value)],
        "dearest": _ordered(names, wet.wet_cost.values)[0],  # [1] cost of the wet run
        "cheapest": Named(str(names[np.argmin(wet.wet_cost.values)]), float(wet.wet_cost.min())),
        "most_spells": _ordered(names, wet.standing_spells_a_year.values)[0],  # [1/year] of old water
        "longest": _ordered(names, wet.longest_standing.values)[0],  # [day] that water stands
        "standing_limit": sides.attrs["standing_limit"],  # [day]
    }


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


def place_facts(here: xr.Dataset, capacity: float, target: float) -> dict[str, object] | None:
    """Return what the building gets at one place, and of what climate that is; None for a place at sea."""
    if not np.isfinite(float(here.rain_year)):
        return None
    supplied = here.volume_reliability.interp(capacity=capacity)
    size = float(here.reaching.sel(conveyance="dry run"))
    climate = {name: float(here[name]) for name in ("rain_year", "mean_storm", "mean_dry_spell", "wet_cost")}
    return climate | {
        "capacity": capacity,  # [L]
        "dry": float(supplied.sel(conveyance="dry run")),  # [1] what the tank supplies
        "wet": float(supplied.sel(conveyance="wet run")),
        "target": target,  # [1]
        "reaching": size if np.isfinite(size) else None,  # [L] the size that reaches it
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


def run_facts(results: xr.Dataset) -> dict[str, object]:
    """Return what a run over climates found."""
    known = np.isfinite(results.rain_year.values)
    first, last = results.attrs["first_day"], results.attrs["last_day"]
    days = int((np.datetime64(last) - np.datetime64(first)).astype(int)) + 1
    missing, clipped, impossible = (results[name].values for name in COUNTS)
    sizes = results.reaching.isel(arrangement=0)
    runs = [str(run) for run in results.conveyance.values]
    both = {"dry run", "wet run"} <= set(runs)
    return {
        "places": int(known.sum()),
        "first_day": first,
        "last_day": last,
        "invented": bool(results.attrs.get("invented")),
        "repairs": {  # what was done to the rain, and places that are missing
            "clipped": int(np.nansum(clipped)),
            "impossible": int((impossible > 0).sum()),
            "holed": int(((missing > 0) & (missing < days)).sum()),
            "empty": int((missing == days).sum()),
        },
        "target": results.attrs["target"],  # [1]
        "reached": {run: _spread(sizes.sel(conveyance=run).values[known], lower=True) for run in runs},  # [L]
        "wet_cost": _spread(wet_cost(results).values) if both else None,  # [1]
    }


def _spread(values: np.ndarray, lower: bool = False) -> dict[str, float] | None:
    """Return the spread of values that are known; of an even number of them the lower or the upper in the middle."""
    known = np.sort(values[np.isfinite(values)])
    if not known.size:
        return None
    middle = known[(known.size - 1) // 2 if lower else known.size // 2]
    return {"places": known.size, "least": known[0], "middle": float(middle), "most": known[-1]}
