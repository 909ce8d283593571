"""When the mains supply, and what each use needs of its source."""

import numpy as np
import pandas as pd
import pytest

from rainharvest import InputError
from rainharvest.demand.mains import mains_by_rule, mains_by_week, mains_in_spells
from rainharvest.demand.tables import KINDS, QUALITIES, Use
from rainharvest.demand.uses import CLASSES, HOLDS, fit_for_use, may_serve, treatment_class

CENTURY = pd.date_range("1920-01-01", "2019-12-31")


def test_a_rule_over_a_century():
    on = mains_by_rule(CENTURY, ["02-29", "sun"])
    leap_not_sunday = sum(pd.Timestamp(y, 2, 29).weekday() != 6 for y in range(1920, 2020, 4))
    assert float((1 - on).sum()) == (CENTURY.weekday == 6).sum() + leap_not_sunday
    assert float(mains_by_rule(CENTURY).mean()) == 1
    assert mains_by_rule(CENTURY, "sun").identical(mains_by_rule(CENTURY, ["sun"]))
    assert on.attrs["units"] == "1" and "sun" in on.attrs["assumptions"]


def test_a_week_by_hand():
    on = mains_by_week(pd.date_range("2024-03-04", periods=7), {"Monday": 12, "sun": 0, "wed": 24})
    assert on.values.tolist() == [0.5, 1, 1, 1, 1, 1, 0]


@pytest.mark.parametrize(("length", "a_year"), [(0.25, 60), (3.0, 10), (20.0, 4)])
def test_random_spells_have_the_mean_length_and_frequency_asked_for(length, a_year):
    on = mains_in_spells(CENTURY, length, a_year, seed=11, scenarios=40)
    years = 40 * CENTURY.size / 365.25
    # n spells of exponential length: the total varies by sqrt(2 n) L; five of those are wide enough
    expected, spread = years * a_year * length, 5 * np.sqrt(2 * years * a_year) * length
    assert float((1 - on).sum()) == pytest.approx(expected, abs=spread)
    assert float(on.min()) >= 0 and float(on.max()) <= 1
    # from the first day on: a record that always began with mains would lack spells there
    share = a_year * length / 365.25
    first = 1 - mains_in_spells(CENTURY[:3], length, a_year, seed=12, scenarios=800).isel(time=0)
    assert float(first.mean()) == pytest.approx(share, abs=5 * np.sqrt(share * (1 - share) / 800))


def test_the_seed_repeats_and_scenarios_differ():
    days = CENTURY[:3000]
    once, again = (mains_in_spells(days, 2, 12, seed=5, scenarios=3) for _ in range(2))
    np.testing.assert_array_equal(once, again)
    assert not np.array_equal(once.sel(scenario=0), once.sel(scenario=1))
    np.testing.assert_array_equal(mains_in_spells(days, 2, 12, seed=5), once.sel(scenario=0))
    assert not np.array_equal(once, mains_in_spells(days, 2, 12, seed=6, scenarios=3))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((0, 12, 1), "above zero"),
        ((-2, 12, 1), "above zero"),
        ((2, float("nan"), 1), "above zero"),
        ((40, 12, 1), "fill more than the year"),
        ((2, 12, 1, 0), "scenarios"),
        ((2, 12, -1), "-1 is not a seed"),
        ((2, 12, 1.5), "1.5 is not a seed"),
        ((2, 12, "x"), "'x' is not a seed"),
    ],
)
def test_spells_that_cannot_be_are_refused(arguments, words):
    with pytest.raises(InputError, match=words):
        mains_in_spells(CENTURY[:10], *arguments)


def test_patterns_that_cannot_be_are_refused():
    with pytest.raises(InputError, match="hours"):
        mains_by_week(CENTURY[:10], {"mon": 25})
    with pytest.raises(InputError, match="day of the week"):
        mains_by_week(CENTURY[:10], {"someday": 5})
    with pytest.raises(InputError):
        mains_by_rule(CENTURY[:10], ["whenever"])
    with pytest.raises(InputError, match="no day"):
        mains_by_rule(CENTURY[:0], ["sun"])


def test_rain_alone_serves_only_what_needs_no_drinking_quality():
    # The rule of the trade: 'the uses that need no drinking quality'.
    assert [q for q in QUALITIES if may_serve("rain only", q)] == ["flushing", "outdoor", "livestock"]
    assert all(may_serve(a, q) for a in ("mains reserve", "combined") for q in QUALITIES)


@pytest.mark.parametrize("arrangement", HOLDS)
def test_every_use_has_a_class_and_potable_use_its_caution(arrangement):
    uses = [
        Use(
            name=k,
            kind=k,
            litres=None if kind.litres else 1.0,
            source="x" if not kind.litres else "",
            **{kind.counted: 2},
        )
        for k, kind in KINDS.items()
    ]
    table = fit_for_use(uses, arrangement)
    assert len(table) == len(KINDS)
    assert set(table["class"]) <= set(CLASSES)
    for row, use in zip(table.itertuples(), uses, strict=True):
        potable = use.quality in ("drinking", "washing")
        assert ("health authority" in row.mind) == potable
        assert ("never cross-connected" in row.mind) == (arrangement != "mains reserve")
        if potable and arrangement != "mains reserve":
            assert "disinfect" in row.treatment


def test_unknown_words_are_refused():
    with pytest.raises(InputError, match="choose one of drinking"):
        treatment_class("holy", "combined")
    with pytest.raises(InputError, match="choose one of mains reserve"):
        treatment_class("drinking", "rain and mains")
    with pytest.raises(InputError, match="there is no use"):
        fit_for_use([], "combined")
