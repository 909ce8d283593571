"""Checks on real records (data files inside the package aquacrop): known faults found, little else said."""

import numpy as np
import pandas as pd
import pytest
from real_records import aquacrop

from rainharvest.rainfall.check import check_rain
from rainharvest.rainfall.check_days import dry_runs, empty_months
from rainharvest.rainfall.check_neighbours import compare_with_gauge


def test_champion_has_winters_written_as_zeros():
    """Runs of 226 and 194 zeros in the winters of 1982 to 1985: measured on this file for this project.

    The shorter one is left in peace: beside the other winters of the file it may be a drought.
    """
    table = check_rain(aquacrop("champion"))
    zeros = table[table["check"] == "false zeros"]
    longest = zeros.set_index("days").loc[226]
    assert longest.first_day == pd.Timestamp("1984-10-12") and longest.flag == "suspect"


@pytest.mark.parametrize("name", ["brussels", "hyderabad", "cordoba", "tunis"])
def test_dry_seasons_and_clean_gauges_are_believed(name):
    table = check_rain(aquacrop(name))
    assert not (table["severity"] == "wrong").any()
    doubted = table[table["flag"] != ""]
    assert len(doubted) <= 1, doubted["reason"].tolist()  # Tunis: a March without rain, the only one of 24


def test_dry_summers_that_were_observed_are_believed():
    """Two checks state 0.01 false alarms a record each; invented records, by a generator of this test's own."""
    alarms = 0
    for seed in range(40):
        rng, days = np.random.default_rng(seed), pd.date_range("1980-03-01", periods=30 * 365)
        winter = (1 + np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 15) / 365.25)) / 2
        wetter = np.exp(0.3 * rng.standard_normal(31))[days.year - 1980]
        begins = np.clip((0.005 + 0.3 * winter**1.5) * wetter, 0, 0.7)
        wet, chances = np.zeros(len(days), dtype=bool), rng.random(len(days))
        for day in range(1, len(days)):
            wet[day] = chances[day] < begins[day] + 0.3 * wet[day - 1]
        rain = np.where(wet, rng.gamma(0.8, 8, len(days)).round(1), 0.0)
        alarms += any(True for check in (dry_runs, empty_months) for _ in check(rain, days))
    assert alarms <= 3  # 0.8 expected at most by what the checks state


def test_tunis_ends_within_a_year():
    table = check_rain(aquacrop("tunis"))
    (last,) = table[table["check"] == "completeness"].itertuples()
    assert last.days == 214 and "2002" in last.reason


def test_points_of_a_grid_are_told_from_gauges():
    names = ("cambridge", "suffolk", "norfolk", "lincolnshire", "north_yorks", "northumberland")
    records = [aquacrop(name) for name in names]
    for number, record in enumerate(records):
        table = check_rain(record, records[:number] + records[number + 1 :])
        assert "gridded" in set(table["check"]) and not (table["severity"] == "wrong").any()
        assert set(table["flag"]) == {""}, table["reason"].tolist()
    assert "gridded" not in set(check_rain(aquacrop("brussels"))["check"])


def test_points_of_a_grid_are_known_beside_a_gauge():
    found = compare_with_gauge(aquacrop("brussels"), aquacrop("cambridge"))
    assert found.looks_gridded.values.tolist() == [False, True] and float(found.zero_share[1]) < 0.1
