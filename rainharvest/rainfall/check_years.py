"""Checks of years: which are whole, whether the record breaks, alone or beside neighbours, its trend."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.names import attributes
from rainharvest.rainfall.check_breaks import buishand_range, pettitt, snht, von_neumann_ratio
from rainharvest.rainfall.check_finding import Finding, many
from rainharvest.rainfall.fill_input import Neighbour, as_neighbours, as_record, sound_values
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.trend import mann_kendall
from rainharvest.sources import Default

YEAR_KNOWN = Default(0.98, "1", "share of days that a yearly value of a test needs", "own choice")
YEAR_COMMON = Default(
    0.80, "1", "share of days known in common that a ratio to neighbours needs", "own choice"
)
BREAK_CHANCE = Default(0.01, "1", "Wijngaard et al. 2003: four tests at the 1 % level", "open data")
BREAK_YEARS = Default(15, "year", "years that a test for breaks needs", "own choice")
TREND_CHANCE = Default(0.05, "1", "no source", "common practice")
TREND_YEARS = Default(20, "year", "years that a test for trend needs", "own choice")
YEAR_MISSING = Default(0.20, "1", "share of missing days from which a year is left out", "own choice")
WET = 1.0


def completeness(rain: xr.DataArray | pd.Series) -> pd.DataFrame:
    """Count the missing days of each month and year.

    A total of rain allows no missing day: a month, or a year, with one has none. Days inside a multi-day
    total count as known as long as the total ends in the same month; a total that crosses the end of a month
    leaves both months without a total.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        One daily record.

    Returns
    -------
    DataFrame
        A row a calendar year: columns 1 to 12 with the missing days of each month (days before the record
        begins and after it ends among them), ``missing`` and ``days`` of the year.

    Raises
    ------
    InputError
        If it is not daily rain.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2001-12-31")
    >>> rain = pd.Series(1.0, days).drop(days[40:43])
    >>> completeness(rain)[[1, 2, "missing", "days"]]
          1  2  missing  days
    year
    2001  0  3        3   365
    """
    record = as_record(rain)
    days = record.indexes["time"]
    known = np.isfinite(record.to_numpy())
    total_days = record["total_days"].to_numpy()
    month = days.year.to_numpy() * 12 + days.month.to_numpy() - 1
    for end in np.flatnonzero(known & (total_days > 1)):
        first = max(end - int(total_days[end]) + 1, 0)
        known[first : end + 1] = month[first] == month[end]
    years = np.arange(days[0].year, days[-1].year + 1)
    have = np.bincount(month[known] - years[0] * 12, minlength=12 * len(years)).reshape(-1, 12)
    first = pd.date_range(f"{years[0]:04d}-01-01", periods=12 * len(years), freq="MS", unit="s")
    length = first.days_in_month.to_numpy().reshape(-1, 12)
    out = pd.DataFrame(length - have, index=pd.Index(years, name="year"), columns=range(1, 13))
    return out.assign(missing=out.sum(axis=1), days=length.sum(axis=1))


def incomplete_years(record: xr.DataArray) -> list[Finding]:
    """Return the years with missing days, with what that does to their totals."""
    days = record.indexes["time"]
    out = []
    for year, row in completeness(record).iterrows():
        if row["missing"] == 0:
            continue
        months = [f"{pd.Timestamp(2000, m, 1):%B} ({row[m]})" for m in range(1, 13) if row[m]]
        share = row["missing"] / row["days"]
        first = max(pd.Timestamp(year, 1, 1), days[0])
        last = min(pd.Timestamp(year, 12, 31), days[-1])
        named = f"in {', '.join(months)}" if len(months) <= 6 else f"in {len(months)} months"
        large = share > YEAR_MISSING.value
        out.append(
            Finding(
                "completeness",
                "suspect" if large else "note",
                first,
                last,
                int(row["missing"]),
                f"{many(int(row['missing']), 'day')} of {year} ({share:.0%}) "
                f"{'is' if row['missing'] == 1 else 'are'} "
                f"missing, {named}: those months and the year have no total",
                "fill the gaps, and leave the year out of headline figures" if large else "fill the gaps",
            )
        )
    return out


def _yearly(values: np.ndarray, years: np.ndarray, others: Sequence[np.ndarray]) -> dict[str, pd.Series]:
    """Return yearly total, wet days and mean wet day, as ratios to the neighbours' where there are any."""
    known = np.isfinite(values)
    for other in others:
        known = known & np.isfinite(other)
    frame = pd.DataFrame({"year": years, "known": known})
    share = frame.groupby("year")["known"].mean()

    def measures(x):
        part = pd.DataFrame({"year": years, "rain": np.where(known, x, 0.0), "wet": known & (x >= WET)})
        part["deep"] = np.where(part["wet"], part["rain"], 0.0)
        sums = part.groupby("year").sum()
        return {
            "yearly total": sums["rain"],
            "number of wet days": sums["wet"].astype(float),
            "mean depth of a wet day": sums["deep"] / sums["wet"].where(sums["wet"] > 0),
        }

    here = measures(values)
    keep = share >= (YEAR_COMMON.value if others else YEAR_KNOWN.value)
    if others:
        there = [measures(other) for other in others]
        here = {name: one / sum(t[name] for t in there) * len(there) for name, one in here.items()}
    else:  # a year with a few days missing is put on a full year's footing
        here["yearly total"] = here["yearly total"] / share
        here["number of wet days"] = here["number of wet days"] / share
    return {name: one[keep].replace([np.inf, -np.inf], np.nan).dropna() for name, one in here.items()}


def _long_neighbours(values: np.ndarray, neighbours: Sequence[Neighbour]) -> list[np.ndarray]:
    known = np.isfinite(values)
    return [n.values for n in neighbours if np.isfinite(n.values[known]).mean() >= 0.9]


def breaks(values: np.ndarray, days: pd.DatetimeIndex, neighbours: Sequence[Neighbour]) -> list[Finding]:
    """Return breaks in homogeneity: four tests at 1 %, two that reject make it doubtful, three suspect.

    The series tested are the yearly total, wet days and mean wet day; where neighbours cover nine tenths of
    the record, their ratios to the neighbours' mean, in which the climate's own changes cancel.
    """
    out = []
    others = _long_neighbours(values, neighbours)
    against = f"beside {', '.join(n.name for n in neighbours if any(n.values is o for o in others))}"
    for name, series in _yearly(values, days.year.to_numpy(), others).items():
        if len(series) < BREAK_YEARS.value or series.std() == 0:
            continue
        found = {"Pettitt": pettitt(series), "SNHT": snht(series), "Buishand": buishand_range(series)}
        found["von Neumann"] = von_neumann_ratio(series)
        rejecting = [test for test, one in found.items() if one.p < BREAK_CHANCE.value]
        if len(rejecting) < 2:
            continue
        k = found["SNHT"].before
        year = int(series.index[k])
        ratio = series.iloc[k:].mean() / series.iloc[:k].mean()
        first = max(pd.Timestamp(year, 1, 1), days[0])
        out.append(
            Finding(
                "homogeneity",
                "suspect" if len(rejecting) >= 3 else "note",
                days[0],
                first,
                len(days),
                f"the {name}{', ' + against + ',' if others else ''} changes in {year}: {ratio:.2f} "
                f"times what it "
                f"was ({', '.join(f'{t} p {found[t].p:.2g}' for t in rejecting)})"
                + (
                    ""
                    if others
                    else "; without neighbours a change of climate cannot be told from one of gauge"
                ),
                "look for a move or a new gauge; if confirmed, use the years after it, or correct the years "
                "before by that ratio outside this program",
            )
        )
    return out


def double_mass(rain, neighbours) -> xr.Dataset:
    """Accumulate a record and the mean of its neighbours, year by year, for the double-mass curve.

    Only days that all records know are summed, so that gaps bend nothing. A straight line through the origin
    means that the record kept its relation to its neighbours; a bend marks a change.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        The record.
    neighbours : list of DataArray or Series, or DataArray with dimension ``site`` [mm/day]
        Its neighbours.

    Returns
    -------
    Dataset
        ``here`` and ``there`` [mm], cumulated, and ``slope`` [1], the ratio of the year's sums, on ``year``.

    Raises
    ------
    InputError
        If a record is not daily rain.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2002-12-31")
    >>> rain = pd.Series(1.0, days)
    >>> double_mass(rain.where(days.year < 2002, 0.8), [rain])["slope"].values
    array([1. , 0.8])
    """
    record = as_record(rain)
    values = sound_values(record)
    others = np.array([n.values for n in as_neighbours(neighbours, record)])
    mean = others.mean(axis=0)
    both = np.isfinite(values) & np.isfinite(mean)
    years = record.indexes["time"].year
    sums = (
        pd.DataFrame({"here": np.where(both, values, 0), "there": np.where(both, mean, 0)})
        .groupby(years)
        .sum()
    )
    sums = sums[sums["there"] > 0]
    total = sums.cumsum()
    return xr.Dataset(
        {
            "here": ("year", total["here"].to_numpy(), {"units": "mm", "long_name": "Rain here, cumulated"}),
            "there": (
                "year",
                total["there"].to_numpy(),
                {"units": "mm", "long_name": "Mean of the neighbours"},
            ),
            "slope": (
                "year",
                (sums["here"] / sums["there"]).to_numpy(),
                {"units": "1", "long_name": "Ratio"},
            ),
        },
        coords={"year": ("year", sums.index.to_numpy(), attributes("year"))},
    )


def trend(values: np.ndarray, days: pd.DatetimeIndex) -> list[Finding]:
    """Return a trend in the yearly totals that chance does not explain."""
    totals = _yearly(values, days.year.to_numpy(), [])["yearly total"]
    if len(totals) < TREND_YEARS.value or totals.std() == 0:
        return []
    found = mann_kendall(totals.to_numpy(), totals.index.to_numpy())
    if found.p >= TREND_CHANCE.value:
        return []
    return [
        Finding(
            "trend",
            "note",
            days[0],
            days[-1],
            len(days),
            f"the yearly totals {'rise' if found.slope > 0 else 'fall'} by "
            f"{abs(found.slope) * 10:.0f} mm a decade "
            f"({found.slope_low * 10:+.0f} to {found.slope_high * 10:+.0f}; Mann-Kendall p {found.p:.2g}, "
            f"{len(totals)} years)",
            "ask whether the whole record still stands for the years ahead; run the study on the "
            "later half too",
        )
    ]


def beyond_today(record: xr.DataArray, today: pd.Timestamp | None = None) -> list[Finding]:
    """Return days dated in the future."""
    days = record.indexes["time"]
    today = pd.Timestamp.now().normalize() if today is None else today
    late = np.asarray(days > today) & np.asarray(record["flag"] != Flag.MISSING)
    if not late.any():
        return []
    return [
        Finding(
            "future",
            "wrong",
            days[late][0],
            days[late][-1],
            int(late.sum()),
            f"{many(int(late.sum()), 'day')} with a value lie after today",
            "correct the dates in the file, or reject the days",
            "rejected",
        )
    ]
