"""Rules, terms, holidays and growth, on calendars that pass over leap days and new years."""

import datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from rainharvest import InputError
from rainharvest.demand.periods import check_rule, in_period
from rainharvest.demand.tables import Calendar, Visit
from rainharvest.demand.uses import calendar_days

CENTURY = pd.date_range("1950-01-01", "2049-12-31")


def days_of(rule, first="1950-01-01", last="2049-12-31"):
    days = pd.date_range(first, last)
    return [str(d.date()) for d in days[in_period([rule], days)]]


def test_a_century_has_the_days_that_a_plain_calendar_counts():
    # An independent count with the standard library, day by day.
    days = calendar_days(Calendar(holidays=["12-25", "12-31 to 01-02"]), CENTURY)
    results = 0
    day = datetime.date(1950, 1, 1)
    while day <= datetime.date(2049, 12, 31):
        closed = (day.month, day.day) in {(12, 25), (12, 31), (1, 1), (1, 2)}
        results += day.weekday() < 5 and not closed
        day += datetime.timedelta(days=1)
    assert int(days.working.sum()) == results
    assert len(CENTURY) == 100 * 365 + 25


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("2024-02-29", 1),
        ("02-29", 25),  # 25 leap years from 1950 to 2049
        ("02-01 to 02-29", 100 * 28 + 25),
        ("02-29 to 03-01", 100 + 25),  # 1 March alone in a common year, two days in a leap year
        ("12-15 to 01-10", 99 * 27 + 10 + 17),  # the record begins and ends inside the span
        ("01-01 to 12-31", 100 * 365 + 25),
        ("sun", 5218),
        ("first mon of 05", 100),
        ("easter", 100),
        ("easter-2 to easter+1", 400),
    ],
)
def test_days_of_a_rule_over_a_century(rule, expected):
    assert len(days_of(rule)) == expected


def test_century_years_without_a_leap_day():
    assert days_of("02-29", "1899-01-01", "1904-12-31") == ["1904-02-29"]
    assert days_of("02-28 to 02-29", "1900-02-01", "1900-03-05") == ["1900-02-28"]


def test_known_dates():
    # Easter Sundays and Mondays of the month as any printed calendar has them.
    easter = days_of("easter", "2023-01-01", "2026-12-31")
    assert easter == ["2023-04-09", "2024-03-31", "2025-04-20", "2026-04-05"]
    assert days_of("last mon of 08", "2024-01-01", "2025-12-31") == ["2024-08-26", "2025-08-25"]
    assert days_of("second tue of 10", "2024-01-01", "2024-12-31") == ["2024-10-08"]


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("13-01", "month first"),
        ("02-30", "no day"),
        ("summer", "not a day or a span"),
        ("2024-02-01 to 2024-01-01", "before it begins"),
        ("2024-02-01 to 03-01", "one end only"),
        ("easter+1 to easter-1", "before it begins"),
        ("last mon of 13", "month 13"),
        ("", "not a day or a span"),
        ("01-01 to 02-01 to 03-01", "not a day or a span"),
    ],
)
def test_rules_that_name_no_day_are_refused(rule, words):
    with pytest.raises(InputError, match=words):
        check_rule(rule)


@settings(deadline=None)
@given(
    st.dates(datetime.date(1890, 1, 1), datetime.date(2110, 1, 1)),
    st.integers(1, 12),
    st.integers(1, 28),
    st.integers(1, 12),
    st.integers(1, 28),
)
def test_a_yearly_span_covers_what_month_and_day_say(first, m1, d1, m2, d2):
    days = pd.date_range(first, periods=800)
    got = in_period([f"{m1:02}-{d1:02} to {m2:02}-{d2:02}"], days)
    at = [(d.month, d.day) for d in days]
    a, b = (m1, d1), (m2, d2)
    expected = [(a <= x <= b) if a <= b else (x >= a or x <= b) for x in at]
    assert got.tolist() == expected


def test_terms_holidays_and_weekdays_together():
    calendar = Calendar(terms=["2024-01-08 to 2024-01-19"], holidays=[datetime.date(2024, 1, 15)])
    days = calendar_days(calendar, pd.date_range("2024-01-01", "2024-01-31"))
    results = days.time.values[days.working.values].astype("datetime64[D]").astype(str)
    assert list(results) == [f"2024-01-{d:02}" for d in (8, 9, 10, 11, 12, 16, 17, 18, 19)]
    assert int(days.term.sum()) == 12


def test_growth_steps_once_a_year_in_its_month_and_stops():
    calendar = Calendar(growth=0.1, growth_month=9, growth_years=2)
    days = calendar_days(calendar, pd.date_range("2023-01-01", "2027-12-31"))
    factor = days.growth_factor
    steps = {"2023-08-31": 0, "2023-09-01": 1, "2024-02-29": 1, "2024-09-01": 2, "2027-12-31": 2}
    for day, taken in steps.items():
        assert float(factor.sel(time=day)) == pytest.approx(1.1**taken)


def test_seasonal_load_and_visitors():
    calendar = Calendar(
        seasonal=[1, 2] + [1] * 10,
        visits=[Visit(people=30, days=["sat", "sun"]), {"people": 5, "days": "02-01"}],
    )
    days = calendar_days(calendar, pd.date_range("2025-01-30", "2025-02-03"))  # Thursday to Monday
    assert days.seasonal_load.values.tolist() == [1, 1, 2, 2, 2]
    assert days.visitors.values.tolist() == [0, 0, 35, 30, 0]


@pytest.mark.parametrize(
    ("given", "key"),
    [
        ({"working_days": []}, "working_days"),
        ({"working_days": ["mon", "Monday"]}, "working_days"),
        ({"holidays": ["32-01"]}, "holidays"),
        ({"growth": 3}, "growth"),
        ({"growth": float("nan")}, "growth"),
        ({"seasonal": [-1.0] + [1.0] * 11}, "seasonal"),
        ({"visits": [{"people": 3, "days": []}]}, "visits"),
        ({"weekdays": ["mon"]}, "weekdays"),
    ],
)
def test_a_bad_calendar_names_its_key(given, key):
    with pytest.raises(ValidationError) as caught:
        Calendar(**given)
    assert caught.value.errors()[0]["loc"][0] == key
    assert caught.value.error_count() == 1


def test_days_without_dates_are_refused():
    with pytest.raises(InputError, match="no dates"):
        calendar_days(Calendar(), pd.Series([1.0, 2.0]))
    with pytest.raises(InputError, match="no day"):
        calendar_days(Calendar(), pd.DatetimeIndex([]))


def test_a_series_gives_its_days():
    rain = pd.Series(np.zeros(3), pd.date_range("2024-02-28", periods=3))
    assert calendar_days(Calendar(), rain).sizes["time"] == 3
    assert calendar_days(Calendar(), rain.to_xarray().rename(index="time")).sizes["time"] == 3
