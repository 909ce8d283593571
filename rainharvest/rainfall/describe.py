"""The description of a record: totals, wet days, dry years, trend, its versions year by year."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest import __version__
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import DAYS_A_YEAR, along, attributes, variables
from rainharvest.core.reader import MONTHS_SHORT
from rainharvest.rainfall import climatology
from rainharvest.rainfall.check_years import mann_kendall
from rainharvest.rainfall.flags import Flag, as_record
from rainharvest.rainfall.refusals import refuse_unless

SCALES = (1, 3, 6, 12)  # [months] of the drought index

SPANS = (1, 2, 3, 5)  # [year] of the driest runs of years

SHARES = (0.1, 0.5, 0.9)  # [1] of the months or years that stay below


def describe_rain(
    rain: xr.DataArray | pd.Series, wet_day: float = 1.0, year_start_month: int = 1
) -> xr.Dataset:
    """Describe a daily record in the terms in which a yield study asks about it.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        Daily rain; further dimensions (``member``, ``site``) are described one by one.
    wet_day : float [mm/day]
        A day with at least this much rain is wet.
    year_start_month : int [1]
        First month of the hydrological year. ``suggested_start`` of the result says which would keep the
        dry season whole.

    Returns
    -------
    Dataset
        On ``year``: ``annual_total`` (a year with a missing day has none), ``known_share``, ``wet_days``,
        ``largest_day``, ``longest_dry_spell``; on ``month``: ``monthly_total``, ``month_known_share``, and
        with ``scale`` the ``spi``; on ``year`` and ``season``: ``seasonal_total``; on ``calendar_month``:
        ``month_mean``, ``month_share`` (with ``share``), ``wet_share``, ``wet_depth``; on ``spell``: each
        dry spell; on ``spell_days``: ``spells_a_year``; on ``rank``: ``driest_total``, ``driest_year``,
        ``driest_return_period``; on ``span``: ``driest_run_total``, ``driest_run_start``; on ``depth``:
        ``days_a_year``; on ``return_period``: the return levels; and single values for the mean, the spread
        and the trend of the annual total. What could not be had is NaN, and the attribute ``left_out`` says
        why.

    Raises
    ------
    InputError
        If the record is not daily rain, or the settings make no sense.

    Examples
    --------
    >>> days = pd.date_range("1991-01-01", "2020-12-31")
    >>> rain = np.random.default_rng(1).gamma(0.2, 20, len(days)) * np.where(days.month < 4, 0.1, 1)
    >>> found = describe_rain(pd.Series(rain, days), year_start_month=3)
    >>> found.sizes["year"], int(found.driest_month) in (1, 2, 3), int(found.suggested_start)
    (31, True, 4)
    """
    whole = 1 <= year_start_month <= 12 and year_start_month == int(year_start_month)
    refuse_unless(whole, "no_month", month=year_start_month)
    refuse_unless(wet_day > 0, "no_wet_day", depth=wet_day)
    more = [dim for dim in getattr(rain, "dims", ()) if dim != "time"]
    if more:
        dim = more[0]
        parts = [describe_rain(one, wet_day, year_start_month) for one in rain.transpose(dim, ...)]
        reasons = dict.fromkeys(part.attrs["left_out"] for part in parts if part.attrs["left_out"])
        how = {"join": "outer", "combine_attrs": "drop_conflicts", "coords": "minimal"}
        return xr.concat(parts, rain[dim], **how).assign_attrs(left_out="; ".join(reasons))
    record = as_record(rain)
    left_out: list[str] = []
    years = climatology.period_totals(record, 12, year_start_month)
    months = climatology.period_totals(record, 1)
    by_year = {"annual_total": years.total.values, "known_share": years.known_share.values}
    annual = xr.Dataset(variables("year", by_year), along(year=years.time.dt.year.values))
    found = xr.merge(
        [
            annual,
            _days_by_year(record, wet_day, year_start_month),
            _seasons(record, year_start_month),
            _months(months),
            _calendar_months(record, months.total.values, wet_day),
            _spells(record, wet_day),
            _driest(annual.annual_total),
            climatology.days_a_year(record).rename("days_a_year").to_dataset(),
            _heavy(record, left_out),
            _over_the_years(annual.annual_total, left_out),
        ],
        join="outer",
        combine_attrs="override",
    )
    kept = {k: v for k, v in record.attrs.items() if k not in ("units", "long_name", "standard_name")}
    settings = {"wet_day": wet_day, "year_start_month": year_start_month, "rainharvest": __version__}
    return found.assign_attrs(kept | settings | {"left_out": "; ".join(left_out)})


def _year_of(day: np.ndarray, start: int) -> np.ndarray:
    return (day.astype("datetime64[M]").astype(int) - (start - 1)) // 12 + 1970


def _days_by_year(record: xr.DataArray, wet_day: float, start: int) -> xr.Dataset:
    """Wet days, largest day and longest dry spell of each hydrological year."""
    amount = pd.Series(climatology.daily_amounts(record), _year_of(record["time"].values, start))
    by_year = amount.groupby(level=0)
    length = [(pd.Timestamp(y + 1, start, 1) - pd.Timestamp(y, start, 1)).days for y in by_year.groups]
    count = by_year.count()
    spells = climatology.dry_spells(record, wet_day)
    longest = pd.Series(spells.dry_spell.values, _year_of(spells.spell_start.values, start))
    longest = longest.groupby(level=0).max().reindex(count.index, fill_value=0)
    columns = {
        "wet_days": (amount >= wet_day).groupby(level=0).sum().where(count == length),
        "largest_day": by_year.max(),
        "longest_dry_spell": longest.where(count > 0),
    }
    found = variables("year", {name: values.to_numpy(float) for name, values in columns.items()})
    return xr.Dataset(found, {"year": count.index.to_numpy()})


def _seasons(record: xr.DataArray, start: int) -> xr.Dataset:
    quarters = climatology.period_totals(record, 3, start)
    place = (quarters.time.dt.month.values - start) % 12 // 3
    table = pd.Series(quarters.total.values, [_year_of(quarters.time.values, start), place]).unstack()
    table = table.reindex(columns=range(4))
    first = [start - 1 + 3 * k for k in range(4)]
    names = [f"{MONTHS_SHORT[m % 12]}-{MONTHS_SHORT[(m + 2) % 12]}" for m in first]
    found = variables(("year", "season"), {"seasonal_total": table.to_numpy()})
    return xr.Dataset(found, along(season=names) | {"year": table.index.to_numpy()})


def _months(months: xr.Dataset) -> xr.Dataset:
    total = xr.DataArray(months.total.values, {"month": months.time.values}, "month")
    index = np.array([climatology.standardised_precipitation_index(total, scale).values for scale in SCALES])
    found = variables("month", {"monthly_total": total.values})
    found["month_known_share"] = ("month", months.known_share.values, attributes("known_share"))
    found |= variables(("scale", "month"), {"spi": index})
    return xr.Dataset(found, along(month=months.time.values, scale=list(SCALES)))


def _calendar_months(record: xr.DataArray, totals: np.ndarray, wet_day: float) -> xr.Dataset:
    amount, month = climatology.daily_amounts(record), record["time"].dt.month.values
    of_total = (np.arange(len(totals)) + int(month[0]) - 1) % 12 + 1
    rows = []
    for m in range(1, 13):
        total = totals[(of_total == m) & ~np.isnan(totals)]
        day = amount[(month == m) & ~np.isnan(amount)]
        wet = day[day >= wet_day]
        shares = np.quantile(total, SHARES) if len(total) else [np.nan] * len(SHARES)
        rows.append((_mean(total), len(wet) / len(day) if len(day) else np.nan, _mean(wet), *shares))
    table = np.array(rows)
    mean = table[:, 0]
    known = not np.isnan(mean).any()
    driest = int(np.argmin(mean)) + 1 if known else 0
    start = _after_the_driest(mean) if known else 0
    found = variables(
        "calendar_month", dict(zip(("month_mean", "wet_share", "wet_depth"), table.T, strict=False))
    )
    found |= variables(("calendar_month", "share"), {"month_share": table[:, 3:]})
    found |= variables((), {"driest_month": driest, "suggested_start": start})
    return xr.Dataset(found, along(calendar_month=np.arange(1, 13), share=list(SHARES)))


def _after_the_driest(month_mean: np.ndarray) -> int:
    """Return the month after the three driest."""
    three = month_mean + np.roll(month_mean, -1) + np.roll(month_mean, -2)
    return (int(np.argmin(three)) + 3) % 12 + 1


def rains_begin(version: xr.DataArray) -> int:
    """Return the first month after the three driest that brings a twelfth of the rain (own choice); 1 where unknown.

    >>> days = pd.date_range("2001-01-01", "2004-12-31")
    >>> rains_begin(pd.Series(np.where(days.month >= 10, 3.0, 0.5), days))
    10
    """
    total = climatology.period_totals(version, 1).total
    mean = np.array([_mean(total.values[(total.time.dt.month == m) & total.notnull()]) for m in range(1, 13)])
    if np.isnan(mean).any():
        return 1
    start = _after_the_driest(mean)
    return (start - 1 + int(np.argmax(np.roll(mean, 1 - start) >= mean.mean()))) % 12 + 1


def _mean(values: np.ndarray) -> float:
    return float(values.mean()) if len(values) else np.nan


def _spells(record: xr.DataArray, wet_day: float) -> xr.Dataset:
    spells = climatology.dry_spells(record, wet_day)
    days = np.arange(1, int(spells.dry_spell.max().item()) + 1 if spells.sizes["spell"] else 1)
    known = np.count_nonzero(~np.isnan(climatology.daily_amounts(record))) / DAYS_A_YEAR
    count = (spells.dry_spell.values[None, :] >= days[:, None]).sum(axis=1)
    rate = count / known if known else np.full(len(days), np.nan)
    often = xr.Dataset(variables("spell_days", {"spells_a_year": rate}), along(spell_days=days))
    return spells.merge(often)


def _driest(annual: xr.DataArray) -> xr.Dataset:
    """Years from the driest up, and the driest runs of consecutive years."""
    total, year = annual.values, annual["year"].values
    order = np.argsort(total, kind="stable")[: np.count_nonzero(~np.isnan(total))]
    rank = np.arange(1, len(order) + 1)
    runs = []
    for span in SPANS:
        mean = np.convolve(total, np.ones(span) / span, "valid") if len(total) >= span else np.full(1, np.nan)
        known = not np.isnan(mean).all()
        place = int(np.nanargmin(mean)) if known else 0
        runs.append((mean[place], year[place] if known else np.nan))
    years = {"driest_total": total[order], "driest_year": year[order]}
    years["driest_return_period"] = (len(order) + 1) / rank
    runs = dict(zip(("driest_run_total", "driest_run_start"), np.array(runs).T, strict=True))
    found = variables("rank", years) | variables("span", runs)
    return xr.Dataset(found, along(rank=rank, span=list(SPANS)))


def _heavy(record: xr.DataArray, left_out: list[str]) -> xr.Dataset:
    try:
        return climatology.return_levels(record)
    except InputError as error:
        left_out.append(f"return levels: {error}")
        period = np.array(climatology.RETURN_PERIODS, float)
        unknown = dict.fromkeys(climatology.LEVELS, np.full(len(period), np.nan))
        return xr.Dataset(variables("return_period", unknown), along(return_period=period))


def _over_the_years(annual: xr.DataArray, left_out: list[str]) -> xr.Dataset:
    total = annual.values[~np.isnan(annual.values)]
    varies = len(total) > 1 and total.mean() > 0
    values = {"annual_mean": _mean(total)}
    values["annual_cv"] = float(total.std(ddof=1) / total.mean()) if varies else np.nan
    series = annual.values, annual["year"].values
    try:
        plain, wide = mann_kendall(*series), mann_kendall(*series, correlated=True)
        values |= {"trend": plain.slope, "trend_low": plain.slope_low, "trend_high": plain.slope_high}
        values |= {"trend_chance": plain.p, "trend_chance_correlated": wide.p}
    except InputError as error:
        left_out.append(f"trend: {error}")
        names = ("trend", "trend_low", "trend_high", "trend_chance", "trend_chance_correlated")
        values |= dict.fromkeys(names, np.nan)
    return xr.Dataset(variables((), values))


def one_version(filled: xr.DataArray, member: int = 0) -> xr.DataArray:
    """Return one version as a record of its own: every day a day, nothing still inside a total.

    Parameters
    ----------
    filled : DataArray [mm/day]
        What ``fill_gaps`` gave, on ``member`` and ``time``.
    member : int [1]
        Which version.

    Returns
    -------
    DataArray [mm/day]
        On ``time``, with ``flag`` and ``total_days``.

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.rainfall.fill import fill_gaps
    >>> days = pd.date_range("2001-01-01", "2003-12-31")
    >>> filled = fill_gaps(pd.Series(1.0, days).drop(days[[500]]), members=2)
    >>> float(one_version(filled, 1).sel(time=days[500]))
    1.0
    """
    first = filled.isel(member=member, drop=True)
    known = first.notnull().values
    flag = np.where(known, first["flag"].values, Flag.MISSING).astype(np.int8)
    return first.assign_coords(
        flag=("time", flag, first["flag"].attrs), total_days=("time", known.astype(np.int16))
    )


def version_totals(filled: xr.DataArray, year_start_month: int = 1) -> xr.DataArray:
    """Sum each version's rain over hydrological years; a year with an unknown day has no total.

    >>> import pandas as pd
    >>> from rainharvest.rainfall.fill import fill_gaps
    >>> days = pd.date_range("2001-01-01", "2003-12-31")
    >>> filled = fill_gaps(pd.Series(1.0, days).drop(days[[500]]), members=2)
    >>> version_totals(filled).values
    array([[365., 365., 365.],
           [365., 365., 365.]])
    """
    # A version knows a day or does not: one tells which years are whole, and the sums of all are taken at
    # once, since a slider waits for them.
    first = climatology.period_totals(one_version(filled), 12, year_start_month)
    starts = np.searchsorted(filled.indexes["time"], first.time.values)
    total = np.add.reduceat(filled.transpose("member", "time").values, starts, axis=1)
    return xr.DataArray(
        np.where(first.known_share.values == 1, total, np.nan),
        {"year": ("year", first.time.dt.year.values, attributes("year"))},
        ("member", "year"),
        attrs=attributes("annual_total", year_start_month=int(year_start_month)),
    )
