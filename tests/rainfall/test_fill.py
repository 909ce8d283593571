"""Filling: known days untouched, totals kept, refusals, and the worked examples of the simple methods."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from daily import record
from hypothesis import given, settings
from hypothesis import strategies as st
from rain import invent_rain

from rainharvest.core.errors import InputError
from rainharvest.rainfall.check import check_rain
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.fill_methods import inverse_distance, normal_ratio, split_total
from rainharvest.rainfall.fill_skill import hide_blocks
from rainharvest.rainfall.flags import Flag


def three_sites(years=12, seed=5, wet=0.6):
    """Return three correlated seasonal daily records on a 0.2 mm lattice."""
    rng = np.random.default_rng(seed)
    days = pd.date_range("1990-01-01", periods=int(years * 365.25), freq="D")
    season = 0.3 * np.cos(2 * np.pi * days.day_of_year / 365.25)
    weather = np.zeros(len(days))
    for i, shock in enumerate(rng.normal(size=len(days))):
        weather[i] = 0.5 * weather[i - 1] + 0.87 * shock
    out = []
    for k in range(3):
        local = 0.85 * weather + 0.5 * rng.normal(size=len(days)) + season
        depth = np.maximum(local - wet, 0) ** 1.5 * (10 + k)
        out.append(pd.Series(np.ceil(depth / 0.2) * 0.2, days, name=f"site {k}").round(1))
    return out


@pytest.fixture(scope="module")
def sites():
    return three_sites()


def with_gaps(series, seed=0, gaps=((100, 5), (400, 31), (900, 1), (1500, 90), (2500, 12))):
    out = series.copy()
    for start, length in gaps:
        out.iloc[start : start + length] = np.nan
    return out


# ---- what must hold whatever the record
def test_known_days_are_untouched_and_every_fillable_day_is_filled(sites):
    here, *others = sites
    holed = with_gaps(here)
    filled = fill_gaps(holed, others, members=4)
    assert filled.dims == ("member", "time") and filled.sizes["member"] == 4
    known = holed.notna().to_numpy()
    for member in range(4):
        np.testing.assert_array_equal(filled.values[member, known], holed.to_numpy()[known])
    assert not filled.isnull().any()
    assert (filled["flag"].values[known] == Flag.MEASURED).all()
    assert (filled["flag"].values[~known] == Flag.FILLED).all()
    assert set(filled["donor"].values[~known]) <= {"site 1", "site 2"}
    assert (filled["donor"].values[known] == "").all()
    assert filled.attrs["days_filled"] == (~known).sum()


def test_same_seed_same_fill_and_members_differ(sites):
    here, *others = sites
    holed = with_gaps(here)
    before = holed.copy()
    one, two = (fill_gaps(holed, others, members=3, seed=7) for _ in range(2))
    xr.testing.assert_identical(one, two)
    pd.testing.assert_series_equal(holed, before)
    gap = holed.isna().to_numpy()
    assert (one.values[0, gap] != one.values[1, gap]).any()
    assert (fill_gaps(holed, others, seed=8).values[0, gap] != one.values[0, gap]).any()


@settings(max_examples=25, deadline=None)
@given(
    gaps=st.lists(st.tuples(st.integers(0, 1400), st.integers(1, 120)), max_size=8),
    with_neighbour=st.booleans(),
    seed=st.integers(0, 5),
)
def test_any_gaps_leave_known_days_alone_and_amounts_within_the_record(gaps, with_neighbour, seed):
    here, there, _ = three_sites(years=4)
    holed = with_gaps(here, gaps=gaps)
    filled = fill_gaps(holed, [there] if with_neighbour else None, members=2, seed=seed)
    known = holed.notna().to_numpy()
    assert (filled.values[:, known] == holed.to_numpy()[known]).all()
    new = filled.values[:, ~known]
    assert np.isin(new[np.isfinite(new)], holed.to_numpy()[known]).all()  # only amounts that were measured
    left = np.isnan(filled.values).any(axis=0)
    assert (np.isnan(filled.values).all(axis=0) == left).all()
    assert (filled["flag"].values[left] == Flag.MISSING).all()
    assert filled.attrs["days_left"] == left.sum()


def test_isolated_days_without_a_neighbour_are_as_wet_as_they_were():
    """Kept among few, the days that agreed best had drier neighbours than the day to fill."""
    rng, days = np.random.default_rng(8), pd.date_range("1980-01-01", "2004-12-31")
    wet = np.zeros(len(days), dtype=bool)
    for day, u in enumerate(rng.random(len(days))):
        wet[day] = u < (0.6 if day and wet[day - 1] else 0.07)
    rain = pd.Series(np.where(wet, rng.gamma(0.8, 10, len(days)) + 1, 0.0).round(1), days)
    hidden = np.zeros(len(days), dtype=bool)
    hidden[rng.permutation(np.arange(3, len(days) - 3, 6))[:700]] = True
    filled = fill_gaps(rain.mask(hidden), members=20).values[:, hidden]
    # what two days on either side tell of a day of a two-state chain, to be met in the mean over all fillings
    before, after = np.roll(wet, 1)[hidden], np.roll(wet, -1)[hidden]
    rain_on, dry_on = np.where(before, 0.6, 0.07), np.where(before, 0.4, 0.93)
    rain_on, dry_on = rain_on * np.where(after, 0.6, 0.4), dry_on * np.where(after, 0.07, 0.93)
    expected = (rain_on / (rain_on + dry_on)).mean()
    assert abs((filled >= 1).mean() - expected) < 0.006, ((filled >= 1).mean(), expected)


def test_isolated_days_without_a_neighbour_are_as_wet_as_they_were_where_a_season_is_dry():
    """Unknown days beside other days were held to be usual ones: gaps looked drier than these, and were filled so."""
    rain = invent_rain("monsoon", 7, seed=3).isel(site=0).to_series()
    wet = 0.0
    for k in range(7):  # each day is hidden once, so that chance in what is hidden cancels
        hidden = np.arange(len(rain)) % 7 == k
        wet += (fill_gaps(rain.mask(hidden), members=4, seed=k).values[:, hidden] >= 1).sum() / 4
    assert abs(wet / len(rain) - (rain >= 1).mean()) < 0.005, (wet / len(rain), (rain >= 1).mean())


def test_a_dry_spell_goes_on_in_a_filling_as_it_does_in_the_record():
    """Wet after so many dry days with chances that fall; told apart by yesterday alone, spells broke too soon."""
    rng, days = np.random.default_rng(3), pd.date_range("1980-01-01", "2009-12-31")
    chance, dry = (0.6, 0.5, 0.35, 0.2, 0.08), 0
    wet = np.zeros(len(days), dtype=bool)
    for day, u in enumerate(rng.random(len(days))):
        wet[day] = u < chance[min(dry, 4)]
        dry = 0 if wet[day] else dry + 1
    rain = pd.Series(np.where(wet, rng.gamma(0.8, 10, len(days)) + 1, 0.0).round(1), days)
    there = rain.where(rng.random(len(days)) < 0.55, rain.to_numpy()[rng.permutation(len(days))]).rename(
        "there"
    )
    holed = with_gaps(rain, gaps=[(200 + 100 * k, 40) for k in range(100)])
    filled = fill_gaps(holed, [there], members=10)
    assert filled.attrs["days_filled"] == 4000
    wet = filled.values >= 1
    after = ~(wet[:, :-4] | wet[:, 1:-3] | wet[:, 2:-2] | wet[:, 3:-1]) & (
        filled.flag.values[4:] == Flag.FILLED
    )
    assert 0.06 < wet[:, 4:][after].mean() < 0.17  # 0.21 where only yesterday counts


def test_best_donor_with_a_value_that_day(sites):
    here, near, far = (s.copy() for s in sites)
    assert set(fill_gaps(with_gaps(here, gaps=[(400, 10)]), [far, near])["donor"].values[400:410]) == {
        "site 1"
    }
    near.iloc[402:405] = np.nan
    donors = fill_gaps(with_gaps(here, gaps=[(400, 10)]), [far, near])["donor"].values[400:410]
    assert (donors[2:5] == "site 2").all() and (np.delete(donors, [2, 3, 4]) == "site 1").all()


# ---- totals
def with_total(series, end, length, total=None):
    """Return the series with a reading over some days at its end, and what the reading states."""
    values = series.to_numpy().copy()
    values[end] = values[end - length + 1 : end + 1].sum() if total is None else total
    return record(values, series.index[0], [(end, length)]), values[end]


@pytest.mark.parametrize("alone", [False, True])
def test_a_total_is_kept_to_rounding(sites, alone):
    here, *others = sites
    end = int(np.argmax(here.to_numpy()))
    read, total = with_total(here, end, 4)
    filled = fill_gaps(read, None if alone else others, members=5)
    part = filled.isel(time=slice(end - 3, end + 1))
    np.testing.assert_allclose(part.sum("time"), total, rtol=1e-14)
    assert (part["flag"] == Flag.SPREAD).all() and (part >= 0).all()
    assert filled.attrs["days_spread"] == 4
    dry, _ = with_total(here, 500, 3, total=0.0)
    assert (fill_gaps(dry, None if alone else others).values[0, 498:501] == 0).all()


@pytest.mark.parametrize(
    ("total", "first", "shares", "donor"),
    [
        (30.0, [0.0, 10.0, 5.0], [0.0, 20.0, 10.0], "site 1"),
        (12.0, [0.0, 0.0, 0.0], [12.0, 0.0, 0.0], "site 2"),  # the first was dry
    ],
)
def test_a_total_is_shared_by_the_pattern_of_a_neighbour_with_rain(sites, total, first, shares, donor):
    here, there, third = (s.copy() for s in sites)
    there.iloc[498:501], third.iloc[498:501] = first, [4.0, 0.0, 0.0]
    filled = fill_gaps(with_total(here, 500, 3, total)[0], [there, third])
    np.testing.assert_allclose(filled.values[0, 498:501], shares)
    assert (filled["donor"].values[498:501] == donor).all()


def test_a_total_that_overlaps_a_known_day_or_has_no_days_is_refused(sites):
    read, _ = with_total(sites[0], 500, 3)
    read.values[499] = 2.0
    with pytest.raises(InputError, match=f"{sites[0].index[500].date()}.*covers a day with a value"):
        fill_gaps(read)
    read, _ = with_total(sites[0], 50, 1)
    with pytest.raises(InputError, match="1990-02-20 is marked as a total"):
        fill_gaps(read.drop_vars("total_days"))


def test_a_total_too_long_to_spread_is_left_and_reported(sites):
    record, _ = with_total(sites[0], 900, 45)
    filled = fill_gaps(record, longest_alone=31)
    assert filled.isel(time=slice(856, 901)).isnull().all() and filled.attrs["days_left"] == 45
    assert "(45 days)" in filled.attrs["gaps_left"]


@given(st.floats(0, 5000), st.lists(st.floats(0, 300), min_size=1, max_size=40))
def test_shares_add_up(total, pattern):
    shares = split_total(total, np.array(pattern))
    if shares is None:
        assert total > 0 and sum(pattern) == 0
    else:
        assert shares.sum() == pytest.approx(total, rel=1e-12, abs=1e-12) and (shares >= -1e-9).all()


# ---- limits, donors, refusals
def test_gaps_beyond_the_limits_are_left_and_named(sites):
    here, *others = sites
    holed = with_gaps(here, gaps=[(400, 20), (1000, 60), (2000, 400)])
    alone = fill_gaps(holed, longest_alone=31)
    assert alone.attrs["gaps_left"].count("days)") == 2 and alone.attrs["days_resampled"] == 20
    helped = fill_gaps(holed, others)
    assert helped.attrs["gaps_left"].endswith("(400 days)") and helped.attrs["days_filled"] == 80
    assert "1995" in helped.attrs["years_to_leave_out"] and "1992" in helped.attrs["years_estimated"]
    assert not fill_gaps(holed, others, longest_gap=400).isnull().any()


def test_a_neighbour_out_of_step_is_refused_with_its_remedy(sites):
    here, there, _ = sites
    late = there.shift(1).rename("late")
    filled = fill_gaps(with_gaps(here), [late])
    assert "late stands one day late" in filled.attrs["assumptions"]
    assert "move it by -1 day" in (filled.attrs["assumptions"])
    assert filled.attrs["days_filled"] == 0
    assert fill_gaps(with_gaps(here), [late.shift(-1)]).attrs["days_filled"] > 0


def test_unlike_short_and_far_neighbours_are_refused(sites):
    here, there, _ = sites
    rng = np.random.default_rng(2)
    unlike = pd.Series(rng.permutation(there.to_numpy()), there.index, name="unlike")
    short = there.iloc[:300].rename("short")
    far = xr.DataArray(
        there.to_numpy(), dims="time", coords={"time": there.index}, attrs={"latitude": 55, "longitude": 0}
    ).rename("far")
    home = xr.DataArray(
        with_gaps(here).to_numpy(), dims="time", coords={"time": here.index},
        attrs={"latitude": 51, "longitude": 0},
    )  # fmt: skip
    said = fill_gaps(home, [unlike, short, far]).attrs["assumptions"]
    assert "unlike agrees too little" in said
    assert "short has only 295 days" in said and "far is 445 km away" in said


def test_suspect_and_total_days_of_a_neighbour_are_not_used(sites):
    here, there, _ = sites
    flag = np.zeros(len(there), dtype="int8")
    flag[400:405] = Flag.SUSPECT
    there = xr.DataArray(
        there.to_numpy(), dims="time", coords={"time": there.index, "flag": ("time", flag)}, name="next"
    )
    filled = fill_gaps(with_gaps(here, gaps=[(400, 5)]), [there])
    assert (filled["flag"].values[400:405] == Flag.RESAMPLED).all()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda s: s * np.nan, "no day has a sound value"),
        (lambda s: s - 50, "is -50 mm"),
        (lambda s: s.reset_index(drop=True), "no dates"),
        (lambda s: pd.concat([s, s.iloc[:1]]), "stands twice"),
        (lambda s: s.shift(freq="12h"), "not a whole day"),
        (lambda s: s.to_frame(), "DataFrame came"),
        (lambda s: s.iloc[:0], "empty"),
        (lambda s: s.where(s.index != s.index[3], np.inf), "is infinite"),
    ],
)
def test_bad_records_are_refused(sites, change, says):
    with pytest.raises(InputError, match=says):
        fill_gaps(change(sites[0]))


@pytest.mark.parametrize(
    "settings",
    [{"members": 0}, {"members": 1.5}, {"seed": -1}, {"method": "mean"}, {"wet_day": 0}, {"longest_gap": -1}],
)
def test_bad_settings_are_refused_by_name(sites, settings):
    (name,) = settings
    with pytest.raises(InputError) as caught:
        fill_gaps(sites[0], **settings)
    assert caught.value.place == name


def test_inverse_distance_asks_for_positions(sites):
    with pytest.raises(InputError, match="latitude and longitude"):
        fill_gaps(with_gaps(sites[0]), sites[1:], method="inverse_distance")


def test_missing_rows_are_missing_days(sites):
    here = sites[0].drop(sites[0].index[100:104])
    filled = fill_gaps(here, sites[1:])
    assert (filled["flag"].values[100:104] == Flag.FILLED).all() and filled.sizes["time"] == len(sites[0])


# ---- worked examples
@pytest.mark.parametrize(
    ("normal", "normals", "values", "printed", "tolerance"),
    [
        # question-and-answer page on curioustab, recomputed
        (1000, (1100, 1200, 1250), (110, 90, 70), 77.0, 1e-9),
        # a problem read in a hydrology text without its answer; computed by hand
        (137, (125, 102, 76, 113), (13.2, 9.2, 6.8, 10.2), 12.862, 5e-4),
        # "hydrology-2" lecture notes, Example 3.6, https://ja.scribd.com/document/319727531/hydrology-2:
        # prints 112.3 with the ratios rounded to 1.14, 1.02 and 0.92
        (331.3, (290.8, 325.9, 360.5), (98.9, 120.5, 110.0), 112.3, 0.3),
        (331.3, (290.8, 325.9, 360.5), (98.9, 120.5, 110.0), 112.087, 5e-4),
        # Subramanya, Engineering Hydrology, Ex 2.2 (from memory, not verified: prints 99.48)
        (92.01, (80.97, 67.59, 76.28), (91.11, 72.23, 79.89), 99.408, 5e-4),
        (978, (1120, 935, 1200), (107, 89, 122), 95.319, 5e-4),  # from memory, not verified
    ],
)
def test_normal_ratio_worked_examples(normal, normals, values, printed, tolerance):
    assert normal_ratio(np.array(values), np.array(normals), normal) == pytest.approx(printed, abs=tolerance)


def test_inverse_distance_worked_example():
    # a problem read in a hydrology text without its answer; computed by hand
    assert inverse_distance(np.array([98.0, 80, 110]), np.array([15.0, 73, 36])) == pytest.approx(
        99.088, abs=5e-4
    )


def test_the_averages_skip_what_is_unknown():
    values = np.array([[1.0, np.nan, np.nan], [3.0, 4.0, np.nan]])
    np.testing.assert_allclose(normal_ratio(values, np.array([10.0, 20.0]), 10.0), [1.25, 2.0, np.nan])
    np.testing.assert_allclose(inverse_distance(values, np.array([1.0, 1.0])), [2.0, 4.0, np.nan])
    with pytest.raises(InputError):
        inverse_distance(values, np.array([0.0, 1.0]))
    with pytest.raises(InputError):
        normal_ratio(values, np.array([0.0, 1.0]), 1.0)


def test_years_far_off_and_time_zones_are_taken(sites):
    holed = with_gaps(sites[0]).to_numpy()
    time = np.datetime64("2900-01-01", "s") + np.arange(len(holed)).astype("timedelta64[D]")
    far = fill_gaps(xr.DataArray(holed, dims="time", coords={"time": time}))
    assert int(far["time"].dt.year[0]) == 2900 and not far.isnull().any()
    zoned = with_gaps(sites[0]).tz_localize("Europe/Vienna")
    assert not fill_gaps(zoned).isnull().any()


def test_position_may_stand_as_coordinates(sites):
    here, there, _ = sites
    stacked = xr.DataArray(
        np.array([with_gaps(here).to_numpy(), there.to_numpy()]),
        dims=("site", "time"),
        coords={"site": ["here", "there"], "time": here.index, "latitude": ("site", [51.0, 51.1]),
                "longitude": ("site", [0.0, 0.1])},
    )  # fmt: skip
    filled = fill_gaps(stacked.isel(site=0), stacked.isel(site=[1]), method="inverse_distance")
    assert filled.attrs["days_filled"] > 0 and set(filled["donor"].values) == {"", "there"}


# ---- how long it takes: printed, not judged; 60 years with two neighbours
@pytest.fixture(scope="module")
def sixty_years():
    three = invent_rain("temperate_all_year", 60, seed=2)
    here = three.isel(site=0).to_series().copy()
    hidden = hide_blocks(here.to_numpy(), 0.15, (1, 3, 10, 31, 90), np.random.default_rng(1))
    here[hidden] = np.nan
    return here, three.isel(site=slice(1, None))


WORK = {
    "filling": lambda here, beside: fill_gaps(here, beside, members=20),
    "filling alone": lambda here, beside: fill_gaps(here, members=20),
    "checking": check_rain,
}


@pytest.mark.parametrize("work", WORK)
def test_speed(benchmark, sixty_years, work):
    assert benchmark.pedantic(WORK[work], sixty_years, rounds=3, warmup_rounds=1).size
