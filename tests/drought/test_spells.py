"""Longest dry spells: the exact formula against every sequence, against generated days, and a record's fit."""

import itertools

import numpy as np
import pandas as pd
import pytest

from rainharvest import InputError
from rainharvest.drought.dry_years import longest_in_years, spells_by_month
from rainharvest.rainfall.climatology import dry_spells


def longest(days):
    return max((len(list(run)) for dry, run in itertools.groupby(days) if dry), default=0)


@pytest.mark.parametrize("p", [0.3, 0.5, 0.85])
def test_every_sequence_of_twelve_days(p, no_longer_run):
    chance = np.zeros(13)
    for days in itertools.product([False, True], repeat=12):
        chance[longest(days)] += p ** sum(days) * (1 - p) ** (12 - sum(days))
    found = no_longer_run(12, p)
    np.testing.assert_allclose(found, np.cumsum(chance)[: found.size], atol=1e-12)


def test_independent_days_through_the_record_code(rng, no_longer_run):
    """The longest spell that `dry_spells` finds in independent days is as long as the formula says."""
    p, years = 0.8, 150
    found = []
    for _ in range(years):
        rain = pd.Series(np.where(rng.random(365) < p, 0.0, 5.0), pd.date_range("2001-01-01", periods=365))
        found.append(dry_spells(rain).dry_spell.max().item())
    chances = no_longer_run(365, p)
    expected = (1 - chances).sum()
    error = np.std(found) / np.sqrt(years)
    assert abs(np.mean(found) - expected) < 4 * error
    for length in (15, 20, 25, 30):
        stated = chances[length]
        seen = np.mean(np.array(found) <= length)
        assert abs(seen - stated) < 4 * np.sqrt(stated * (1 - stated) / years)


def test_the_fit_to_yearly_longest_meets_the_formula(rng, no_longer_run):
    """From 60 years of independent days, the longest of 50 years lies where the exact formula has it."""
    p = 0.8
    exact = (1 - no_longer_run(50 * 365, p)).sum()
    found = []
    for _ in range(40):
        dry = rng.random((60, 365)) < p
        found.append(longest_in_years([longest(year) for year in dry], years=[50]).longest_expected.item())
    assert np.mean(found) == pytest.approx(exact, rel=0.06)


def invented_longest(season, persistence, years, rng):
    """Longest dry spell of each of several years whose wet days come and go by season and follow one another.

    A day is as the one before it unless its own number lies outside what persistence leaves open.
    """
    wet = np.clip(np.exp(0.12 * rng.standard_normal((years, 1))) * season, 0, 0.97)
    number = rng.random((years, 365))
    surely_wet, not_surely_dry = number < wet * (1 - persistence), number < wet + persistence * (1 - wet)
    decides = np.where((surely_wet == not_surely_dry).ravel(), np.arange(years * 365), 0)
    dry = ~surely_wet.ravel()[np.maximum.accumulate(decides)]
    edges = np.diff(np.concatenate([[0], dry.astype(int), [0]]))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    found = np.zeros(years)
    np.maximum.at(found, begins // 365, ends - begins)
    return found


DAY = 2 * np.pi * np.arange(365) / 365

CLIMATES = {  # invented: chance of a wet day through the year, and how much of yesterday stays
    "even": (np.full(365, 0.3), 0.0),
    "temperate": (0.42 + 0.06 * np.cos(DAY), 0.35),
    "dry summer": (np.maximum(0.30 - 0.27 * np.cos(DAY), 0.02), 0.35),
    "arid": (np.full(365, 0.05), 0.25),
}


def test_eight_of_ten_hold_the_years_to_come(rng):
    """Fifteen years of record, ten to come, 160 times in each of four climates.

    Two standard errors of a share are 0.03; Gumbel's band alone held 0.75 of the 640.
    """
    held = {}
    for name, climate in CLIMATES.items():
        inside = []
        for years in invented_longest(*climate, 160 * 25, rng).reshape(160, 25):
            found = longest_in_years(years[:15], years=[10])
            # as they are printed
            low, high = (round(found.longest_low.item()), round(found.longest_high.item()))
            inside.append(low <= years[15:].max() <= high)
        held[name] = np.mean(inside)
    print(held)
    assert np.mean(list(held.values())) == pytest.approx(0.81, abs=0.035)
    assert min(held.values()) > 0.72  # 0.79 less two standard errors of 160


def test_months_of_long_spells():
    days = pd.date_range("2001-01-01", "2010-12-31")
    rain = pd.Series(np.where(days.month.isin([6, 7]), 0.0, 3.0), days)
    found = spells_by_month(dry_spells(rain), 10.0, 20)
    assert found.sel(calendar_month=6) == 1 and float(found.sum()) == 1


def test_bad_input_is_named():
    with pytest.raises(InputError, match="10 or more"):
        longest_in_years([10.0] * 5)
