"""Each fault put into a clean record is found, on its days, and a clean record is left in peace."""

import re

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from rain import invent_rain

from rainharvest.core.errors import InputError
from rainharvest.core.reader import US, depths, reading
from rainharvest.rainfall.check import accept_findings, check_rain
from rainharvest.rainfall.check_years import _yearly, completeness, double_mass
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.flags import COLUMNS, Flag, as_record


@pytest.fixture(scope="module")
def three():
    return invent_rain("temperate_all_year", 40, seed=3, first_year=1961)


@pytest.fixture
def clean(three):
    return three.isel(site=0).to_series().copy()


@pytest.fixture(scope="module")
def beside(three):
    return three.isel(site=slice(1, None))


def found(rain, check, neighbours=None, **more):
    table = check_rain(rain, neighbours, **more)
    assert list(table.columns) == COLUMNS
    return table[table["check"] == check]


@pytest.mark.parametrize(
    "climate", ["winter_rain", "monsoon", "two_rainy_seasons", "semi_arid", "temperate_all_year"]
)
def test_a_clean_record_is_left_in_peace(climate):
    rain = invent_rain(climate, 60, seed=1)
    table = check_rain(rain.isel(site=0), rain.isel(site=slice(1, None)))
    assert table[table["check"] != "snow"].empty, table["reason"].tolist()  # one gauge stands at 51 degrees


def test_worst_first_and_the_record_is_not_changed(clean, beside):
    clean["1970-03-04"], clean["1971-05-06"] = -3.0, 400.0
    clean["1980-06-01":"1980-06-20"] = np.nan
    before = clean.copy()
    table = check_rain(clean, beside)
    pd.testing.assert_series_equal(clean, before)
    assert table["check"].tolist() == ["negative", "outlier", "completeness"]
    assert table["severity"].tolist() == ["wrong", "suspect", "note"]
    assert table.loc[0, "first_day"] == pd.Timestamp("1970-03-04") and "-3 mm" in table.loc[0, "reason"]


# ---- one fault, one finding
def times(factor):
    return lambda part, rain: part * factor


def copied(source):
    return lambda part, rain: rain[source:].to_numpy()[: len(part)]


def shifted(days):
    return lambda part, rain: rain.shift(days)[part.index]


def on_inches(part, rain):
    return (np.round(part / 0.254) * 0.254).round(1)


def half_rounded(part, rain):
    rounds = (part >= 2) & (np.random.default_rng(6).random(len(part)) < 0.4)
    return part.where(~rounds, np.round(part))


def sundays_missed(part, rain):
    """One Sunday in three the gauge is not read: Monday's reading holds both days."""
    sundays = np.flatnonzero(part.index.day_of_week[:-1] == 6)[::3]
    out = part.to_numpy().copy()
    out[sundays + 1] += out[sundays]
    out[sundays] = 0
    return out


def drizzling(part, rain):
    drizzle = pd.Series(np.random.default_rng(7).uniform(0.01, 0.2, len(part)), part.index)
    return part.rolling(2).mean().fillna(0.0).where(lambda s: s > 0, drizzle)


def changed_over(part, rain):
    """Date the days as if day and month stood the other way round."""
    return rain[
        part.index.map(lambda d: d.replace(month=d.day, day=d.month) if d.day <= 12 else d)
    ].to_numpy()


WHOLE = "1961-01-01 2000-12-31"
ALONE, BESIDE, ONLY_BESIDE = "alone", "beside neighbours", "beside neighbours only"
# The check; the days and what is done to them; how nearly they are found; what accepting sets, what is said, and
# whether neighbours are at hand.
FAULTS = [
    ("negative", "1970-03-04 1970-03-06", -99.9, 0, "rejected", "-99.9", ALONE),
    ("impossible", "1975-01-01 1975-01-01", 1826.0, 0, "rejected", "1826", ALONE),
    ("outlier", "1975-01-01 1975-01-01", 1825.0, 0, "suspect", "1825", ALONE),
    ("outlier", "1985-09-05 1985-09-05", times(10), 0, "suspect", "252", ALONE),  # a slipped decimal point
    ("streak", "1984-02-03 1984-02-10", 1.4, 16, "suspect", "1.4 mm", ALONE),
    ("streak", "1984-02-03 1984-02-10", 7.2, 16, "suspect", "7.2 mm", ALONE),
    ("capped", "1966-01-01 1971-12-31", lambda part, rain: part.clip(upper=20.0), 0, "", "20 mm", ALONE),
    ("duplicate", "1983-07-01 1983-07-31", copied("1978-07-01"), 0, "rejected", "July 1978", ALONE),
    ("duplicate", "1983-04-01 1983-04-30", copied("1983-01-01"), 0, "rejected", "January 1983", ALONE),
    ("duplicate", "1987-01-01 1987-12-31", copied("1986-01-01"), 0, "rejected", "12 months", ALONE),
    # nobody says that it was not a drought, unless it rained next door
    ("false zeros", "1990-02-01 1990-06-30", 0.0, 16, "suspect", "look", ALONE),
    ("false zeros", "1990-11-01 1990-11-30", 0.0, 16, "suspect", "look", ALONE),
    ("false zeros", "1990-11-01 1990-11-30", 0.0, 16, "rejected", "wet days.*reject the days", BESIDE),
    ("unit", "1975-05-01 1977-08-31", times(10), 60, "rejected", "close to 10:", ALONE),
    ("unit", "1975-05-01 1977-08-31", times(0.1), 60, "rejected", "close to 1/10:", ALONE),
    ("unit", "1975-05-01 1977-08-31", times(25.4), 60, "rejected", "close to 25.4:", ALONE),
    ("unit", "1975-05-01 1977-08-31", times(1 / 25.4), 60, "rejected", "close to 1/25.4:", ALONE),
    ("unit", "1975-03-01 1975-05-31", times(10), 40, "rejected", "close to 10:", ALONE),
    ("unit", "1975-06-01 1975-08-31", times(10), 40, "rejected", "close to 10:", ALONE),
    ("unit", "1975-10-01 1976-03-31", times(10), 40, "rejected", "close to 10:", ALONE),
    ("unit", "1975-01-01 1975-09-30", times(0.1), 40, "rejected", "close to 1/10:", ALONE),
    ("unit", "1982-01-01 2000-12-31", times(1 / 25.4), 40, "rejected", "close to 1/25.4:", ALONE),
    ("unit", "1961-01-01 1979-12-31", times(10), 40, "rejected", "close to 10:", ALONE),
    ("unit", "1975-01-01 1975-02-28", times(0.1), 0, "suspect", "close to 1/10:", ONLY_BESIDE),
    ("unit", WHOLE, times(1 / 25.4), 0, "", "close to 1/25.4.*multiply these days by 25.4", ONLY_BESIDE),
    ("resolution", "1980-01-01 2000-12-31", on_inches, 0, "", "0.01 inch, before on steps of 0.2 mm", ALONE),
    ("rounding", WHOLE, half_rounded, 0, "", "multiples of 1 mm", ALONE),
    ("weekday", WHOLE, sundays_missed, 0, "", "Sundays are wet .* less often", ALONE),
    ("small amounts", "1961-01-01 1975-12-31", lambda part, rain: part.where(part >= 1, 0.0), 0, "", "", ALONE),
    ("gridded", WHOLE, drizzling, 0, "", "gridded product", ALONE),
    ("shifted days", "1981-01-01 1982-06-30", shifted(1), 0, "suspect", "one day too late.*-1 day", BESIDE),
    ("shifted days", "1981-01-01 1982-06-30", shifted(-1), 0, "suspect", "one day too early.*[+]1 day", BESIDE),
    ("shifted days", "1961-01-02 2000-12-31", shifted(1), 1, "suspect", "one day too late", BESIDE),
    ("swapped days", "1985-01-02 1985-12-11", changed_over, 0, "suspect", "changed over", BESIDE),
    ("trend", WHOLE, lambda part, rain: part * (0.7 + 0.6 * (part.index.year - 1961) / 39), 0, "", "rise by", ALONE),
]  # fmt: skip


@pytest.mark.parametrize(("check", "days", "fault", "near", "flag", "words", "where"), FAULTS)
def test_a_fault_is_one_finding_on_its_days(clean, beside, check, days, fault, near, flag, words, where):
    first, last = map(pd.Timestamp, days.split())
    rain = clean.copy()
    rain[first:last] = fault(clean[first:last], clean) if callable(fault) else fault
    (one,) = found(rain, check, None if where == ALONE else beside).itertuples()
    assert max(abs((one.first_day - first).days), abs((one.last_day - last).days)) <= near
    assert one.flag == flag and re.search(words, f"{one.reason} {one.action}")
    assert where != ONLY_BESIDE or found(rain, check).empty
    with reading(US):
        told = depths(f"{one.reason} {one.action}")
        assert "mm" not in told and bool(re.search(r"\d in\b(?! the file)", told)) == (
            "mm" in f"{one.reason} {one.action}"
        )
        assert check != "negative" or "-3.93 in" in told  # 99.9 / 25.4


# ---- single values


def test_a_total_over_days_has_the_bound_of_its_days(three):
    rain = three.isel(site=0).copy(deep=True)
    rain[1000:1004], rain["total_days"][1000:1003], rain["total_days"][1003] = np.nan, 0, 4
    rain[1003] = 4900.0
    assert found(rain, "impossible").empty
    rain[1003] = 4937.0
    assert len(found(rain, "impossible")) == 1


def test_ceiling(clean):
    top = clean.idxmax()
    assert found(clean, "ceiling", ceiling=clean.max()).empty
    (one,) = found(clean, "ceiling", ceiling=clean.max() - 0.1).itertuples()
    assert one.first_day == top
    for bad in (0, -1, float("nan")):
        with pytest.raises(InputError, match="ceiling"):
            check_rain(clean, ceiling=bad)


def test_future_days(clean):
    moved = clean.copy()
    moved.index = moved.index + (pd.Timestamp.now().normalize() + pd.Timedelta(days=3) - moved.index[-1])
    (one,) = found(moved, "future").itertuples()
    assert one.days == 3 and one.severity == "wrong"
    assert found(clean, "future").empty


def test_streak_over_rainy_days(clean):
    rainy = clean.index[(clean > 0) & (clean.index >= "1984-02-03")][:25]
    clean[rainy] = 0.8
    table = found(clean, "streak")
    assert table["first_day"].min() <= rainy[0] and table["last_day"].max() >= rainy[-1]


# ---- runs


def test_hidden_total_after_missing_days(clean):
    start = clean["1985-01-01":].rolling(6).sum().idxmax()
    span = pd.date_range(end=start, periods=6)
    total = clean[span].sum()
    clean[span[:-1]], clean[span[-1]] = np.nan, total
    table = found(clean, "hidden total")
    (one,) = table.itertuples()
    assert (one.first_day, one.last_day, one.flag) == (span[0], span[-1], "total")
    accepted = accept_findings(clean, table)
    assert accepted["total_days"].sel(time=span[-1]) == 6
    assert accepted["flag"].sel(time=span[-1]) == Flag.TOTAL
    assert fill_gaps(accepted).sel(time=span).sum() == pytest.approx(total)


def weekend_totals(rain, years=6):
    """Blank the weekends of some years and put their rain into Monday's reading."""
    out = rain.copy()
    monday = np.flatnonzero((rain.index.day_of_week == 0) & (rain.index.year < 1961 + years))[1:]
    for k in (1, 2):
        out.iloc[monday] += rain.iloc[monday - k].to_numpy()
        out.iloc[monday - k] = np.nan
    return out, monday


def test_totals_after_weekends_are_counted_once(clean):
    rain, monday = weekend_totals(clean)
    table = check_rain(rain)
    (one,) = table[table["check"] == "hidden total"].itertuples()
    assert (one.severity, one.flag, one.days) == ("wrong", "totals", len(monday))
    sound = accept_findings(rain, table[table["severity"] == "wrong"])
    assert int((sound["flag"] == Flag.TOTAL).sum()) == len(monday)
    filled = fill_gaps(sound, members=2)
    assert filled.sum("time").values == pytest.approx([clean.sum()] * 2)
    first = slice(None, "1966-12-31")
    twice = fill_gaps(rain, members=2).sel(time=first).sum("time")
    assert (twice > 1.2 * clean[:"1966"].sum()).all(), "filled beside their totals, the days counted twice"


def test_the_study_may_say_what_readings_after_gaps_are(clean):
    rain, monday = weekend_totals(clean)
    assert found(rain, "hidden total", gaps_end_in_totals=False).empty
    clean["1970-05-02":"1970-05-03"] = np.nan  # one gap proves nothing
    assert found(clean, "hidden total").empty
    table = found(clean, "hidden total", gaps_end_in_totals=True)
    assert table["flag"].tolist() == ["totals"]
    marked = accept_findings(clean, table)
    assert int(marked["total_days"].sel(time="1970-05-04")) == 3


def test_a_gauge_that_fails_in_storms_is_not_taken_for_totals(clean):
    wet = np.flatnonzero((clean > 8).to_numpy())
    broken = wet[(wet > 5) & (wet < len(clean) - 5)][::3]
    clean.iloc[broken] = np.nan
    assert "totals" not in set(check_rain(clean)["flag"])


def test_gaps_at_random_hide_no_totals(clean):
    rng = np.random.default_rng(5)
    for start in rng.choice(np.arange(50, len(clean) - 50, 8), 60, replace=False):
        clean.iloc[start : start + 3] = np.nan
    reasons = found(clean, "hidden total")["reason"]
    assert not reasons.str.contains("that follow a gap of").any() and len(reasons) <= 3


# ---- neighbours


def test_rain_that_no_neighbour_confirms(three):
    rain = three.isel(site=0).to_series().copy()
    others = [three.isel(site=i) for i in (1, 2)]
    copy = three.isel(site=1).to_series().shift(0).rename("third")
    others.append(copy + np.where(copy > 0, 0.2, 0))
    dry = (
        sum(o.to_series() if isinstance(o, xr.DataArray) else o for o in others).rolling(3, center=True).sum()
    ) == 0
    day = dry[dry & (dry.index.year == 1988)].index[0]
    rain[day] = 110.0  # heavy, yet within nine times the wet days' p95
    (one,) = found(rain, "uncorroborated", others).itertuples()
    assert one.first_day == day


# ---- years
def test_completeness_allows_no_missing_day(three):
    rain = three.isel(site=0).copy(deep=True)
    days = rain.indexes["time"]
    rain[days.get_loc("1964-02-10")] = np.nan
    inside, across = days.get_loc("1970-05-10"), days.get_loc("1972-06-01")
    for end in (inside, across):
        rain[end - 2 : end], rain["total_days"][end - 2 : end], rain["total_days"][end] = np.nan, 0, 3
        rain["flag"][end] = Flag.TOTAL
    table = completeness(rain)
    assert table.loc[1964, 2] == 1 and table.loc[1964, "missing"] == 1 and table.loc[1964, "days"] == 366
    assert table.loc[1970, "missing"] == 0  # the total ends in the month where it began
    assert table.loc[1972, 5] == 2 and table.loc[1972, 6] == 1  # this one does not
    assert table.drop([1964, 1972])["missing"].sum() == 0


def test_completeness_findings(clean):
    clean["1970-03-01":"1970-06-30"] = np.nan
    clean["1972-03-01"] = np.nan
    table = found(clean[:"1990-05-31"], "completeness")
    table = table.set_index(table["first_day"].dt.year)
    assert table.loc[1970, "days"] == 122 and table.loc[1970, "severity"] == "suspect"
    assert table.loc[1972, "days"] == 1 and table.loc[1972, "severity"] == "note"
    assert "March (1)" in table.loc[1972, "reason"] and table.loc[1990, "days"] == 214


def test_part_of_a_year_is_not_tested_as_a_year(clean):
    cut = clean["1961-06-15":"2000-05-20"]
    for series in _yearly(cut.to_numpy(), cut.index.year.to_numpy(), []).values():
        assert series.index[[0, -1]].tolist() == [1962, 1999]
    short = clean["1961-12-20":"2000-12-31"]  # the first year has twelve days
    assert found(short, "homogeneity").empty


@pytest.mark.parametrize(("place", "warned"), [((64.0, 20), True), ((47.0, 900), True), ((38.0, 100), False)])
def test_snow_is_warned_of_by_latitude_and_height(three, place, warned):
    rain = as_record(three.isel(site=0).to_series())  # of which nothing is known
    assert found(rain, "snow").empty
    assert len(found(rain.assign_attrs(latitude=place[0], elevation=place[1]), "snow")) == warned


def test_a_break_beside_the_neighbours(clean, beside):
    clean[:"1980"] *= 1.2
    table = found(clean, "homogeneity", beside)
    assert table["severity"].eq("suspect").any()
    assert table["reason"].str.contains("1981: 0.8[0-9] times").any()
    assert table["reason"].str.contains("beside").all()


def test_double_mass_bends_where_the_gauge_changed(clean, beside):
    clean[:"1980"] *= 1.25
    curve = double_mass(clean, beside)
    slope = curve["slope"]
    before, after = slope.sel(year=slice(None, 1980)).mean(), slope.sel(year=slice(1981, None)).mean()
    assert float(before / after) == pytest.approx(1.25, rel=0.04)
    assert (np.diff(curve["here"]) > 0).all() and curve["here"].attrs["units"] == "mm"


# ---- accepting
def test_accepting_sets_flags_and_leaves_the_rest(clean):
    clean["1970-03-04"], clean["1971-05-06"] = -3.0, 400.0
    table = check_rain(clean)
    before = clean.copy()
    out = accept_findings(clean, table)
    pd.testing.assert_series_equal(clean, before)
    assert np.isnan(out.sel(time="1970-03-04")) and out["flag"].sel(time="1970-03-04") == Flag.REJECTED
    assert out.sel(time="1971-05-06") == 400 and out["flag"].sel(time="1971-05-06") == Flag.SUSPECT
    assert int((out["flag"] != Flag.MEASURED).sum()) == 2
    assert "accepted: negative, 1970-03-04 to 1970-03-04, rejected" in out.attrs["assumptions"]
    filled = fill_gaps(out)
    assert filled["flag"].sel(time="1970-03-04") == Flag.RESAMPLED and not filled.isnull().any()


def test_accepting_nothing_changes_nothing(clean):
    table = check_rain(clean)
    np.testing.assert_array_equal(accept_findings(clean, table.iloc[:0]), clean)


def test_accepting_foreign_findings_is_refused(clean):
    clean["1970-03-04"] = -3.0
    table = check_rain(clean)
    with pytest.raises(InputError, match="does not lie in the record"):
        accept_findings(clean["1980":], table)
    with pytest.raises(InputError, match="no column flag"):
        accept_findings(clean, table.drop(columns="flag"))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.one_of(st.floats(-50, 3000), st.just(float("nan")), st.just(0.0)), min_size=1, max_size=900),
    st.booleans(),
)
def test_any_daily_record_ends_in_a_table(values, with_neighbour):
    rain = pd.Series(values, pd.date_range("2001-01-01", periods=len(values)))
    table = check_rain(rain, [rain.abs().rename("other")] if with_neighbour else None)
    assert list(table.columns) == COLUMNS
    assert table["reason"].str.len().gt(0).all()
    negative = rain[rain < 0]
    marked = table[table["check"] == "negative"]
    assert marked["days"].sum() == len(negative)
    out = accept_findings(rain, table)
    assert not (out < 0).any()
