"""The sizing of a study while sliders move, from a grid of roofs and coefficients computed beforehand."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.chain import run_lanes
from rainharvest.catchment.intensity import read_daily
from rainharvest.core.errors import InputError
from rainharvest.core.kept import kept_folder
from rainharvest.core.quantities import attributes
from rainharvest.demand.uses import essential_demand
from rainharvest.sizing.costs import MONEY, cost_measures
from rainharvest.sizing.facts import case_of
from rainharvest.sizing.smallest import join_dry_days, padded, run_versions
from rainharvest.sizing.trade_off import INFLOW_ROW, scaled_catchment
from rainharvest.sizing.uncertainty import Case, Drawn, draw_flows, draw_inputs, record_inputs
from rainharvest.study.file import Study, read_study
from rainharvest.study.stages import Run, flows_of, record_of

SIZES = 192

"""Sizes of the curve: three blocks of lanes."""

DRAWS = 10

"""Versions in the band: the lowest and the highest of ten hold the truth nine times in eleven."""

AREAS = (0.2, 0.4, 0.7, 1.0, 1.5, 2.4, 4.0)

"""Roofs for which the flows are worked out beforehand, multiples of the study's."""

COEFFICIENTS = (0.5, 0.75, 1.0)

"""Runoff coefficients likewise; beside them the one at which the smoothest roof reaches 1."""


@dataclass(frozen=True)
class Quick:
    """A study with what does not change when its sliders move."""

    study: Study  # What was asked
    sizes: np.ndarray  # [L] Usable sizes of the curve
    # (area, coefficient, version, step): inflow for each unit of roof and coefficient; the first version is
    # the record as it stands
    per_area: np.ndarray
    asked: np.ndarray  # (version, part, step): what those counted by people ask, and what all others do
    essential: np.ndarray | None  # The same of what rationing spares
    areas: np.ndarray  # What ``per_area`` was worked out for, [m2] and [1]
    coefficients: np.ndarray  # What ``per_area`` was worked out for, [m2] and [1]
    area: float  # [m2] Of the study
    coefficient: float  # [1] Mean runoff coefficient of its roofs
    people: float  # [1] Of its largest use
    settings: dict[str, object]  # Arguments of `rainharvest.sizing.smallest.run_versions`
    days: np.ndarray  # [day] Length of each version
    by_day: bool  # Whether the steps are days


def prepare_sizing(path: str | os.PathLike, *, draws: int = DRAWS, sizes: int = SIZES) -> Quick:
    """Read a study and work out its flows once, for many moves of the sliders.

    Volume reliability is found on steps that join the dry days (`rainharvest.sizing.smallest`), which is
    exact; time reliability and rationing need every day.
    """
    path = Path(path)
    study, _ = read_study(path)
    if not study.roof or study.arrangement.kind == "mains reserve":
        raise InputError("no rain feeds this tank", "open a study that catches rain", "roof", path)
    run = Run(study, path.parent, kept_folder(None))
    try:
        record, flows = record_of(run), flows_of(run)
        case = case_of(study, record, flows)
        inputs = draw_inputs(case, draws, study.sizing.seed)
        own = record_inputs(case).isel(draw=[0])
        versions = [
            *_versions(case, draw_flows(case, own)),
            *_versions(case, draw_flows(case, inputs, threads=os.cpu_count() or 1)),
        ]
    except InputError as error:
        raise error.at(path) from None
    counted = [use for use in study.use if use.people and use.name in set(flows.asked.use.values)]
    pick = np.isin(flows.asked.use.values.astype(str), [use.name for use in counted])
    by_people = flows.asked.isel(use=np.flatnonzero(pick))
    must = essential_demand(by_people).values if study.rationing else None
    mean = float(flows.asked.sum("use").mean())
    return _laid_out(
        study,
        case,
        versions,
        by_people.sum("use").values,
        must,
        np.geomspace(max(0.5 * mean, 1.0), 400.0 * mean, sizes),
        max((use.people for use in counted), default=1.0),
    )


@dataclass(frozen=True)
class _Version:
    """One version: its filling, its multiples of the catchment and the demand, its days, what is asked."""

    member: int
    factors: dict[str, float]
    demand_factor: float
    days: np.ndarray
    calendar: slice
    asked: np.ndarray
    essential: np.ndarray | None


def _versions(case: Case, drawn: Drawn) -> list[_Version]:
    inputs, time = drawn.inputs, drawn.inflow["time"].values
    begin = int(np.searchsorted(case.rain["time"].values, time[0]))
    names = [one.name for one in case.ranges if one.name != "demand"]
    out = []
    for k in range(inputs.sizes["draw"]):
        must = drawn.settings.get("essential")
        if must is not None:
            must = must.isel(draw=k).values if "draw" in must.dims else must.values
        asked = drawn.demand.isel(draw=k) if "draw" in drawn.demand.dims else drawn.demand
        out.append(
            _Version(
                int(inputs.member[k]),
                {name: float(inputs[name][k]) for name in names},
                float(inputs["demand"][k]) if "demand" in inputs else 1.0,
                inputs.day_drawn.values[int(inputs.year_draw[k])],
                slice(begin, begin + time.size),
                asked.values,
                must,
            )
        )
    return out


def _laid_out(study: Study, case: Case, versions, by_people, must, sizes, people: float) -> Quick:
    """Work out the flows of every version on every roof and coefficient of the grid."""
    roofs = case.catchment.roofs
    area = sum(roof.area for roof in roofs)
    coefficient = sum(r.area * r.runoff_coefficient for r in roofs) / area
    top = max(1.0, 1.0 / max(roof.runoff_coefficient for roof in roofs))
    areas, factors = np.array(AREAS), np.unique([*COEFFICIENTS, top])
    by_day = study.target.measure != "volume_reliability" or bool(study.rationing)
    rain = case.rain if "member" in case.rain.dims else case.rain.expand_dims("member")
    inflow, asked, spared = [], [], []
    for one in versions:
        steps = read_daily(rain.isel(member=one.member, drop=True))
        own = scaled_catchment(case.catchment, **one.factors)
        sites = [scaled_catchment(own, area=a, runoff_coefficient=c) for a in areas for c in factors]
        _, rows = run_lanes(steps, sites, case.drying, case.intensity, trace=(INFLOW_ROW,))
        came = np.ascontiguousarray(rows[0].T[:, one.days])
        series = [_parts(one.asked, by_people[one.calendar] * one.demand_factor)]
        if study.rationing:
            series.append(_parts(one.essential, must[one.calendar] * one.demand_factor))
        if not by_day:
            came, *series = join_dry_days(came, *series)
        inflow.append(came)
        asked.append(series[0])
        spared += series[1:]
    laid = padded(inflow).reshape(len(versions), areas.size, factors.size, -1).transpose(1, 2, 0, 3)
    unit = (areas * area)[:, None, None, None] * (factors * coefficient)[None, :, None, None]
    return Quick(
        study=study,
        sizes=sizes,
        per_area=np.ascontiguousarray(laid / unit),
        asked=padded(asked),
        essential=padded(spared) if spared else None,
        areas=areas * area,
        coefficients=factors * coefficient,
        area=area,
        coefficient=coefficient,
        people=people,
        settings=_settings(case),
        days=np.array([one.days.size for one in versions]),
        by_day=by_day,
    )


def _parts(total: np.ndarray, counted: np.ndarray) -> np.ndarray:
    """Return what those counted by people ask, and the rest."""
    return np.array([counted, np.maximum(total - counted, 0.0)])


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


SHOWN = ("capital", "annual", "per_kilolitre", "net_present_value", "payback")

"""What of the costs a panel shows."""


def moved(
    quick: Quick,
    *,
    area: float,
    coefficient: float,
    people: float,
    threads: int = 2,
) -> xr.Dataset:
    """Return the curve, its band and its costs for other roofs, coefficient, people and discount rate.

    Between the roofs and coefficients that were worked out beforehand, the inflow for each unit of both is
    read between the four nearest: exact where nothing but roofs limits the flow, and within a few
    thousandths where gutters, pipes or a first flush do.
    """
    for name, value in (("area", area), ("runoff_coefficient", coefficient), ("people", people)):
        if not value > 0:
            raise InputError(f"{value:g} is not possible", f"give {name} above zero", name)
    inflow = _between(quick, area, coefficient)
    more = people / quick.people
    asked = quick.asked[:, 0] * more + quick.asked[:, 1]
    settings = dict(quick.settings)
    if quick.essential is not None:
        spared = quick.essential[:, 0] * more + quick.essential[:, 1]
        settings["essential"] = np.minimum(spared, asked)
    done = run_versions(inflow, asked, quick.sizes, threads=threads, **settings)
    measure, years = quick.study.target.measure, quick.days / 365.25
    if measure == "time_reliability":
        reached = 1.0 - done["days_failed"] / quick.days[:, None]
    else:
        short = done["unmet"] + done["rationed"]
        reached = 1.0 - short / np.maximum(asked.sum(axis=1), 1e-300)[:, None]
    columns = {
        "reliability": reached[0],
        "reliability_low": reached[1:].min(axis=0),
        "reliability_high": reached[1:].max(axis=0),
        "yearly_yield": done["drawn"][0] / years[0],
    }
    data = {name: ("capacity", values, attributes(name)) for name, values in columns.items()}
    attrs = {
        "measure": measure,
        "inflow_a_year": float(inflow[0].sum() / years[0]),
        "demand_a_year": float(asked[0].sum() / years[0]),
        "versions": reached.shape[0] - 1,
    }
    return xr.Dataset(data, {"capacity": ("capacity", quick.sizes, attributes("capacity"))}, attrs)


def priced(quick: Quick, curve: xr.Dataset, rate: float | None = None) -> xr.Dataset:
    """Return a curve with what its sizes cost."""
    costs = quick.study.costs
    if costs is None or costs.block:
        return curve
    if rate is not None:
        costs = costs.model_copy(update={"rate": rate, "rate_kind": "real", "inflation": None})
    money = cost_measures(costs, quick.sizes / quick.study.tank.usable_share, curve.yearly_yield.values)
    of_money = {name: {"units": costs.currency} for name in SHOWN if name in MONEY}
    return curve.assign(
        {name: ("capacity", money[name], attributes(name) | of_money.get(name, {})) for name in SHOWN}
    )


def _between(quick: Quick, area: float, coefficient: float) -> np.ndarray:
    """Return the inflow read between the roofs and coefficients worked out, (version, step)."""
    out = 0.0
    for i, a in _weights(np.log(quick.areas), np.log(area)):
        for j, b in _weights(quick.coefficients, coefficient):
            out = out + a * b * quick.per_area[i, j]
    return out * (area * coefficient)


def _weights(at: np.ndarray, x: float) -> list[tuple[int, float]]:
    """Return which two places surround a value, and the weight of each; the ends hold beyond them."""
    x = float(np.clip(x, at[0], at[-1]))
    low = int(np.clip(np.searchsorted(at, x, side="right") - 1, 0, at.size - 2))
    share = (x - at[low]) / (at[low + 1] - at[low])
    return [(k, w) for k, w in ((low, 1.0 - share), (low + 1, share)) if w > 0]


def chosen_in_file(
    quick: Quick,
    *,
    target: float,
    area: float,
    coefficient: float,
    people: float,
    capacity: float,
    rate: float | None = None,
) -> dict[str, object]:
    """Return the keys of the study file that the sliders stand for."""
    study = quick.study
    out: dict[str, object] = {
        "tank.chosen": capacity / study.tank.usable_share,
        "target.reliability": target,
    }
    if area != round(quick.area):
        out |= {f"roof.{k}.area": round(r.area * area / quick.area, 1) for k, r in enumerate(study.roof)}
    if coefficient != round(quick.coefficient, 2):
        more = coefficient / quick.coefficient
        out |= {
            f"roof.{k}.runoff_coefficient": round(min(r.runoff_coefficient * more, 1.0), 3)
            for k, r in enumerate(study.roof)
        }
    if people != round(quick.people):
        counted = ((k, use.people) for k, use in enumerate(study.use) if use.people)
        out |= {f"use.{k}.people": max(round(n * people / quick.people), 1) for k, n in counted}
    if rate is not None and abs(rate - round(study.costs.real_rate, 3)) > 1e-9:
        out |= {"costs.rate": rate}
        if study.costs.rate_kind == "nominal":  # the slider's rate is real: say it in the study's own kind
            out["costs.rate"] = round((1 + rate) * (1 + study.costs.inflation) - 1, 4)
    return out
