"""Present worth against a solved problem."""

import pytest

from rainharvest import InputError
from rainharvest.sizing.costs import present_worth_factor


def test_present_worth_to_the_cent():
    """A solved problem quoted on a question page: 3.5 %, 20 years, P/A 14.2124 as printed there."""
    factor = round(present_worth_factor(0.035, 20), 4)
    assert factor == 14.2124
    assert 5_000_000 + 150_000 * factor == pytest.approx(7_131_860.00, abs=1)
    assert 1_500_000 * present_worth_factor(0.035, 20) == pytest.approx(21_318_604.95, abs=0.01)
    assert 5_000_000 + 150_000 * present_worth_factor(0.035, 20) == pytest.approx(7_131_860.50, abs=0.01)


def test_no_interest_spreads_evenly_and_bad_input_is_refused():
    assert 1000.0 / present_worth_factor(0.0, 20) == 50.0
    for rate, life in ((-0.1, 20), (0.04, 0)):
        with pytest.raises(InputError):
            present_worth_factor(rate, life)
