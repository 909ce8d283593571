"""The curve of a study while sliders move, from a grid of roofs and coefficients computed beforehand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import xarray as xr

from rainharvest.core.quantities import attributes
from rainharvest.sizing.costs import cost_measures, money_attributes
from rainharvest.sizing.smallest import Measure, merge_dry_days, padded, run_versions
from rainharvest.sizing.tables import Costs
from rainharvest.sizing.trade_off import scaled_catchment, tank_inflows
from rainharvest.sizing.uncertainty import Case, Drawn, draw_flows, draw_inputs, record_inputs

SIZES = 128

"""Sizes of the curve: two blocks of lanes, each size a twentieth larger than the one before."""

DRAWS = 10

"""Versions in the band: the lowest and the highest of ten hold the truth nine times in eleven."""

AREAS = (0.2, 0.4, 0.7, 1.0, 1.5, 2.4, 4.0)

"""Roofs for which the flows are worked out beforehand, multiples of the study's."""

COEFFICIENTS = (0.5, 0.75, 1.0)

"""Runoff coefficients likewise; beside them the one at which the smoothest roof reaches 1."""


@dataclass(frozen=True)
class Grid:
    """What does not change when the sliders of a study move; the first version is the record as it stands."""

    measure: Measure
    sizes: np.ndarray  # [L] Usable sizes of the curve
    areas: np.ndarray  # [m2] Roofs of the grid
    coefficients: np.ndarray  # [1] Runoff coefficients of the grid
    per_area: np.ndarray  # (area, coefficient, version, step): inflow for each unit of roof and coefficient
    demand: np.ndarray  # (version, part, step): what those counted by people ask, and what all others do
    essential: np.ndarray | None  # The same of what rationing spares
    days: np.ndarray  # [day] Length of each version
    settings: dict[str, object]  # Arguments of `rainharvest.sizing.smallest.run_versions`
    area: float  # [m2] Of the study
    coefficient: float  # [1] Mean runoff coefficient of its roofs
    people: float  # [1] Of its largest use
    # Where mains water is let into the tank, what each size then delivers of rain [L/year], by area, coefficient and
    # people: costs follow from that, and the reliability from rain alone
    as_run: Callable[[float, float, float], np.ndarray] | None = None


def draw_versions(case: Case, draws: int, seed: int) -> tuple[Drawn, ...]:
    """Return the record as it stands in one filling, and the versions of the band."""
    own = record_inputs(case).isel(draw=[0])
    versions = draw_inputs(case, draws, seed)
    return draw_flows(case, own), draw_flows(case, versions)


def grid_of(
    case: Case,
    drawn: tuple[Drawn, ...],
    by_people: xr.DataArray,
    essential_by_people: xr.DataArray | None,
    *,
    measure: Measure,
    sizes: np.ndarray,
    people: float,
) -> Grid:
    """Work out the flows of every version on every roof and coefficient of the grid.

    ``by_people`` is the demand of the uses counted by people, ``essential_by_people`` what rationing spares of it.
    Volume reliability is found on steps that join the dry days (`rainharvest.sizing.smallest`), which is exact;
    time reliability and rationing need every day.
    """
    roofs = case.catchment.roofs
    area = sum(roof.area for roof in roofs)
    coefficient = sum(r.area * r.runoff_coefficient for r in roofs) / area
    top = max(1.0, 1.0 / max(roof.runoff_coefficient for roof in roofs))
    areas, factors = np.array(AREAS), np.unique([*COEFFICIENTS, top])
    by_day = measure != "volume_reliability" or essential_by_people is not None
    inflow, demand, essential, lengths = [], [], [], []
    for one in drawn:
        inputs, calendar = one.inputs, case.calendar(one.inputs)
        for k in range(inputs.sizes["draw"]):
            factor = {each.name: float(inputs[each.name][k]) for each in case.ranges}
            more = factor.pop("demand", 1.0)
            own = scaled_catchment(case.catchment, **factor)
            sites = [scaled_catchment(own, area=a, runoff_coefficient=c) for a in areas for c in factors]
            came = tank_inflows(case.filling(int(inputs.member[k])), sites, case.intensity)
            days = inputs.day_drawn.values[int(inputs.year_draw[k])]
            came = np.ascontiguousarray(came[:, days])
            series = [_parts(one.demand, k, by_people.values[calendar] * more)]
            if essential_by_people is not None:
                spared = essential_by_people.values[calendar] * more
                series.append(_parts(one.settings["essential"], k, spared))
            if not by_day:
                came, *series = merge_dry_days(came, *series)
            inflow.append(came)
            demand.append(series[0])
            essential += series[1:]
            lengths.append(days.size)
    laid = padded(inflow).reshape(len(inflow), areas.size, factors.size, -1).transpose(1, 2, 0, 3)
    unit = (areas * area)[:, None, None, None] * (factors * coefficient)[None, :, None, None]
    return Grid(
        measure,
        sizes,
        areas * area,
        factors * coefficient,
        per_area=np.ascontiguousarray(laid / unit),
        demand=padded(demand),
        essential=padded(essential) if essential else None,
        days=np.array(lengths),
        settings=_settings(case),
        area=area,
        coefficient=coefficient,
        people=people,
    )


def _parts(total: xr.DataArray, k: int, counted: np.ndarray) -> np.ndarray:
    """Return of one draw what those counted by people ask, and the rest."""
    row = (total.isel(draw=k) if "draw" in total.dims else total).values
    return np.array([counted, np.maximum(row - counted, 0.0)])


def _settings(case: Case) -> dict[str, object]:
    """Return the settings of the balance as `rainharvest.sizing.smallest.run_versions` takes them."""
    out = {
        "theta": float(case.settings.get("theta", 0.0)),
        "start_share": float(case.shares.get("start", 0.0)),
    }
    if "ration_level" in case.shares:
        out["ration_level_share"] = np.asarray(case.shares["ration_level"], dtype=float)
        out["ration_share"] = np.asarray(case.settings["ration_share"], dtype=float)
    return out


def moved(grid: Grid, *, area: float, coefficient: float, people: float) -> xr.Dataset:
    """Return the curve and its band for other roofs, coefficient and people.

    Between the roofs and coefficients that were worked out beforehand, the inflow for each unit of both is
    read between the four nearest: exact where nothing but roofs limits the flow, and within a few
    thousandths where gutters, pipes or a first flush do.
    """
    inflow = _between(grid, area, coefficient)
    more = people / grid.people
    demand = grid.demand[:, 0] * more + grid.demand[:, 1]
    settings = dict(grid.settings)
    if grid.essential is not None:
        spared = grid.essential[:, 0] * more + grid.essential[:, 1]
        settings["essential"] = np.minimum(spared, demand)
    done = run_versions(inflow, demand, grid.sizes, **settings)
    years = grid.days / 365.25
    if grid.measure == "time_reliability":
        reached = 1.0 - done["days_failed"] / np.maximum((demand > 0).sum(axis=1), 1)[:, None]
    else:
        short = done["unmet"] + done["rationed"]
        reached = 1.0 - short / np.maximum(demand.sum(axis=1), 1e-300)[:, None]
    columns = {
        "reliability": reached[0],
        "reliability_low": reached[1:].min(axis=0),
        "reliability_high": reached[1:].max(axis=0),
        "yearly_yield": grid.as_run(area, coefficient, people)
        if grid.as_run
        else done["drawn"][0] / years[0],
    }
    data = {name: ("capacity", values, attributes(name)) for name, values in columns.items()}
    attrs = {
        "measure": grid.measure,
        "inflow_a_year": float(inflow[0].sum() / years[0]),
        "demand_a_year": float(demand[0].sum() / years[0]),
        "versions": reached.shape[0] - 1,
        "mains": grid.as_run is not None,
    }
    return xr.Dataset(data, {"capacity": ("capacity", grid.sizes, attributes("capacity"))}, attrs)


SHOWN = ("capital", "annual", "per_kilolitre", "net_present_value", "payback")

"""What of the costs a panel shows."""


def priced(
    curve: xr.Dataset, costs: Costs | None, usable_share: float, rate: float | None = None
) -> xr.Dataset:
    """Return a curve with what its sizes cost, where costs follow from the yield alone."""
    if costs is None or costs.block:
        return curve
    if rate is not None:
        costs = costs.model_copy(update={"rate": rate, "rate_kind": "real", "inflation": None})
    money = cost_measures(costs, curve.capacity.values / usable_share, curve.yearly_yield.values)
    return curve.assign(
        {name: ("capacity", money[name], money_attributes(name, costs.currency)) for name in SHOWN}
    )


def _between(grid: Grid, area: float, coefficient: float) -> np.ndarray:
    """Return the inflow read between the roofs and coefficients worked out, (version, step)."""
    out = 0.0
    for i, a in _weights(np.log(grid.areas), np.log(area)):
        for j, b in _weights(grid.coefficients, coefficient):
            out = out + a * b * grid.per_area[i, j]
    return out * (area * coefficient)


def _weights(at: np.ndarray, x: float) -> list[tuple[int, float]]:
    """Return which two places surround a value, and the weight of each; the ends hold beyond them."""
    x = float(np.clip(x, at[0], at[-1]))
    low = int(np.clip(np.searchsorted(at, x, side="right") - 1, 0, at.size - 2))
    share = (x - at[low]) / (at[low + 1] - at[low])
    return [(k, w) for k, w in ((low, 1.0 - share), (low + 1, share)) if w > 0]
