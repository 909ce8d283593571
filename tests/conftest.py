"""What every stage's tests share."""

import numpy as np
import pytest
from hypothesis import settings

# No test fails for being slow: a loaded machine is not a defect.
settings.register_profile("house", deadline=None)
settings.load_profile("house")


@pytest.fixture
def rng():
    """A seeded generator, made anew for each test."""
    return np.random.default_rng(20260101)
