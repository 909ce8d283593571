"""The weather of a station or a grid, checked, and one station's formula applied to all of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.demand.calendar import as_days
from rainharvest.errors import InputError

# What no weather station has measured: a value outside is a wrong unit or a wrong column.
LIMITS = {
    "tmax": (-90.0, 60.0),
    "tmin": (-90.0, 60.0),
    "tmean": (-90.0, 60.0),
    "dew_point": (-90.0, 40.0),
    "rhmax": (0.0, 100.0),
    "rhmin": (0.0, 100.0),
    "vapour_pressure": (0.0, 8.0),
    "wind": (0.0, 60.0),
    "sunshine": (0.0, 24.0),
    "solar": (0.0, 45.0),
    "soil_heat": (-20.0, 20.0),
    "latitude": (-90.0, 90.0),
    "elevation": (-450.0, 6000.0),
}


def checked_weather(**given) -> dict[str, xr.DataArray]:
    """Return the weather as DataArrays on the same days, after checking every value."""
    out = {}
    for name, value in given.items():
        if isinstance(value, pd.Series):
            value = xr.DataArray(value.to_numpy(dtype=float), {"time": value.index}, ("time",))
        array = value if isinstance(value, xr.DataArray) else xr.DataArray(float(value))
        array = array.reset_coords(drop=True).astype(float)
        if "time" in array.dims:
            array = array.assign_coords(time=as_days(array))
        out[name] = array
    if "time" not in out["tmax"].dims:
        raise InputError("the temperatures have no days", "give series on dates", "tmax")
    days = out["tmax"].time
    for name, array in out.items():
        if "time" in array.dims and not array.time.to_index().equals(days.to_index()):
            raise InputError(f"{name} and tmax do not cover the same days", "cut both to the same days", name)
        low, high = LIMITS[name]
        _refuse(~np.isfinite(array), name, "has no value", "leave those days out or fill them")
        _refuse(
            (array < low) | (array > high), name, f"is not between {low:g} and {high:g}", "check its unit"
        )
    _refuse(out["tmin"] > out["tmax"], "tmin", "is above tmax", "check that the two are not exchanged")
    return out


def _refuse(bad: xr.DataArray, name: str, what: str, remedy: str) -> None:
    """Raise if any day is bad, naming the first."""
    if not bool(bad.any()):
        return
    where = "" if "time" not in bad.dims else _first_day(bad)
    raise InputError(f"{name} {what}{where}", remedy, name)


def _first_day(bad: xr.DataArray) -> str:
    per_day = bad.any([d for d in bad.dims if d != "time"])
    first = str(per_day.time.values[per_day.values][0])[:10]
    return f" on {int(per_day.sum())} days, the first {first}"


def each_station(one, given: dict[str, xr.DataArray]) -> xr.DataArray:
    """Apply a function of one station's weather to every station."""
    names = list(given)
    index = given["tmax"].time.to_index()

    def station(*values):
        result = np.asarray(one(index, **dict(zip(names, values, strict=True))), dtype=float)
        return np.maximum(result, 0.0)

    constant = ("latitude", "elevation")
    arrays = [
        a
        if n in constant
        else a.broadcast_like(
            given["tmax"].isel({d: 0 for d in given["tmax"].dims if d != "time"}, drop=True)
        )
        for n, a in given.items()
    ]
    return xr.apply_ufunc(
        station,
        *arrays,
        input_core_dims=[[] if n in constant else ["time"] for n in names],
        output_core_dims=[["time"]],
        vectorize=True,
    )
