"""Figures of the rain record: they show the numbers they are given, and are moved, not drawn anew."""

from functools import partial

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from drawn import artist, check_moved, texts
from matplotlib.colors import to_rgb
from rain import invent_rain

from rainharvest.rainfall.check_years import double_mass
from rainharvest.rainfall.describe import describe_rain
from rainharvest.rainfall.figures import (
    ORIGIN_COLOURS,
    SKILLS,
    annual_figure,
    double_mass_figure,
    monthly_figure,
    origin_figure,
    return_levels_figure,
    skill_figure,
    spells_figure,
    spi_figure,
)
from rainharvest.rainfall.flags import Flag


def rain(climate="monsoon", years=30):
    return invent_rain(climate, years, seed=3)


def flagged(years=12):
    one = rain(years=years).isel(site=0)
    flag = np.resize(np.arange(len(Flag)), one.sizes["time"]).astype("int8")
    return one.assign_coords(flag=("time", flag))


def totals(members=3, years=20):
    rng = np.random.default_rng(years)
    middle = rng.uniform(400, 900, years)
    values = np.tile(middle, (members, 1))
    values[1:, 4] += 80.0
    values[:, 7] = np.nan
    return xr.DataArray(values, {"year": np.arange(2000, 2000 + years)}, ("member", "year"))


def skill(longest=1.1, seed=0):
    rng = np.random.default_rng(seed)
    values = {name: ("way_filled", rng.normal(0, 0.02, 2)) for name in SKILLS}
    values["longest_spell_error"] = ("way_filled", [-0.05, longest])
    return xr.Dataset(values, {"way_filled": ["fill", "same-season mean"]})


def described(climate="monsoon", wet_day=1.0):
    return describe_rain(rain(climate).isel(site=0), wet_day)


def index(climate, scale):
    return described(climate).spi.sel(scale=scale)


def mass(climate="monsoon", years=30):
    three = rain(climate, years)
    return double_mass(three.isel(site=0), three.isel(site=slice(1, None)))


PERIODS = [2.0, 5, 10, 20, 50, 100]


def levels(scale=1.0, known=6):
    level = scale * np.array([40.0, 55, 66, 78, 95, 110])
    high = np.where(np.arange(6) < known, 1.4 * level, np.nan)
    curves = {"return_level": level, "return_level_low": 0.8 * level, "return_level_high": high}
    return xr.Dataset({k: ("return_period", v) for k, v in curves.items()}, {"return_period": PERIODS})


@pytest.mark.parametrize(
    "draw, first, second",
    [
        (origin_figure, flagged, lambda: flagged(45)),
        (annual_figure, totals, lambda: totals(1, 31)),
        (skill_figure, skill, lambda: skill(0.2, 1)),
        (monthly_figure, described, lambda: described("winter_rain")),
        (spells_figure, described, lambda: described("temperate_all_year", 3.0)),
        (spi_figure, lambda: index("monsoon", 12), lambda: index("semi_arid", 3)),
        (double_mass_figure, mass, lambda: mass("semi_arid", 15)),
        (partial(return_levels_figure, years=30), lambda: levels(), lambda: levels(2.5)),
    ],
)
def test_the_figure_is_moved_and_shows_what_a_new_one_would(draw, first, second):
    check_moved(draw, (first(),), (second(),))


def test_every_day_has_the_colour_of_its_origin():
    data = flagged(9)
    image = artist(origin_figure(data).axes[0], "days")
    picture = image.to_rgba(image.get_array())[..., :3]
    wanted = dict(zip(Flag, (0, 0, 4, 0, 4, 1, 1, 1, 2, 3), strict=True))
    days = data.indexes["time"]
    leap = pd.date_range("2000-01-01", "2000-12-31")
    for day in ("2016-01-01", "2016-02-29", "2017-03-01", "2018-12-31", "2020-12-31"):
        day = pd.Timestamp(day)
        column = leap.get_loc(day.replace(year=2000))
        flag = Flag(int(data.flag.values[days.get_loc(day)]))
        np.testing.assert_allclose(
            picture[day.year - days[0].year, column], to_rgb(ORIGIN_COLOURS[wanted[flag]]), atol=0.005
        )


def test_days_before_the_record_are_blank():
    data = flagged(9).isel(time=slice(100, None))
    picture = artist(origin_figure(data).axes[0], "days").get_array()
    assert picture.mask[0, :90].all() and not picture.mask[0, 120:].any()


def test_the_driest_year_is_the_lowest_bar_and_a_year_without_a_total_has_none():
    data = totals()
    axes = annual_figure(data).axes[0]
    known = data.dropna("year")
    year = int(known.year[int(np.argmin(known.median("member").values))])
    (marked,) = artist(axes, "driest").get_segments()
    assert marked[0, 0] == year and marked[1, 1] == float(known.median("member").min())
    drawn = [segment[0, 0] for segment in artist(axes, "bars").get_segments()]
    assert sorted([*drawn, year]) == known.year.values.tolist() and 2007 not in drawn
    (spread,) = artist(axes, "spread").get_segments()
    assert spread[0, 0] == 2004 and spread[1, 1] - spread[0, 1] == pytest.approx(80)
    assert artist(axes, "mean").get_ydata()[0] == pytest.approx(float(known.median("member").mean()))


def one_wet_decade():
    return describe_rain(pd.Series(5.0, pd.date_range("2001-01-01", "2010-12-31")))


@pytest.mark.parametrize(
    "draw, data, words",
    [
        (annual_figure, lambda: totals() * np.nan, "no year is complete"),
        (skill_figure, lambda: skill() * np.nan, "not known"),
        (spells_figure, one_wet_decade, "once a year"),
        (double_mass_figure, lambda: mass().isel(year=slice(0)), "no neighbour to compare with"),
        (partial(return_levels_figure, years=3), lambda: levels() * np.nan, "too few heavy days to say"),
    ],
)
def test_what_there_is_nothing_to_show_of_is_said(draw, data, words):
    assert set(texts(draw(data()))) == {words}


def test_bars_have_the_lengths_of_the_errors():
    data = skill()
    figure = skill_figure(data)
    axes = figure.axes[0]
    for i, name in enumerate(SKILLS):
        for j, filling in enumerate(data.way_filled.values):
            assert artist(axes, f"{filling} {i}").get_width() == pytest.approx(100 * data[name].values[j])
    assert "+110.0" in texts(figure) and "−5.0" in texts(figure)


def test_months_spells_and_index_show_the_description():
    found = described()
    bars = artist(monthly_figure(found).axes[0], "bars").get_segments()
    np.testing.assert_allclose([segment[1, 1] for segment in bars], found.month_mean)
    axes = spells_figure(found).axes[0]
    np.testing.assert_array_equal(artist(axes, "spells").get_ydata(), found.spells_a_year)
    assert artist(axes, "longest").get_xdata() == [int(found.dry_spell.max())]
    spi = found.spi.sel(scale=6)
    axes = spi_figure(spi).axes[0]
    for name, worst in (("dry", float(spi.min())), ("wet", float(spi.max()))):
        drawn = artist(axes, name).get_paths()[0].vertices[:, 1]
        assert (drawn.min() if worst < 0 else drawn.max()) == pytest.approx(worst)


def test_the_double_mass_line_ends_at_the_sums():
    data = mass()
    axes = double_mass_figure(data).axes[0]
    np.testing.assert_allclose(artist(axes, "years").get_ydata(), data.here / 1000)
    np.testing.assert_allclose(
        artist(axes, "line").get_xydata()[-1], [data.there[-1] / 1000, data.here[-1] / 1000]
    )


@pytest.mark.parametrize("start, words", [(1, "Calendar year"), (6, "Hydrological year (named by")])
def test_the_axis_says_which_years_are_meant(start, words):
    figure = annual_figure(totals().assign_attrs(year_start_month=start))
    assert figure.axes[0].get_xlabel().startswith(words)


def test_a_label_of_years_is_a_whole_year_and_no_error_is_minus_nought():
    figure = annual_figure(totals(1, 9))
    figure.draw_without_rendering()
    assert all(float(tick).is_integer() for tick in figure.axes[0].get_xticks())
    assert "+0.0" in texts(skill_figure(skill() * 0 - 1e-5))
    assert "−0.0" not in texts(skill_figure(skill() * 0 - 1e-5))


def test_levels_band_and_end_of_the_record():
    figure = return_levels_figure(levels(), 30)
    np.testing.assert_allclose(artist(figure.axes[0], "line").get_ydata(), levels().return_level)
    band = artist(figure.axes[0], "band").get_paths()[0].vertices
    assert band[:, 1].max() == pytest.approx(154) and band[:, 1].min() == pytest.approx(32)
    assert artist(figure.axes[0], "end").get_xdata()[0] == 30
    assert figure.axes[0].get_ylim()[1] >= 154


def test_an_interval_that_could_not_be_had_is_not_drawn():
    figure = return_levels_figure(levels(known=3), 30)
    assert artist(figure.axes[0], "band").get_paths()[0].vertices[:, 0].max() == 10
    assert artist(figure.axes[0], "line").get_xdata()[-1] == 100
