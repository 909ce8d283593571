"""Break tests: the Nile's flow at Aswan, and a second opinion from an independent library."""

import numpy as np
import pytest

from rainharvest.core.errors import InputError
from rainharvest.rainfall.check_years import buishand_range, pettitt, snht, von_neumann_ratio

# annual flow of the Nile at Aswan 1871-1970, 10^8 m3 (Cobb 1978; the data set "Nile" of R)
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799,
    958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916,
    692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862,
    698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846,
    812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815,
    1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


def test_the_series_is_the_nile():
    assert len(NILE) == 100 and np.mean(NILE) == pytest.approx(919.35)


def test_pettitt_nile():
    """K 1617 after 28 values (1898), p 3.59e-7: measured with pyhomogeneity and by hand for this project."""
    found = pettitt(NILE)
    assert (found.statistic, found.before) == (1617, 28)
    assert found.p == pytest.approx(3.59e-7, rel=2e-3)


def test_snht_nile():
    """T0 43.219 with the standard deviation of a sample (divisor n - 1) after 28 values."""
    found = snht(NILE)
    assert found.statistic == pytest.approx(43.219, abs=5e-4) and found.before == 28
    assert found.p < 0.001


def test_buishand_nile():
    """Rescaled range 2.9666."""
    found = buishand_range(NILE)
    assert found.statistic == pytest.approx(2.9666, abs=5e-5) and found.before == 28 and found.p < 0.001


def test_against_pyhomogeneity():
    """Its statistics; its chances are unseeded simulations, so only their neighbourhood is compared."""
    other = pytest.importorskip("pyhomogeneity")
    rng = np.random.default_rng(11)
    for x in (
        np.array(NILE, dtype=float),
        rng.gamma(5, 100, 40),
        np.r_[rng.normal(0, 1, 15), rng.normal(1, 1, 20)],
    ):
        theirs = other.pettitt_test(x, sim=2000)
        ours = pettitt(x)
        assert ours.statistic == pytest.approx(theirs.U) and ours.before == theirs.cp
        theirs = other.buishand_range_test(x, sim=20000)
        assert buishand_range(x).statistic == pytest.approx(theirs.R)
        assert buishand_range(x).p == pytest.approx(theirs.p, abs=0.02)
        theirs = other.snht_test(x, sim=20000)
        ours = snht(x)
        n = len(x)  # theirs divides by n, ours by n - 1
        assert min(abs(ours.statistic - theirs.T), abs(ours.statistic * n / (n - 1) - theirs.T)) < 1e-9
        assert ours.before == theirs.cp and ours.p == pytest.approx(theirs.p, abs=0.02)


def test_chances_are_repeatable_and_even_without_a_break():
    """Under no break, one series in twenty is called broken at the 5 % level, and the same one each time."""
    rng = np.random.default_rng(12)
    series = rng.normal(size=(400, 30))
    for test in (snht, buishand_range, von_neumann_ratio):
        chances = np.array([test(x).p for x in series])
        assert abs((chances < 0.05).mean() - 0.05) < 0.035, test.__name__
        assert (chances == [test(x).p for x in series]).all()
    assert np.mean([pettitt(x).p < 0.05 for x in series]) < 0.06  # its formula errs on the safe side


def test_a_shift_is_placed():
    rng = np.random.default_rng(13)
    x = np.r_[rng.normal(0, 1, 25), rng.normal(3, 1, 15)]
    assert {t(x).before for t in (pettitt, snht, buishand_range)} == {25}


@pytest.mark.parametrize("bad", [[1, 2, 3], [1, 2, np.nan, 4, 5, 6]])
@pytest.mark.parametrize("test", [pettitt, snht, buishand_range, von_neumann_ratio])
def test_short_or_ragged_series_are_refused(test, bad):
    with pytest.raises(InputError):
        test(bad)


def test_a_constant_series_has_no_break():
    for test in (pettitt, snht, buishand_range):
        found = test([3.0] * 12)
        assert found.statistic == 0 and found.p == pytest.approx(1, abs=1e-3)
