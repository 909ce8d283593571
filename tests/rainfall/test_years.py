"""Tests for breaks and for a trend: the Nile at Aswan, hand counts, and libraries of the same tests."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest.core.errors import InputError
from rainharvest.rainfall.check_years import buishand_range, mann_kendall, pettitt, snht, von_neumann_ratio

# annual flow of the Nile at Aswan 1871-1970, 10^8 m3 (Cobb 1978; the data set "Nile" of R)
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799,
    958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916,
    692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862,
    698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846,
    812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815,
    1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


@pytest.mark.parametrize(
    ("test", "statistic", "tolerance", "chance"),
    [
        # K and p 3.59e-7: measured with pyhomogeneity and by hand for this project
        (pettitt, 1617, 0, 3.6e-7),
        (snht, 43.219, 5e-4, 1e-3),  # T0 with the standard deviation of a sample (divisor n - 1)
        (buishand_range, 2.9666, 5e-5, 1e-3),  # the rescaled range
    ],
)
def test_breaks_of_the_nile(test, statistic, tolerance, chance):
    assert len(NILE) == 100 and np.mean(NILE) == pytest.approx(919.35)
    found = test(NILE)
    assert found.statistic == pytest.approx(statistic, abs=tolerance) and found.before == 28
    assert found.p < chance


def test_against_pyhomogeneity():
    """Its statistics; its chances are unseeded simulations, so only their neighbourhood is compared."""
    other = pytest.importorskip("pyhomogeneity")
    rng = np.random.default_rng(11)
    for x in (np.array(NILE, dtype=float), np.r_[rng.normal(0, 1, 15), rng.normal(1, 1, 20)]):
        theirs = other.pettitt_test(x, sim=2000)
        ours = pettitt(x)
        assert ours.statistic == pytest.approx(theirs.U) and ours.before == theirs.cp
        theirs = other.buishand_range_test(x, sim=5000)
        assert buishand_range(x).statistic == pytest.approx(theirs.R)
        assert buishand_range(x).p == pytest.approx(theirs.p, abs=0.03)
        theirs = other.snht_test(x, sim=5000)
        ours = snht(x)
        n = len(x)  # theirs divides by n, ours by n - 1
        assert min(abs(ours.statistic - theirs.T), abs(ours.statistic * n / (n - 1) - theirs.T)) < 1e-9
        assert ours.before == theirs.cp and ours.p == pytest.approx(theirs.p, abs=0.03)


def test_chances_are_repeatable_and_even_without_a_break():
    """Under no break, one series in twenty is called broken at the 5 % level, and the same one each time."""
    rng = np.random.default_rng(12)
    series = rng.normal(size=(400, 30))
    for test in (snht, buishand_range, von_neumann_ratio):
        chances = np.array([test(x).p for x in series])
        assert abs((chances < 0.05).mean() - 0.05) < 0.035, test.__name__
        assert (chances == [test(x).p for x in series]).all()
    assert np.mean([pettitt(x).p < 0.05 for x in series]) < 0.06  # its formula errs on the safe side


@pytest.mark.parametrize("bad", [[1, 2, 3], [1, 2, np.nan, 4, 5, 6]])
@pytest.mark.parametrize("test", [pettitt, snht, buishand_range, von_neumann_ratio])
def test_short_or_ragged_series_are_refused(test, bad):
    with pytest.raises(InputError):
        test(bad)


def test_a_constant_series_has_no_break():
    for test in (pettitt, snht, buishand_range):
        found = test([3.0] * 12)
        assert found.statistic == 0 and found.p == pytest.approx(1, abs=1e-3)


def test_trend_of_the_nile():
    found = mann_kendall(NILE)
    assert found.score == -1387
    assert found.z == pytest.approx(-4.128, abs=5e-4)
    assert found.slope == pytest.approx(-2.6, abs=0.05)
    assert found.slope_low < found.slope < found.slope_high < 0


def test_hand_count_with_ties():
    # pairs of 1 2 2 3: five rise, one is tied; variance (4*3*13 - 2*1*9)/18
    found = mann_kendall([1, 2, 2, 3])
    assert found.score == 5 and found.z == pytest.approx(4 / np.sqrt((156 - 18) / 18))


@pytest.mark.parametrize("correlated", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_trend_against_the_library(correlated, seed):
    library = pytest.importorskip("pymannkendall")
    rng = np.random.default_rng(seed)
    series = (
        np.array(NILE, float)
        if seed == 0
        else np.round(np.cumsum(rng.normal(size=40)) + rng.normal(size=40), 1)
    )
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
