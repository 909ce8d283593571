"""Hourly rain of three airports, read once."""

import pytest
import real_records


@pytest.fixture(scope="session")
def airports():
    """Return rain in mm/h by airport: EWR, JFK, LGA."""
    return real_records.airports()
