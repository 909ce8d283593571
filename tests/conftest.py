"""What every stage's tests share."""

import os

import numpy as np
import pytest
from hypothesis import settings

# No test fails for being slow: a loaded machine is not a defect.
settings.register_profile("house", deadline=None)
settings.load_profile("house")


def pytest_collection_modifyitems(items):
    """Benchmarks run by themselves, on a machine that does nothing else: pytest -m speed."""
    for item in items:
        if "benchmark" in getattr(item, "fixturenames", ()):
            item.add_marker("speed")


@pytest.fixture(scope="session", autouse=True)
def kept_results(tmp_path_factory):
    """Studies run by several tests are computed once; nothing of the tests reaches the user's cache folder."""
    base, beside = tmp_path_factory.getbasetemp(), "PYTEST_XDIST_WORKER" in os.environ
    kept = (base.parent if beside else base) / "kept"
    kept.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RAINHARVEST_CACHE", str(kept))
        if beside:  # the processors are taken: a second process of each worker would cost more than it gives
            patch.setattr(os, "cpu_count", lambda: 1)
        yield


@pytest.fixture
def rng():
    """A seeded generator, made anew for each test."""
    return np.random.default_rng(20260101)
