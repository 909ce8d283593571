"""Dry against wet for one site, and what to choose: the bore that brings most, which roof first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES, run_lanes
from rainharvest.catchment.collect import collect_totals, label_days
from rainharvest.catchment.drainage import design_flow
from rainharvest.catchment.hydraulics import (
    STANDING_LIMIT,
    cannot_work,
    full_velocity,
    gutter_limits,
    head_margin,
    held_volume,
    pipe_capacity,
    pipe_limit,
    standing_spells,
    static_pressure,
    total_length,
)
from rainharvest.catchment.intensity import Intensity, day_intensity, read_daily, weibull_shape
from rainharvest.catchment.tables import DRYING, INTENSITY, Catchment, Conveyance, Roof, make_catchment
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes


def gutter_hours(
    rain: xr.DataArray | pd.Series, catchment: Catchment, intensity: Intensity = INTENSITY
) -> xr.DataArray:
    """Return the hours a year in which some gutter overflows, because of itself or of the run of pipe.

    On a day of depth P and mean intensity mu there are P / mu wet hours, and the share exp(-(c / l)^k) of
    them is above the limit c (Weibull, see `rainharvest.catchment.intensity`).

    >>> rain = pd.Series([10.0, 0.0, 4.0], index=pd.date_range("2001-01-01", periods=3))
    >>> from rainharvest.catchment.tables import Roof
    >>> float(gutter_hours(rain, Catchment(roofs=(Roof(area=100),))))
    0.0
    """
    from scipy.special import gamma

    steps = read_daily(rain)
    limit = min(float(gutter_limits(catchment).min()), pipe_limit(catchment))
    depth = steps.array
    k = weibull_shape(intensity.variation)
    mean = day_intensity(depth, intensity)
    beyond = np.exp(-((np.minimum(limit / mean, 1e9) * gamma(1 + 1 / k)) ** k))
    out = (depth / mean * beyond).sum("time") / (depth.sizes["time"] / 365.25)
    out.attrs = {"units": "h/year", "long_name": "Hours a year with a gutter that overflows"}
    return out.rename("gutter_hours")


def compare_conveyance(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    runs: dict[str, Conveyance],
    design_intensity: float,
    *,
    standing_limit: float = STANDING_LIMIT.value,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> pd.DataFrame:
    """Return runs of pipe for one site side by side, dry against wet."""
    steps = read_daily(rain)
    if steps.depth.shape[1] != 1:
        raise InputError("the rain has several series", "choose one member and one site", "rain")
    flow = sum(design_flow(roof.area, design_intensity) for roof in catchment.roofs)
    whole = {name: getattr(catchment, name) for name in Catchment.model_fields}
    table: dict[str, dict[str, object]] = {}
    for name, run in runs.items():
        reason = cannot_work(run)
        if reason:
            table[name] = {"can it work": f"no: {reason[0]}; {reason[1]}"}
            continue
        variant = make_catchment(**(whole | {"conveyance": run}))
        table[name] = {"can it work": "yes"} | _figures(
            steps, variant, flow, standing_limit, drying, intensity
        )
    rows = max((column.keys() for column in table.values()), key=len)
    return pd.DataFrame(table).reindex(list(rows))


def _figures(
    steps, catchment: Catchment, flow: float, standing_limit: float, drying, intensity
) -> dict[str, float]:
    """Compute the rows of the comparison for one run that can work."""
    run = catchment.conveyance
    total, rows = run_lanes(steps, [catchment], drying, intensity, trace=True)
    water = label_days(steps.label(rows), catchment, steps.array)
    years = steps.depth.shape[0] / 365.25
    spells = standing_spells(water, standing_limit)
    capacity = pipe_capacity(run)
    return {
        "delivered [L/year]": float(water.inflow.sum()) / years,
        **{f"lost: {loss} [L/year]": float(water.lost.sel(loss=loss).sum()) / years for loss in LOSSES},
        "left in store at the end [L]": float(total[-3:].sum()),
        "flow before it backs up [L/s]": capacity,
        "flow of the design storm [L/s]": flow,
        "share of the design storm it passes [1]": min(capacity / flow, 1.0) if flow else 1.0,
        "head margin at the design storm [m]": head_margin(run, flow),
        "hours a year with a gutter that overflows [h/year]": float(
            gutter_hours(steps.array, catchment, intensity).max()
        ),
        "velocity at the design storm [m/s]": full_velocity(run, min(flow, capacity))
        if run.kind == "wet"
        else np.nan,
        "water held [L]": held_volume(run),
        "days on which water stands [1]": float(spells.share.max()),
        "longest time that water stands [day]": float(spells.longest.max()),
        f"spells a year beyond {standing_limit:g} days [1/year]": float(spells.spells_beyond.max()) / years,
        "pressure on the lowest joint [kPa]": static_pressure(run),
        "pipe [m]": total_length(run),
        "fittings [1]": float(sum(run.fittings.values())),
    }


BORES = (32.0, 40.0, 50.0, 65.0, 80.0, 90.0, 100.0, 125.0, 150.0, 200.0, 225.0, 300.0)

"""Inside diameters tried, mm; common practice, no source. Pipes are sold by nominal size: check the bore."""


NEARLY = 0.001

"""Two choices whose yields differ by less than this share are alike; the smaller is preferred."""


def vary(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    field: str,
    values: Sequence[float],
    *,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> xr.Dataset:
    """Return the totals of one catchment as one setting varies.

    >>> rain = pd.Series([10.0, 0.0, 4.0], index=pd.date_range("2001-01-01", periods=3))
    >>> roof = Roof(area=300, runoff_coefficient=1, wetting=0)
    >>> vary(rain, Catchment(roofs=(roof,), filter_efficiency=1), "first_flush", [0.0, 1.0]).inflow.values
    array([1400., 1300.])
    """
    whole = {name: getattr(catchment, name) for name in Catchment.model_fields}
    if field in whole and field not in ("roofs", "conveyance"):
        variants = [make_catchment(**(whole | {field: value})) for value in values]
    elif catchment.conveyance is not None and field in Conveyance.model_fields:
        run = catchment.conveyance.model_dump(exclude_unset=True)
        variants = [make_catchment(**(whole | {"conveyance": run | {field: value}})) for value in values]
    else:
        raise InputError(f"there is no setting {field!r}", "name a field of Catchment or Conveyance", "field")
    data = collect_totals(rain, variants, drying=drying, intensity=intensity)
    coords = xr.DataArray(list(values), dims=field, attrs=attributes(field))
    return data.rename(catchment=field).assign_coords({field: coords})


def best_bore(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    bores: Sequence[float] = BORES,
    *,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> xr.Dataset:
    """Return the yield over the record by bore, and the bore that brings most water.

    A wider pipe passes a harder storm and, if wet, holds more water that its bleed or a hand lets go. A
    wet run that is never drained loses its held water once only: then the curve rises to a plateau, and
    the smallest bore within 0.1 % of the most is taken.

    Limits: an hour hides bursts, so that small bores lose more than shown. Hold ``limit`` of the bore chosen
    against the design intensity that local rules set, and take the larger bore of the two.

    >>> rng = np.random.default_rng(0)
    >>> wet_days = rng.random(3653) < 0.3
    >>> days = pd.date_range("2001-01-01", periods=3653)
    >>> rain = pd.Series(np.where(wet_days, rng.exponential(8, 3653), 0.0), index=days)
    >>> run = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4, emptied_after=2)
    >>> best_bore(rain, Catchment(roofs=(Roof(area=150),), conveyance=run)).attrs["best_bore"]
    40.0
    """
    if catchment.conveyance is None:
        raise InputError("there is no run of pipe", "give the catchment a conveyance", "conveyance")
    data = vary(rain, catchment, "bore", bores, drying=drying, intensity=intensity)
    runs = [catchment.conveyance.model_copy(update={"bore": float(b)}) for b in bores]
    data["capacity_of_pipe"] = ("bore", [pipe_capacity(run) for run in runs], {"units": "L/s"})
    data["held_volume"] = ("bore", [held_volume(run) for run in runs], {"units": "L"})
    whole = {name: getattr(catchment, name) for name in Catchment.model_fields}
    limits = [pipe_limit(make_catchment(**(whole | {"conveyance": run}))) for run in runs]
    data["limit"] = ("bore", limits, {"units": "mm/h"})
    brought = data.inflow.mean([d for d in data.inflow.dims if d != "bore"])
    able = np.asarray(bores)[(brought >= brought.max() * (1 - NEARLY)).values]
    data.attrs["best_bore"] = float(able.min())
    return data


def roof_order(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    *,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> pd.DataFrame:
    """Return which roof to connect first: at each step the one that adds most litres per metre of pipe.

    Roofs share the run of pipe, so that what one adds depends on those connected before it.

    >>> rain = pd.Series([10.0] * 365, index=pd.date_range("2001-01-01", periods=365))
    >>> near = Roof(name="shed", area=40, pipe_to_add=4)
    >>> far = Roof(name="barn", area=300, pipe_to_add=60)
    >>> roof_order(rain, Catchment(roofs=(far, near))).index.to_list()
    ['shed', 'barn']
    """
    names = [roof.name for roof in catchment.roofs]
    for n, roof in enumerate(catchment.roofs):
        if roof.pipe_to_add is None:
            raise InputError(
                f"roof {roof.name!r} has no pipe_to_add",
                "give the metres of pipe to add",
                f"roof[{n}].pipe_to_add",
            )
        if names.count(roof.name) > 1:
            raise InputError(f"two roofs bear the name {roof.name!r}", "give each its own", f"roof[{n}].name")
    whole = {name: getattr(catchment, name) for name in Catchment.model_fields}
    done: list[Roof] = []
    left = list(catchment.roofs)
    total, rows = 0.0, {}
    while left:
        tries = [make_catchment(**(whole | {"roofs": (*done, roof)})) for roof in left]
        data = collect_totals(rain, tries, drying=drying, intensity=intensity)
        brought = data.inflow.mean([d for d in data.inflow.dims if d != "catchment"]).values * 365.25
        added = brought - total
        worth = [a / r.pipe_to_add if r.pipe_to_add else np.inf for a, r in zip(added, left, strict=True)]
        pick = max(range(len(left)), key=lambda i: (worth[i], added[i]))
        roof = left.pop(pick)
        done.append(roof)
        total = float(brought[pick])
        rows[roof.name] = {
            "added": float(added[pick]),
            "pipe_to_add": roof.pipe_to_add,
            "added_per_metre": float(worth[pick]),
            "total": total,
        }
    return pd.DataFrame(rows).T
