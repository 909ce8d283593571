"""The sizing of a study while sliders move: roofs, coefficient, people and prices, with the band."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.sizing.costs_life import MONEY, cost_measures
from rainharvest.sizing.joined import run_versions
from rainharvest.study.sizing_grid import Quick

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

    Parameters
    ----------
    quick : Quick
        The study.
    area : float [m2]
        Plan area of all roofs.
    coefficient : float [1]
        Mean runoff coefficient of the roofs.
    people : float [1]
        People of the largest use; all uses counted by people go with it.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    Dataset
        On ``capacity``: ``reliability`` and ``yearly_yield`` on the record, ``reliability_low`` and
        ``reliability_high``, the lowest and the highest version. As attributes ``inflow_a_year`` and
        ``demand_a_year`` [L/year].

    Raises
    ------
    InputError
        If a value is not above zero.
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
    """Return a curve with what its sizes cost.

    Parameters
    ----------
    quick : Quick
        The study.
    curve : Dataset
        As `moved`.
    rate : float [1/year], optional
        Discount rate, real; the study's if not given.

    Returns
    -------
    Dataset
        The curve with those of `SHOWN`; as it is where the study has no prices, or a tariff in blocks,
        whose bills take longer than a slider waits.
    """
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
    """Return the keys of the study file that the sliders stand for.

    Parameters
    ----------
    quick : Quick
        The study.
    target : float [1]
        The reliability asked for.
    area : float [m2]
        Plan area of all roofs.
    coefficient : float [1]
        Mean runoff coefficient of the roofs.
    people : float [1]
        People of the largest use.
    capacity : float [L]
        Usable tank size.
    rate : float [1/year], optional
        Discount rate, real; the study's if not given.

    Returns
    -------
    dict
        By dotted key, as `rainharvest.study.choices.save_choices` takes them; roofs, coefficients and people grown
        alike, each only where it has changed.
    """
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
