"""Radiation of the sun: above the air from the date, at the ground from temperatures."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.demand.calendar import as_days
from rainharvest.demand.weather import checked_weather, each_station
from rainharvest.errors import InputError
from rainharvest.names import attributes


def radiation_above_air(time, latitude: float) -> xr.DataArray:
    """Return the radiation of the sun above the air, from the day of the year.

    Ra = (24 x 60/pi) Gsc dr [ws sin(phi) sin(d) + cos(phi) cos(d) sin(ws)].

    Parameters
    ----------
    time : DatetimeIndex, pandas Series or DataArray
        The days, or a series on them.
    latitude : float [degrees_north]
        South negative.

    Returns
    -------
    DataArray [MJ/m2/day]
        On ``time``.

    Raises
    ------
    InputError
        If there is no day or the latitude is not between -90 and 90.

    Notes
    -----
    Allen, Pereira, Raes and Smith 1998, FAO Irrigation and Drainage Paper 56, equation 21; computed by
    pyet.

    Examples
    --------
    FAO-56 example 8: 20 degrees south, 3 September.

    >>> import pandas as pd
    >>> float(radiation_above_air(pd.DatetimeIndex(["2015-09-03"]), -20).item())
    32.2
    """
    import pyet

    days = as_days(time)
    if not -90 <= latitude <= 90:
        raise InputError(f"a latitude of {latitude}", "give -90 to 90, south negative", "latitude")
    above = np.asarray(pyet.extraterrestrial_r(days, float(np.radians(latitude))), dtype=float)
    return xr.DataArray(
        above, {"time": days}, ("time",), name="radiation_above_air", attrs=attributes("radiation_above_air")
    )


def solar_from_temperatures(tmax, tmin, latitude, adjustment: float = 0.16) -> xr.DataArray:
    """Return the radiation at the ground where none was measured.

    Rs = k (Tmax - Tmin)^0.5 Ra.

    Parameters
    ----------
    tmax, tmin : DataArray or Series [degC]
        Largest and least temperature of each day.
    latitude : float or DataArray [degrees_north]
        South negative.
    adjustment : float [degC-0.5], optional
        About 0.16 inland, 0.19 on a coast.

    Returns
    -------
    DataArray [MJ/m2/day]
        On ``time`` and whatever else the temperatures have.

    Raises
    ------
    InputError
        If a day has no value, a value is out of range, or a minimum exceeds its maximum.

    Notes
    -----
    Hargreaves and Samani 1982; FAO-56 equation 50.

    Examples
    --------
    >>> import pandas as pd
    >>> day = pd.DatetimeIndex(["2015-07-15"])
    >>> float(solar_from_temperatures(pd.Series([26.6], day), pd.Series([14.8], day), 45.72).item())
    22.3
    """
    if not 0.1 <= adjustment <= 0.25:
        raise InputError(f"an adjustment of {adjustment}", "give 0.16 inland, 0.19 on a coast", "adjustment")
    given = checked_weather(tmax=tmax, tmin=tmin, latitude=latitude)

    def one(index, tmax, tmin, latitude):
        return adjustment * np.sqrt(tmax - tmin) * radiation_above_air(index, float(latitude)).values

    out = each_station(one, given)
    out.attrs = attributes("solar", assumptions="radiation from temperatures (FAO-56 equation 50)")
    return out.rename("solar")
