"""Fixtures that every stage's tests share."""

import numpy as np
import pytest


@pytest.fixture
def rng():
    """A seeded generator, made anew for each test."""
    return np.random.default_rng(20260101)
