"""What the drought stage's tests share."""

from pathlib import Path

import numpy as np
import pytest

from rainharvest.drought.panel import prepare_drought


@pytest.fixture(scope="session")
def school():
    """The study file of the demo school (invented)."""
    return Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


@pytest.fixture(scope="session")
def basis(school):
    """What the drought stage works on in that study."""
    return prepare_drought(school)


@pytest.fixture(scope="session")
def no_longer_run():
    """The chance that so many independent days hold no dry spell longer than each length, to the longest.

    With a chance p of a dry day, the chance a_n that n days hold no run of k dry days is a_n = 1 for n < k,
    a_k = 1 - p^k, a_n = a_(n-1) - p^k (1 - p) a_(n-k-1): Feller (1968), An Introduction to Probability Theory
    and Its Applications, volume 1, chapter XIII, from memory; tested below against every sequence of 12 days.
    """

    def chances(days, p):
        out = []
        while not out or (len(out) <= days and 1 - out[-1] >= 1e-9):
            k = len(out) + 1
            none = [1.0] * (days + 1)
            if k <= days:
                none[k] = 1 - p**k
                for n in range(k + 1, days + 1):
                    none[n] = none[n - 1] - p**k * (1 - p) * none[n - k - 1]
            out.append(none[days])
        return np.array(out)

    return chances
