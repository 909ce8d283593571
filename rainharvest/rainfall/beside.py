"""A gridded product beside the gauge: how often it rains, how much, how heavily, and on the same days or not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes
from rainharvest.rainfall.check_habits import GRIDDED_DRIZZLE, GRIDDED_DRY
from rainharvest.rainfall.fill_donors import rank_correlation
from rainharvest.rainfall.fill_input import as_record
from rainharvest.rainfall.totals import daily_amounts

FEWEST_DAYS = 365  # own choice: every season once
DRIZZLE = 0.2  # [mm/day] up to which a day above zero is drizzle
LAGS = (-1, 0, 1)  # [day]


def beside_gauge(
    rain: xr.DataArray | pd.Series, product: xr.DataArray | pd.Series, wet_day: float = 1.0
) -> xr.Dataset:
    """Put two records of one place side by side, on the days that both know.

    A product on a grid, or a model, means rain over a cell: it drizzles where a gauge is dry and its storms
    are smoothed. Drizzle never leaves a roof, and smoothed storms spill less, so a yield study on such a
    record errs both ways. Its day may also be another one: rain dated by universal time beside a morning
    reading agrees best a day off.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        The gauge's daily record.
    product : DataArray or Series [mm/day]
        The other record of the same place.
    wet_day : float [mm/day]
        A day with at least this much rain is wet.

    Returns
    -------
    Dataset
        On ``record`` ("gauge", "product"): ``zero_share``, ``drizzle_share``, ``wet_share``, ``daily_mean``,
        ``heavy_day`` (the 99th percentile of all days) and ``looks_gridded``; on ``lag``:
        ``lag_agreement``, the rank correlation with the product moved by so many days; and ``common_days``.
        The attribute ``warnings`` says in words what to mind; it is empty where there is nothing.

    Raises
    ------
    InputError
        If a record is not daily rain, or both know fewer than 365 days in common.

    Notes
    -----
    A record looks gridded where fewer than 15 % of its days are exactly dry and more than 5 % lie above zero
    and at or below 0.2 mm: own choice after points of a gridded set (2 to 5 % dry days) and gauges
    (61 to 70 %).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> days = pd.date_range("2001-01-01", periods=2000)
    >>> rain = pd.Series(np.where(rng.random(2000) < 0.3, rng.gamma(0.7, 12, 2000), 0.0), days)
    >>> cell = 0.7 * rain + rng.random(2000) * 0.4
    >>> found = beside_gauge(rain, cell)
    >>> found.looks_gridded.values, found.zero_share.values.round(2)
    (array([False,  True]), array([0.7, 0. ]))
    """
    if not wet_day > 0:
        raise InputError(f"a wet day from {wet_day} mm", "give a depth above 0", "wet_day")
    amounts = [_days(one, place) for one, place in ((rain, "gauge"), (product, "product"))]
    both = pd.concat(amounts, axis=1, join="inner")
    here, there = both.to_numpy(float).T
    known = np.isfinite(here) & np.isfinite(there)
    if known.sum() < FEWEST_DAYS:
        raise InputError(
            f"the two records know {known.sum()} days in common",
            f"give records that share {FEWEST_DAYS} days or more",
            "product",
        )
    values = np.array([here[known], there[known]])
    zero = (values == 0).mean(axis=1)
    drizzle = ((values > 0) & (values <= DRIZZLE)).mean(axis=1)
    columns = {
        "zero_share": zero,
        "drizzle_share": drizzle,
        "wet_share": (values >= wet_day).mean(axis=1),
        "daily_mean": values.mean(axis=1),
        "heavy_day": np.quantile(values, 0.99, axis=1),
        "looks_gridded": (zero < GRIDDED_DRY) & (drizzle > GRIDDED_DRIZZLE),
    }
    agreement = [_agreement(here, there, lag) for lag in LAGS]
    found = xr.Dataset(
        {name: ("record", value, attributes(name)) for name, value in columns.items()}
        | {
            "lag_agreement": ("lag", agreement, attributes("lag_agreement")),
            "common_days": ((), int(known.sum()), attributes("common_days")),
        },
        coords={
            "record": ("record", ["gauge", "product"], attributes("record")),
            "lag": ("lag", list(LAGS), attributes("lag")),
        },
    )
    found.attrs["wet_day"] = float(wet_day)
    return found.assign_attrs(warnings="; ".join(_warnings(found)))


def _days(rain, place: str) -> pd.Series:
    record = as_record(rain, place)
    return pd.Series(daily_amounts(record), record.indexes["time"], name=place)


def _agreement(here: np.ndarray, there: np.ndarray, lag: int) -> float:
    """Return the rank correlation of each day here with the product's day ``lag`` days later."""
    moved = np.full(len(there), np.nan)
    if lag > 0:
        moved[:-lag] = there[lag:]
    elif lag < 0:
        moved[-lag:] = there[:lag]
    else:
        moved = there
    return rank_correlation(here, moved)[0]


def _warnings(found: xr.Dataset) -> list[str]:
    out = []
    for name in found.record.values[found.looks_gridded.values]:
        one = found.sel(record=name)
        out.append(
            f"the {name} drizzles: only {float(one.zero_share):.0%} of its days are dry and "
            f"{float(one.drizzle_share):.0%} bring no more than {DRIZZLE:g} mm, which looks like a grid or a "
            "model; on a roof its drizzle is lost"
        )
    mean, heavy = found.daily_mean.values, found.heavy_day.values
    if mean[0] > 0 and abs(mean[1] / mean[0] - 1) > 0.1:
        out.append(f"the product brings {mean[1] / mean[0]:.2f} times the gauge's rain")
    if heavy[0] > 0 and abs(heavy[1] / heavy[0] - 1) > 0.1:
        out.append(f"its heavy days bring {heavy[1] / heavy[0]:.2f} times the gauge's")
    wet = found.wet_share.values
    if abs(wet[1] - wet[0]) > 0.03:
        depth = found.attrs["wet_day"]
        out.append(f"{wet[1]:.0%} of its days bring {depth:g} mm or more, {wet[0]:.0%} of the gauge's")
    agreement = np.nan_to_num(found.lag_agreement.values, nan=-2.0)  # none for a record that never varies
    best = int(found.lag.values[np.argmax(agreement)])
    if best and agreement.max() > agreement[LAGS.index(0)]:
        out.append(
            f"it agrees best a day {'later' if best > 0 else 'earlier'}: its day is another one than the "
            "gauge's; move it before any day is compared"
        )
    return out
