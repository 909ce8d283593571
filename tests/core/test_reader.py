"""The reader's form of numbers, units and dates."""

import math
import threading
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rainharvest.core.reader import (
    METRIC,
    US,
    US_UNITS,
    Reader,
    date,
    days,
    in_units,
    large_volume,
    litres,
    marks,
    measure,
    number,
    percent,
    reading,
)

# International yard and pound agreement of 1959 and the US liquid gallon, exact by definition.
INCH, POUND = Fraction(254, 10), Fraction(45359237, 10**8)
FOOT = 12 * INCH / 1000
GALLON = 231 * INCH**3 / 10**6
EXACT = {
    "m2": FOOT**2,
    "m": FOOT,
    "km": 5280 * FOOT / 1000,
    "mm": INCH,
    "mm/day": INCH,
    "mm/h": INCH,
    "mm/year": INCH,
    "m/s": FOOT,
    "m/s of wind": 5280 * FOOT / 3600,
    "L": GALLON,
    "L/day": GALLON,
    "L/year": GALLON,
    "L/s": GALLON / 60,
    "L/min": GALLON,
    "kL": GALLON,
    "m3": FOOT**3,
    "kg": POUND,
    "kPa": POUND * Fraction(980665, 10**5) / (INCH / 1000) ** 2 / 1000,
    "kN": POUND * Fraction(980665, 10**5) / 1000,
    "currency/L": 1 / GALLON,
    "currency/kL": 1 / GALLON,
    "currency/m2": 1 / FOOT**2,
    "currency/m": 1 / FOOT,
}


@pytest.mark.parametrize("unit", US_UNITS)
def test_conversions_are_exact(unit):
    assert US_UNITS[unit][1] == pytest.approx(float(EXACT[unit]), rel=4e-16, abs=0)
    assert set(EXACT) == set(US_UNITS)


@given(st.sampled_from(sorted(US_UNITS)), st.floats(1e-6, 1e9))
def test_there_and_back(unit, value):
    with reading(US):
        there, _ = in_units(value, unit)
    assert there * US_UNITS[unit][1] == pytest.approx(value, rel=1e-15)


def test_words_follow_the_reader():
    assert (litres(6_312.0), litres(18_432.0), measure(420, "m2")) == ("6,300 L", "18 kL", "420 m²")
    with reading(US):
        assert (litres(6_312.0), litres(18_432.0)) == ("1,700 gal", "4,900 gal")
        assert (measure(18, "m", 3), measure(100, "mm", 2), large_volume()[1]) == (
            "59.1 ft",
            "3.9 in",
            "1,000 gal",
        )
        assert (measure(0.41, "mm", 2), measure(912, "L/day", 2)) == ("0.016 in", "240 gal a day")
        assert date("2026-11-25") == "11/25/2026"
    assert litres(6_312.0) == "6,300 L" and date("2026-11-25") == "2026-11-25"
    assert (litres(5400 / (1 - 0.05 - 0.05), up=True), litres(6_001.0, up=True)) == ("6,000 L", "6,100 L")


@pytest.mark.parametrize(
    ("numbers", "shown"),
    [("1,234.5", "1,234.5"), ("1.234,5", "1.234,5"), ("1 234,5", "1\u00a0234,5"), ("1'234.5", "1’234.5")],
)
def test_numbers_in_the_readers_marks(numbers, shown):
    with reading(Reader(numbers=numbers)):
        assert number(1234.5) == shown == marks("1,234.5")
        assert days(0.44) == ("0.4 days" if "." in shown[-3:] else "0,4 days") and percent(0.914) == "91 %"


@pytest.mark.parametrize(
    ("dates", "shown"),
    [
        ("2026-11-25", "2024-03-09"),
        ("25/11/2026", "09/03/2024"),
        ("25.11.2026", "09.03.2024"),
        ("11/25/2026", "03/09/2024"),
    ],
)
def test_dates_in_the_readers_form(dates, shown):
    with reading(Reader(dates=dates)):
        assert date("2024-03-09") == shown


@given(st.floats(-1e12, 1e12, allow_nan=False), st.integers(1, 6))
def test_numbers_keep_their_figures(value, figures):
    text = number(value, figures)
    assert "e" not in text
    last = 10.0 ** (math.floor(math.log10(abs(value))) - figures + 1) if value else 0.0
    shown = float(text.replace(",", ""))
    assert (
        abs(shown - value) <= 0.5 * last * (1 + 1e-5) + 1e-10
    )  # a half goes up, with a hair's breadth below it
    assert len(f"{abs(shown):.10f}".replace(".", "").strip("0")) <= figures


def test_a_reader_holds_for_its_block_and_its_thread_only():
    seen = []
    with pytest.raises(KeyError), reading(US):
        other = threading.Thread(target=lambda: seen.append(litres(6_312.0)))
        other.start()
        other.join()
        raise KeyError
    assert seen == ["6,300 L"] and litres(6_312.0) == "6,300 L" and Reader() == METRIC
