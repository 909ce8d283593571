"""Present worth and annual cost against solved problems."""

import pytest

from rainharvest import InputError
from rainharvest.sizing.costs import annual_cost, present_worth_factor


@pytest.mark.parametrize(
    ("capital", "upkeep", "printed"),
    [(1_500_000, 300_000, 430_800), (2_874_000, 209_000, 459_613), (2_662_000, 258_000, 490_126)],
)
def test_annual_cost_of_davis(capital, upkeep, printed):
    """Davis, Water and Wastewater Engineering, chapter 1, problem 2, as quoted in a solution sheet.

    The sheet rounds A/P at 6 % and 20 years to 0.0872, which moves the answer by 0.02 %.
    """
    assert 1 / present_worth_factor(0.06, 20) == pytest.approx(0.0872, abs=5e-5)
    assert annual_cost(capital, upkeep, 0.06, 20) == pytest.approx(printed, rel=2e-4)


def test_present_worth_to_the_cent():
    """A solved problem quoted on a question page: 3.5 %, 20 years, P/A 14.2124 as printed there."""
    factor = round(present_worth_factor(0.035, 20), 4)
    assert factor == 14.2124
    assert 5_000_000 + 150_000 * factor == pytest.approx(7_131_860.00, abs=1)
    assert 1_500_000 * present_worth_factor(0.035, 20) == pytest.approx(21_318_604.95, abs=0.01)
    assert 5_000_000 + 150_000 * present_worth_factor(0.035, 20) == pytest.approx(7_131_860.50, abs=0.01)


def test_no_interest_spreads_evenly_and_bad_input_is_refused():
    assert annual_cost(1000.0, 5.0, 0.0, 20) == 55.0
    for rate, life in ((-0.1, 20), (0.04, 0)):
        with pytest.raises(InputError):
            present_worth_factor(rate, life)
