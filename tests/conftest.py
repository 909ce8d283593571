"""What every stage's tests share."""

import numpy as np
import pytest
from hypothesis import settings

# No test fails for being slow: a loaded machine is not a defect.
settings.register_profile("house", deadline=None)
settings.load_profile("house")


@pytest.fixture(scope="session", autouse=True)
def kept_results(tmp_path_factory):
    """Studies run by several tests are worked once; nothing of the tests reaches the user's cache folder."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RAINHARVEST_CACHE", str(tmp_path_factory.mktemp("kept")))
        yield


@pytest.fixture
def rng():
    """A seeded generator, made anew for each test."""
    return np.random.default_rng(20260101)
