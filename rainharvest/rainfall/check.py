"""Checking a rain record: findings, worst first; a finding changes nothing, accepting it sets a flag."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.rainfall import check_days, check_habits, check_neighbours, check_years
from rainharvest.rainfall.flags import Finding, Flag, as_neighbours, as_record, noted, table_of
from rainharvest.rainfall.refusals import refuse_unless


def check_rain(
    rain: xr.DataArray | pd.Series,
    neighbours: xr.DataArray | Sequence[xr.DataArray | pd.Series] | None = None,
    *,
    ceiling: float | None = None,
    gaps_end_in_totals: bool | None = None,
) -> pd.DataFrame:
    """Doubt a rain record: return what may be wrong with it, worst first. The record is not changed.

    Each check sees only the days that the ones before it left standing: first what cannot be (negative
    values, values above the world record, dates after today, a change of unit), then values far outside the
    site's own climate, months that stand twice, streaks, false zeros, hidden totals; then, with neighbours,
    days out of step, dryness that they deny and rain that none confirms; then the habits of the record
    (resolution, rounding, weekdays, small amounts, a gridded product's drizzle), completeness, breaks and
    trend.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        The record.
    neighbours : list of DataArray or Series, or DataArray with dimension ``site``, optional [mm/day]
        Neighbouring records.
    ceiling : float, optional [mm/day]
        The largest daily rain thought possible at the site; what is above it is suspect.
    gaps_end_in_totals : bool, optional
        Whether the reading after a gap of a month or less is the total of the gap's days too. Worked out from
        the readings where it is not said.

    Returns
    -------
    DataFrame
        A row a finding: ``check``; ``severity`` ("wrong", "suspect" or "note"); ``first_day``, ``last_day``
        and ``days``; ``reason``, a sentence with the numbers; ``action``, what may be done; ``flag``, what
        `accept_findings` sets ("rejected", "suspect", "total", "totals" for every reading after a gap, or
        nothing where there is none to set). Worst first: by severity, then by the days concerned.

    Raises
    ------
    InputError
        If it is not daily rain, or the ceiling is not above zero.

    Notes
    -----
    The thresholds and their sources stand beside each check as defaults. Most follow Durre et al. 2010
    (J. Appl. Meteorol. Climatol. 49:1615); those marked own choice are this package's.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2002-12-31")
    >>> rain = pd.Series(np.random.default_rng(1).gamma(0.2, 20, len(days)).round(1), days)
    >>> rain["2001-05-03"] = -1.0
    >>> check_rain(rain).loc[0, ["check", "severity", "flag"]].tolist()
    ['negative', 'wrong', 'rejected']
    """
    possible = ceiling is None or ceiling > 0
    refuse_unless(possible, "no_ceiling", ceiling=ceiling)
    record = as_record(rain)
    days = record.indexes["time"]
    total_days = record["total_days"].to_numpy()
    values = record.to_numpy().copy()
    values[record["flag"].isin([Flag.REJECTED, Flag.IN_TOTAL]).to_numpy()] = np.nan
    found: list[Finding] = []

    def heed(new: Iterable[Finding]) -> None:
        """Keep the findings, and take their days out of the later checks."""
        for one in [*new]:  # all are found before the first one's days go
            found.append(one)
            if one.flag in ("rejected", "suspect") and one.severity in ("wrong", "suspect"):
                values[days.get_loc(one.first_day) : days.get_loc(one.last_day) + 1] = np.nan

    heed(check_years.beyond_today(record))
    heed(check_days.bounds(values, total_days, days, ceiling))
    values[total_days > 1] = np.nan  # a total over several days has no place among daily values
    whole = values.copy()
    if not np.isfinite(values).any():
        return table_of([*found, *check_years.incomplete_years(record)])
    heed(check_habits.units(values, days))
    heed(check_days.outliers(values, days))
    heed(check_days.duplicates(values, days))
    heed(check_days.repeats(values, days))
    others = check_neighbours.kindred(values, as_neighbours(neighbours, record))
    zeros = [*check_days.dry_runs(values, days), *check_days.empty_months(values, days)]
    zeros = check_neighbours.not_borne_out(zeros, values, days, others)
    heed(_not_twice([*check_neighbours.denied_dryness(values, days, others), *zeros]))
    heed(check_neighbours.uncorroborated(values, days, others))
    heed(check_neighbours.scale(values, days, others))
    found += check_neighbours.shifts(values, days, others)
    found += check_neighbours.swapped(values, days, others)
    found += check_days.hidden_totals(
        np.where(total_days == 1, whole, np.nan),
        (record["flag"] == Flag.MISSING).values,
        days,
        gaps_end_in_totals,
    )
    found += check_habits.all_habits(values, days)
    found += [*check_years.incomplete_years(record), *check_years.snow(record)]
    found += [*check_years.breaks(values, days, others), *check_years.trend(values, days)]
    return table_of(found)


def _not_twice(findings: list[Finding]) -> list[Finding]:
    """Return the findings without those whose days lie inside an earlier one."""
    kept: list[Finding] = []
    for one in findings:
        if not any(k.first_day <= one.last_day and one.first_day <= k.last_day for k in kept):
            kept.append(one)
    return kept


def accept_findings(rain: xr.DataArray | pd.Series, findings: pd.DataFrame) -> xr.DataArray:
    """Accept findings: return the record with their flags set.

    "rejected" removes the value (the day becomes a gap to fill); "suspect" keeps the value and marks the day,
    so that it teaches the filling nothing; "total" declares the last day the total of all the days; "totals" does
    so for every gap of a month or less. A finding without a flag changes nothing.

    >>> days = pd.date_range("2001-01-01", "2002-12-31")
    >>> rain = pd.Series(np.random.default_rng(1).gamma(0.2, 20, len(days)).round(1), days)
    >>> rain["2001-05-03"] = -1.0
    >>> found = check_rain(rain)
    >>> after = accept_findings(rain, found[found["check"] == "negative"])
    >>> after.sel(time="2001-05-03").item(), after["flag"].sel(time="2001-05-03").item()
    (nan, 4)
    """
    lacking = [c for c in ("check", "first_day", "last_day", "flag") if c not in findings.columns]
    refuse_unless(not lacking, "no_findings", columns=", ".join(lacking))
    record = as_record(rain)
    days = record.indexes["time"]
    values, flag = record.to_numpy().copy(), record["flag"].to_numpy().copy()
    total_days = record["total_days"].to_numpy().copy()
    said = []
    for row in findings.itertuples(index=False):
        if row.flag not in ("rejected", "suspect", "total", "totals"):
            continue
        first, last = pd.Timestamp(row.first_day), pd.Timestamp(row.last_day)
        span = f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"
        inside = first in days and last in days and last >= first
        refuse_unless(inside, "foreign_finding", span=span)
        a, b = days.get_loc(first), days.get_loc(last) + 1
        if row.flag == "rejected":
            values[a:b], total_days[a:b] = np.nan, 0
            flag[a:b] = np.where(flag[a:b] == Flag.MISSING, Flag.MISSING, Flag.REJECTED)
        elif row.flag == "suspect":
            flag[a:b] = np.where(np.isfinite(values[a:b]), Flag.SUSPECT, flag[a:b])
        else:
            one_day = np.where(total_days == 1, values, np.nan)
            gaps = check_days.short_gaps(flag == Flag.MISSING, one_day)
            for start, end in [(a, b - 2)] if row.flag == "total" else gaps:
                values[start : end + 1], total_days[start : end + 1] = np.nan, 0
                flag[start : end + 1], flag[end + 1] = Flag.IN_TOTAL, Flag.TOTAL
                total_days[end + 1] = end + 2 - start
        said.append(f"accepted: {row.check}, {span}, {row.flag}")
    out = record.copy(data=values)
    out["flag"] = ("time", flag, record["flag"].attrs)
    out["total_days"] = ("time", total_days, record["total_days"].attrs)
    return out.assign_attrs(assumptions=noted(record.attrs, said))
