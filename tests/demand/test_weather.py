"""A daily weather file: read, refused in words, and the evapotranspiration that a study's garden feels."""

import numpy as np
import pandas as pd
import pytest

from rainharvest import InputError
from rainharvest.core.mistakes import StudyFileError
from rainharvest.demand.evapotranspiration import hargreaves, penman_monteith, solar_from_temperatures
from rainharvest.demand.weather import from_weather, read_weather
from rainharvest.study.file import read_study
from rainharvest.study.run import study_results

YEAR = pd.date_range("2015-01-01", "2015-12-31")
LYON = pd.DataFrame({"tmax": 26.6, "tmin": 14.8}, YEAR)  # FAO-56 example 20, its July all year: invented
JULY = pd.DatetimeIndex(["2015-07-15"])


def test_temperatures_alone_give_the_published_value():
    assert float(from_weather(LYON, JULY, 45 + 43 / 60)[0]) == pytest.approx(5.03, abs=0.02)
    found = from_weather(LYON, JULY, 45 + 43 / 60)
    assert "Hargreaves" in found.attrs["assumptions"] and found.attrs["units"] == "mm/day"


def test_wind_gives_penman_monteith_with_what_the_file_knows():
    # FAO-56 example 20: 2 m/s of wind, radiation from temperatures, dew point the lowest temperature: 4.56.
    found = from_weather(LYON.assign(wind=2.0), JULY, 45 + 43 / 60, 200)
    assert float(found[0]) == pytest.approx(4.56, abs=0.03)
    # FAO-56 example 18: Uccle, 6 July, 3.88.
    uccle = {"tmax": 21.5, "tmin": 12.3, "rhmax": 84, "rhmin": 63, "wind": 10 / 3.6, "sunshine": 9.25}
    day = pd.DataFrame(uccle, pd.date_range("2015-07-06", periods=1))
    found = from_weather(day, day.index, 50.8, 100, wind_height=10)
    assert float(found[0]) == pytest.approx(3.88, abs=0.02)
    with pytest.raises(InputError, match="site.elevation: a weather file with wind needs the height"):
        from_weather(LYON.assign(wind=2.0), JULY, 45.0)


def test_a_day_without_a_value_has_the_mean_of_its_month():
    holed = LYON.copy()
    holed.loc["2015-03-05", "tmin"] = np.nan
    known = hargreaves(LYON.tmax, LYON.tmin, 45.0)
    found = from_weather(holed, pd.date_range("2015-03-01", "2016-03-31"), 45.0)
    march = known.sel(time="2015-03").drop_sel(time="2015-03-05").mean()
    assert float(found.sel(time="2015-03-05")) == pytest.approx(float(march))
    assert float(found.sel(time="2016-03-17")) == pytest.approx(float(march))
    np.testing.assert_array_equal(found.sel(time="2015-04"), known.sel(time="2015-04"))
    assert f"; {1 + 91} days have the mean of their month" in found.attrs["assumptions"]
    with pytest.raises(InputError, match="month 1 has no day"):
        from_weather(LYON.loc["2015-07":"2015-08"], YEAR, 45.0)


def written(folder, text, name="weather.csv"):
    (folder / name).write_text(text)
    return folder / name


def test_a_file_is_read_whatever_the_order_of_its_lines(tmp_path):
    path = written(
        tmp_path, "# invented\ndate, tmin, tmax, wind\n2015-07-02, 12, 25, 2\n2015-07-01, 10, , 1.5\n"
    )
    table = read_weather(path)
    assert list(table.columns) == ["tmin", "tmax", "wind"] and table.index[0] == pd.Timestamp("2015-07-01")
    assert table.isna().sum().tolist() == [0, 1, 0] and table.tmax.iloc[1] == 25


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "weather.csv: it cannot be read as a table"),
        (
            "date,tmin\n2015-07-01,4\n",
            r"weather.csv: it has no column tmax; give columns named date, tmax \(degC\)",
        ),
        ("date,tmin,tmax,rain\n2015-07-01,4,9,2\n", 'weather.csv: rain: no weather is called "rain"'),
        (
            "date,tmin,tmax\n01/07/2015,4,9\n",
            'weather.csv: date: "01/07/2015" is not a day; write it as 2015-07-06',
        ),
        ("date,tmin,tmax\n2015-07-01,4,9\n2015-07-01,5,9\n", 'date: "2015-07-01" is there twice'),
        ("date,tmin,tmax\n2015-07-01,4,warm\n", 'weather.csv: tmax: "warm" is not a number'),
    ],
)
def test_a_bad_file_says_what_is_wrong(tmp_path, text, words):
    with pytest.raises(InputError, match=words):
        read_weather(written(tmp_path, text))


STUDY = """
title = "A garden"
[site]
name = "Invented"
latitude = 45.7
[rain]
file = "rain.csv"
members = 1
[[roof]]
name = "roof"
area = 100
[[garden]]
bed_area = 50
[weather]
file = "weather.csv"
[tank]
chosen = 3000
"""


def test_the_garden_of_a_study_feels_the_weather_of_its_file(tmp_path):
    days = pd.date_range("2014-01-01", "2015-12-31")
    rain = np.where(days.day == 1, 8.0, 0.0)
    written(tmp_path, pd.DataFrame({"date": days, "rain mm": rain}).to_csv(index=False), "rain.csv")
    weather = pd.DataFrame({"date": days, "tmax": 26.6, "tmin": 14.8})
    path = written(tmp_path, STUDY, "study.toml")
    written(tmp_path, weather.to_csv(index=False))
    one = study_results(path, cache="off", last="decision")
    # By the end of a dry month all that the plants take is given: lawn 0.85 ET0 by drip, 0.9 of it kept.
    evapotranspiration = hargreaves(LYON.tmax, LYON.tmin, 45.7)
    day = one.done.demand.sel(use="garden", time="2015-07-30")
    assert float(day) == pytest.approx(50 * 0.85 * float(evapotranspiration.sel(time="2015-07-30")) / 0.9)
    np.testing.assert_allclose(one.flows.evapotranspiration.sel(time="2015"), evapotranspiration)
    assert "Hargreaves" in one.done.demand.attrs["assumptions"]
    assert one.done.attrs["weather_file"] == "weather.csv" and len(one.done.attrs["weather_sha256"]) == 64
    # With wind the same file gives another demand, and needs the site's height.
    written(tmp_path, weather.assign(wind=3.0).to_csv(index=False))
    with pytest.raises(InputError, match="weather.csv: site.elevation"):
        study_results(path, cache="off", last="decision")
    written(tmp_path, STUDY.replace("[rain]", "elevation = 200\n[rain]"), "study.toml")
    other = study_results(path, cache="off", last="decision")
    sun = solar_from_temperatures(LYON.tmax, LYON.tmin, 45.7)
    expected = penman_monteith(LYON.tmax, LYON.tmin, 45.7, 200, 3.0, solar=sun, dew_point=LYON.tmin)
    np.testing.assert_allclose(other.flows.evapotranspiration.sel(time="2015"), expected)
    written(tmp_path, weather.assign(tmax=299.8).to_csv(index=False))
    with pytest.raises(InputError, match="weather.csv: tmax: tmax is not between -90 and 60 on 730 days"):
        study_results(path, cache="off", last="decision")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("latitude = 45.7\n", "", "how high the sun stands; give site.latitude"),
        ('file = "weather.csv"\n', "", "weather: the weather is needed once"),
        (
            'file = "weather.csv"\n',
            'file = "weather.csv"\nevapotranspiration = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]\n',
            "weather: the weather is needed once",
        ),
        ('"weather.csv"', '"other.csv"', "weather.file: there is no file"),
        ('"weather.csv"', '"weather.csv"\nwind_height = 0', "weather.wind_height"),
    ],
)
def test_a_study_says_what_its_weather_lacks(tmp_path, old, new, words):
    written(tmp_path, "date,tmin,tmax\n2015-07-01,4,9\n")
    written(tmp_path, "date,rain mm\n2015-07-01,4\n", "rain.csv")
    with pytest.raises((InputError, StudyFileError), match=words):
        read_study(written(tmp_path, STUDY.replace(old, new), "study.toml"))
