"""Dry against wet for one site, and what to choose: the bore that brings most, which roof first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment import hydraulics
from rainharvest.catchment.chain import LOSSES, run_lanes
from rainharvest.catchment.collect import collect_totals, label_days
from rainharvest.catchment.drainage import peak_overflow
from rainharvest.catchment.intensity import Intensity, Rain, read_daily, weibull_shape, wet_day_intensity
from rainharvest.catchment.tables import (
    DRYING,
    INTENSITY,
    TRADE_SIZES,
    Catchment,
    Conveyance,
    Roof,
    make_catchment,
)
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes

BORES = TRADE_SIZES["metric"]
"""Inside diameters tried where no units are named, mm."""

NEARLY = 0.001
"""Two choices whose yields differ by less than this share are alike; the smaller is preferred."""


def gutter_hours(
    rain: xr.DataArray | pd.Series, catchment: Catchment, intensity: Intensity = INTENSITY
) -> float:
    """Return the hours a year in which some gutter overflows, because of itself or of the run of pipe.

    On a day of depth P and mean intensity mu there are P / mu wet hours, and the share exp(-(c / l)^k) of
    them is above the limit c (Weibull, see `rainharvest.catchment.intensity`).

    >>> rain = pd.Series([10.0, 0.0, 4.0], index=pd.date_range("2001-01-01", periods=3))
    >>> gutter_hours(rain, Catchment(roofs=(Roof(area=100),)))
    0.0
    """
    from scipy.special import gamma

    depth = _one_series(rain).depth[:, 0]
    wet = depth[depth > 0]
    if not wet.size:
        return 0.0
    limit = min(float(hydraulics.gutter_limits(catchment).min()), hydraulics.pipe_limit(catchment))
    k = weibull_shape(intensity.variation)
    mean = wet_day_intensity(wet, intensity)
    beyond = np.exp(-((np.minimum(limit / mean, 1e9) * gamma(1 + 1 / k)) ** k))
    return float((wet / mean * beyond).sum()) / (depth.size / 365.25)


def _one_series(rain: xr.DataArray | pd.Series) -> Rain:
    """Check that the rain is daily and of one place and version."""
    steps = read_daily(rain)
    single = steps.depth.shape[1] == 1
    require(single, "the rain has several series", "choose one member and one site", "rain")
    return steps


def compare_conveyance(
    rain: xr.DataArray | pd.Series,
    catchment: Catchment,
    runs: dict[str, Conveyance],
    design_intensity: float,
    *,
    drying: float | xr.DataArray = DRYING.value,
    intensity: Intensity = INTENSITY,
) -> pd.DataFrame:
    """Return runs of pipe for one site side by side, dry against wet: rows as in words.toml.

    A run that cannot work says why, and has no numbers; one that works, but not in the design storm, says that.
    """
    steps = _one_series(rain)
    flow = peak_overflow(catchment, design_intensity).gutters
    table: dict[str, dict[str, object]] = {}
    for name, run in runs.items():
        levels = hydraulics.run_levels(run, flow)
        works = "yes" if levels.enough else "in part: it backs up in the design storm"
        table[name] = {"works": f"no: {levels.answer}" if levels.answer else works}
        if not levels.answer:
            table[name] |= _measures(steps, _with(catchment, conveyance=run), levels, drying, intensity)
    rows = max((column.keys() for column in table.values()), key=len)
    return pd.DataFrame(table).reindex(list(rows))


def _with(catchment: Catchment, **changes: object) -> Catchment:
    """Return a catchment with changes, checked."""
    return make_catchment(**(dict(catchment) | changes))


def _measures(
    steps: Rain, catchment: Catchment, levels: hydraulics.Levels, drying, intensity: Intensity
) -> dict[str, float]:
    """Compute the rows of the comparison for one run that can work."""
    run, flow, capacity = levels.conveyance, levels.flow, levels.passes
    total, rows = run_lanes(steps, [catchment], drying, intensity, trace=True)
    water = label_days(steps.label(rows), catchment, steps.array)
    years = steps.depth.shape[0] / 365.25
    spells = hydraulics.standing_spells(water)
    return {
        "delivered": float(water.inflow.sum()) / years,
        **{loss: float(water.lost.sel(loss=loss).sum()) / years for loss in LOSSES},
        "left": float(total[-3:].sum()),
        "passes": capacity,
        "storm": flow,
        "share_passed": min(capacity / flow, 1.0) if flow else 1.0,
        "margin": levels.margin,
        "gutter_hours": gutter_hours(steps.array, catchment, intensity),
        "velocity": hydraulics.full_velocity(run, min(flow, capacity)) if run.kind == "wet" else np.nan,
        "held": hydraulics.held_volume(run),
        "standing_share": float(spells.share.max()),
        "longest_standing": float(spells.longest.max()),
        "too_old": float(spells.spells_beyond.max()) / years,
        "share_too_old": float(spells.share_beyond.max()),
        "pressure": hydraulics.static_pressure(run),
        "storm_pressure": hydraulics.static_pressure(run, backed_up=True),
        "pipe": hydraulics.total_length(run),
        "fittings": float(sum(run.fittings.values())),
    }


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
    if field in set(Catchment.model_fields) - {"roofs", "conveyance"}:
        variants = [_with(catchment, **{field: value}) for value in values]
    elif catchment.conveyance is not None and field in Conveyance.model_fields:
        run = catchment.conveyance.model_dump(exclude_unset=True)
        variants = [_with(catchment, conveyance=run | {field: value}) for value in values]
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
    piped = catchment.conveyance is not None
    require(piped, "there is no run of pipe", "give the catchment a conveyance", "conveyance")
    data = vary(rain, catchment, "bore", bores, drying=drying, intensity=intensity)
    runs = [catchment.conveyance.model_copy(update={"bore": float(b)}) for b in bores]
    data["capacity_of_pipe"] = ("bore", [hydraulics.pipe_capacity(run) for run in runs], {"units": "L/s"})
    limits = [hydraulics.pipe_limit(_with(catchment, conveyance=run)) for run in runs]
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
        known = roof.pipe_to_add is not None
        problem, remedy = f"roof {roof.name!r} has no pipe_to_add", "give the metres of pipe to add"
        require(known, problem, remedy, f"roof[{n}].pipe_to_add")
        once = names.count(roof.name) == 1
        require(once, f"two roofs bear the name {roof.name!r}", "give each its own", f"roof[{n}].name")
    done: list[Roof] = []
    left = list(catchment.roofs)
    total, rows = 0.0, {}
    while left:
        tries = [_with(catchment, roofs=(*done, roof)) for roof in left]
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
