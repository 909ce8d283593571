"""Filling a rain record: multi-day totals spread, then gaps filled, known days never touched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import defaults_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes
from rainharvest.core.text import texts_of
from rainharvest.rainfall import fill_methods as ways
from rainharvest.rainfall import flags
from rainharvest.rainfall.fill_matched import CLASSES, Match, antecedent, match, matched, wetness_around
from rainharvest.rainfall.fill_methods import LIMITS, Donor
from rainharvest.rainfall.flags import Flag, as_record, require_count

# Shares of days: of a year from which it is said to be estimated, and to be left out; of the record from which
# filling alone, and filling at all, is warned of.
YEAR_ESTIMATED, ALONE_SHARE, FILLED_SHARE = 0.10, 0.05, 0.10
YEAR_LEFT_OUT = defaults_of("rainfall")["check"]["year_missing"].value

Method = Literal["quantile", "normal_ratio", "inverse_distance"]


@dataclass(frozen=True, eq=False)
class Fillable:
    """A record with the neighbours that may fill it; how it goes with each is worked out once."""

    record: xr.DataArray  # [mm/day] With ``flag`` and ``total_days``
    sound: np.ndarray  # [mm/day] Its one-day values in no doubt
    donors: list[Donor]
    notes: list[str]  # Why other neighbours may not serve, and what is doubtful of those that may
    seed: int
    matches: dict[int, Match] = field(default_factory=dict)  # By the place of the donor

    def match(self, place: int) -> Match:
        """Return how the rain here goes with that at a donor."""
        if place not in self.matches:
            rng = np.random.default_rng([self.seed, place + 1])  # its own: the same for any gaps and versions
            given = self.donors[place].values, self.record.indexes["time"], rng
            self.matches[place] = match(self.sound, *given)
        return self.matches[place]


def fillable(
    rain: xr.DataArray | pd.Series,
    neighbours: xr.DataArray | Sequence[xr.DataArray | pd.Series] | None = None,
    seed: int = 0,
) -> Fillable:
    """Check a record and choose the neighbours that may fill it."""
    require_count("seed", seed, 0)
    record = as_record(rain)
    values, days = record.to_numpy(), record.indexes["time"]
    if (values < 0).any():
        place, least = str(days[values < 0][0].date()), values[values < 0][0]
        raise InputError(f"the rain is {least:g} mm", "check the record and accept that finding first", place)
    sound = flags.sound_values(record)
    remedy = "nothing can be filled from nothing: choose another record"
    require(np.isfinite(sound).any(), "no day has a sound value", remedy, "rain")
    donors, notes = ways.choose_donors(sound, record.attrs, flags.as_neighbours(neighbours, record))
    notes += [doubt for donor in donors for doubt in donor.doubts]
    return Fillable(record, sound, donors, notes, seed)


def fill_gaps(
    rain: xr.DataArray | pd.Series,
    neighbours: xr.DataArray | Sequence[xr.DataArray | pd.Series] | None = None,
    members: int = 1,
    seed: int = 0,
    *,
    method: Method = "quantile",
    wet_day: float = LIMITS["wet_day"],
    longest_gap: int = LIMITS["longest_gap"],
    longest_alone: int = LIMITS["longest_alone"],
) -> xr.DataArray:
    """Return equally likely complete versions of a rain record.

    Totals over several days come first: each is shared over its days as it rained at the best correlated
    neighbour that knows those days and was not dry, or, without one, as it rained here on as many days of
    the same season with a like total; the total is kept. Then each missing day is filled from the best
    correlated neighbour that has a value that day, by quantile matching with scatter (see
    `rainharvest.rainfall.fill_matched.matched`), and where no neighbour has one, a whole run of days of the
    same season is taken from the record, with days on either side as wet as beside the gap (see
    `rainharvest.rainfall.fill_methods.resample`). Days with a value are never touched.

    Parameters
    ----------
    rain : DataArray or Series [mm/day]
        The record, with coordinates ``flag`` and ``total_days`` where it has them.
    neighbours : list of DataArray or Series, or DataArray with dimension ``site``, optional [mm/day]
        Neighbouring records. One with less than 365 days in common, a daily rank correlation below 0.4,
        more than 150 km off, or out of step by a day is refused and named in ``attrs["assumptions"]``.
    members : int [1]
        How many versions; the truth lies in the middle 90 % of many versions about nine times in ten.
    seed : int [1]
        Makes the random choices repeatable.
    method : {"quantile", "normal_ratio", "inverse_distance"}
        How a neighbour's rain is carried over. The last two average the neighbours: they rain too often
        and too little, give every member the same value, and are offered for comparison.
    wet_day : float [mm/day]
        Rain from which a day counts as wet.
    longest_gap : int [day]
        Gaps longer than this are left missing.
    longest_alone : int [day]
        Gaps, or parts of gaps, that no neighbour covers are left missing where they are longer than this.

    Returns
    -------
    DataArray (member, time) [mm/day]
        Coordinates ``flag`` (spread, filled, resampled, or as it was) and ``donor`` (the neighbour's name,
        or empty). ``attrs`` name the method, seed, members, the gaps left, the years of which more than a
        tenth (``years_estimated``) or a fifth (``years_to_leave_out``) was missing.

    Raises
    ------
    InputError
        If the record cannot be used as it stands: negative rain, no known day, a total that overlaps
        known days, an unknown method or a setting out of range.

    Notes
    -----
    Settings and limits are working rules of this package. Quantile matching of the best correlated
    neighbour is the method that kept wet-day share, amounts and spells best of those compared (see the
    skill report, `rainharvest.rainfall.fill_skill.fill_skill`). A filled value never exceeds the largest
    measured in its season, so a filled day can set no extreme.

    Examples
    --------
    >>> days = pd.date_range("2001-01-01", "2004-12-31")
    >>> there = pd.Series(np.random.default_rng(1).gamma(0.2, 20, len(days)).round(1), days)
    >>> here = (1.2 * there).round(1)
    >>> here["2002-03-05":"2002-03-14"] = np.nan
    >>> filled = fill_gaps(here, [there.rename("hill")], members=3)
    >>> filled.sizes["member"], int(filled.isnull().sum()), str(filled["donor"].sel(time="2002-03-05").values)
    (3, 0, 'hill')
    """
    settings = {"wet_day": wet_day, "longest_gap": longest_gap, "longest_alone": longest_alone}
    _check_settings(members, method, **settings)
    return filled_versions(fillable(rain, neighbours, seed), members, method=method, **settings)


def filled_versions(
    ready: Fillable,
    members: int,
    *,
    method: Method = "quantile",
    wet_day: float = LIMITS["wet_day"],
    longest_gap: int = LIMITS["longest_gap"],
    longest_alone: int = LIMITS["longest_alone"],
) -> xr.DataArray:
    """Fill a record that was made ready; as `fill_gaps`."""
    record, sound, donors, seed = ready.record, ready.sound, ready.donors, ready.seed
    days, values, total_days = record.indexes["time"], record.to_numpy(), record["total_days"].to_numpy()
    season = days.day_of_year.to_numpy()
    rng = np.random.default_rng(seed)
    filled = np.tile(np.where(total_days > 1, np.nan, values), (members, 1))
    flag = record["flag"].to_numpy().copy()
    source = np.full(len(days), "", dtype=object)

    for end, length in _totals(record, longest_gap if donors else longest_alone):
        start = end - length + 1
        name, shares = _spread(values[end], donors, sound, season, start, length, members, rng)
        part = slice(start, end + 1)
        filled[:, part], flag[part], source[part] = shares, Flag.SPREAD, name

    held = np.zeros(len(days), dtype=bool)  # totals too long to spread: their rain must not be made twice
    for end in np.flatnonzero((total_days > 1) & np.isnan(filled[0]) & np.isfinite(values)):
        held[end - total_days[end] + 1 : end + 1] = True
    gaps = [(a, n) for a, n in _stretches(np.isnan(filled[0]) & ~held) if n <= longest_gap]
    new = np.concatenate([np.arange(a, a + n) for a, n in gaps] or [np.array([], dtype=int)])
    if donors and len(new):
        best = ways.best_donor(donors, new)
        if method == "quantile":
            _fill_matched(filled, ready, best, new, rng)
        else:
            filled[:, new] = _averaged(sound, donors, new, method)
        given = best >= 0
        flag[new[given]] = Flag.FILLED
        source[new[given]] = [donors[place].name for place in best[given]]
    known = np.isfinite(sound) | (flag == Flag.FILLED)
    weights = ways.years_drawn(days, members, rng)
    around = wetness_around(filled[0])
    alone = [run for a, n in gaps for run in _stretches(np.isnan(filled[0, a : a + n]), a)]
    alone.sort(key=lambda run: run[1])  # short gaps first: long ones then find whole runs
    for start, length in alone:
        if length <= longest_alone and ways.resample(
            filled, known, around, season, start, length, wet_day, weights, rng
        ):
            flag[start : start + length] = Flag.RESAMPLED
            known[start : start + length] = True

    return xr.DataArray(
        filled,
        dims=("member", "time"),
        coords={
            "member": np.arange(members),
            "time": days,
            "flag": ("time", flag, flags.flag_attributes()),
            "donor": ("time", source.astype(str), {"long_name": "Neighbour that a day was filled from"}),
        },
        name="rain",
        attrs=_report(record, filled, flag, method, seed, members, ready.notes, longest_gap, longest_alone),
    )


def _check_settings(members, method, wet_day, longest_gap, longest_alone) -> None:
    require_count("members", members, 1)
    for name, value in {"longest_gap": longest_gap, "longest_alone": longest_alone}.items():
        require_count(name, value, 0)
    require(wet_day > 0, f"wet_day is {wet_day!r}", "give a depth above zero, 1 mm by custom", "wet_day")
    remedy = "choose quantile, normal_ratio or inverse_distance"
    require(method in get_args(Method), f"there is no method {method!r}", remedy, "method")


def _stretches(mask: np.ndarray, offset: int = 0) -> list[tuple[int, int]]:
    """Return (start, length) of each run of true days."""
    return [(a + offset, b - a + 1) for a, b in flags.spans(mask)]


def _totals(record: xr.DataArray, longest: int) -> list[tuple[int, int]]:
    """Return (last day, days) of each multi-day total that may be spread."""
    values, count, days = record.to_numpy(), record["total_days"].to_numpy(), record.indexes["time"]
    out, last = [], -1
    for end in np.flatnonzero((count > 1) & np.isfinite(values)):
        length, place = int(count[end]), str(days[end].date())
        start = end - length + 1
        total = f"the total over {length} days"
        remedy = "reject it or add the days before"
        require(start >= 0, f"{total} begins before the record", remedy, place)
        alone = start > last and not np.isfinite(values[start:end]).any()
        remedy = "reject the total or that day's value"
        require(alone, f"{total} covers a day with a value of its own", remedy, place)
        last = end
        if length <= longest:
            out.append((int(end), length))
    return out


def _spread(total, donors, sound, season, start, length, members, rng) -> tuple[str, np.ndarray]:
    for donor in donors:
        shares = ways.split_total(total, donor.values[start : start + length])
        if shares is not None and np.isfinite(donor.values[start : start + length]).all():
            return donor.name, np.tile(shares, (members, 1))
    return "", ways.spread_alone(total, sound, season, start, length, members, rng)


def _fill_matched(filled: np.ndarray, ready: Fillable, best: np.ndarray, new: np.ndarray, rng) -> None:
    """Fill the days that a donor covers, each after the day before it."""
    days = ready.record.indexes["time"]
    draws = np.full((CLASSES, len(filled), len(new)), np.nan)
    edges, version = np.zeros((len(new), CLASSES - 1)), np.arange(len(filled))
    for place in range(len(ready.donors)):
        mine = np.flatnonzero(best == place)
        if len(mine):
            drawn = matched(ready.match(place), days, new[mine], len(filled), rng)
            draws[:, :, mine], edges[mine] = drawn
    usual = float(np.nanmean(ready.sound))
    for column, day in enumerate(new):
        wetness = antecedent(filled, np.array([day]), usual)[:, 0]
        filled[:, day] = draws[np.searchsorted(edges[column], wetness, "right"), version, column]


def _averaged(sound: np.ndarray, donors: list[Donor], new: np.ndarray, method: str) -> np.ndarray:
    values = np.array([donor.values[new] for donor in donors])
    if method == "inverse_distance":
        distances = np.array([donor.distance for donor in donors])
        remedy = "set latitude and longitude in the attributes of every record"
        require(np.isfinite(distances).all(), "a position is not known", remedy, "neighbours")
        return ways.inverse_distance(values, distances)
    both = [np.isfinite(sound) & np.isfinite(donor.values) for donor in donors]
    ratios = [donor.values[b].mean() / sound[b].mean() for donor, b in zip(donors, both, strict=True)]
    return ways.normal_ratio(values, np.array(ratios), 1.0)


def years_filled(days: pd.DatetimeIndex, new: np.ndarray, unknown: np.ndarray) -> dict[str, str]:
    """Return in which calendar years more than a tenth, or a fifth, of these days is filled or still unknown."""
    share = pd.Series(new | unknown, days).groupby(days.year).mean()
    leave_out = [year for year, part in share.items() if part > YEAR_LEFT_OUT or year in days.year[unknown]]
    estimated = [year for year, part in share.items() if part > YEAR_ESTIMATED and year not in leave_out]
    named = {"years_estimated": estimated, "years_to_leave_out": leave_out}
    return {name: ", ".join(map(str, years)) for name, years in named.items()}


def _report(
    record, filled, flag, method, seed, members, notes, longest_gap, longest_alone
) -> dict[str, object]:
    """Return the attributes: what was done, what was left, which years to distrust."""
    days = record.indexes["time"]
    left = _stretches(np.isnan(filled[0]))
    new = np.isin(flag, [Flag.FILLED, Flag.RESAMPLED])
    alone = (flag == Flag.RESAMPLED).mean()
    say, said = texts_of("rainfall"), list(notes)
    if left:
        said.append(say.fill_left(longest_gap, longest_alone))
    if alone > ALONE_SHARE:
        said.append(say.fill_alone(alone))
    if new.mean() > FILLED_SHARE:
        said.append(say.fill_much(new.mean()))
    gaps = [f"{days[a].date()} to {days[a + n - 1].date()} ({n} days)" for a, n in left]
    return attributes("rain") | {
        **record.attrs,
        "method": method,
        "seed": int(seed),
        "members": int(members),
        "days_filled": int((flag == Flag.FILLED).sum()),
        "days_resampled": int((flag == Flag.RESAMPLED).sum()),
        "days_spread": int((flag == Flag.SPREAD).sum()),
        "days_left": int(np.isnan(filled[0]).sum()),
        "gaps_left": "; ".join(gaps),
        **years_filled(days, new, np.isnan(filled[0])),
        "assumptions": flags.noted(record.attrs, said),
    }
