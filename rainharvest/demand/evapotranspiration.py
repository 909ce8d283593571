"""Reference evapotranspiration, and the weather and radiation that it is computed from."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import rows_of
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes
from rainharvest.demand.periods import as_days

NAME = "reference_evapotranspiration"

COLUMNS: dict[str, dict] = rows_of("demand", "weather")

"""What a weather file may hold, with units and limits."""

_LIMITS = {name: (row["low"], row["high"]) for name, row in COLUMNS.items()} | {
    "soil_heat": (-20.0, 20.0),
    "latitude": (-90.0, 90.0),
    "elevation": (-450.0, 6000.0),
}

_CONSTANT = ("latitude", "elevation")


def checked_weather(**given) -> dict[str, xr.DataArray]:
    """Return the weather as DataArrays on the same days, after checking every value."""
    out = {}
    for name, value in given.items():
        if isinstance(value, pd.Series):
            value = xr.DataArray(value.to_numpy(dtype=float), {"time": value.index}, ("time",))
        array = value if isinstance(value, xr.DataArray) else xr.DataArray(float(value))
        array = array.reset_coords(drop=True).astype(float)
        out[name] = array.assign_coords(time=as_days(array)) if "time" in array.dims else array
    require("time" in out["tmax"].dims, "the temperatures have no days", "give series on dates", "tmax")
    days = out["tmax"].time.to_index()
    for name, array in out.items():
        same = "time" not in array.dims or array.time.to_index().equals(days)
        require(same, f"{name} and tmax do not cover the same days", "cut both to the same days", name)
        low, high = _LIMITS[name]
        _refuse(~np.isfinite(array), name, "has no value", "leave those days out or fill them")
        beyond = (array < low) | (array > high)
        _refuse(beyond, name, f"is not between {low:g} and {high:g}", "check its unit")
    _refuse(out["tmin"] > out["tmax"], "tmin", "is above tmax", "check that the two are not exchanged")
    return out


def _refuse(bad: xr.DataArray, name: str, what: str, remedy: str) -> None:
    """Raise if any day is bad, naming the first."""
    if bool(bad.any()):
        days = bad.any([d for d in bad.dims if d != "time"])
        first = str(days.time.values[days][0])[:10] if "time" in bad.dims else ""
        when = f" on {int(days.sum())} days, the first {first}" if first else ""
        raise InputError(f"{name} {what}{when}", remedy, name)


def _each_station(one: Callable, given: dict[str, xr.DataArray]) -> xr.DataArray:
    """Apply a function of one station's weather to every station."""
    days = given["tmax"].time
    index = days.to_index()

    def station(*values):
        result = np.asarray(one(index, **dict(zip(given, values, strict=True))), dtype=float)
        return np.maximum(result, 0.0)

    return xr.apply_ufunc(
        station,
        *(array if name in _CONSTANT else array.broadcast_like(days) for name, array in given.items()),
        input_core_dims=[[] if name in _CONSTANT else ["time"] for name in given],
        output_core_dims=[["time"]],
        vectorize=True,
    )


def hargreaves(tmax, tmin, latitude) -> xr.DataArray:
    """Return reference evapotranspiration where only temperatures are known.

    ET0 = 0.0023 (T + 17.8) (Tmax - Tmin)^0.5 Ra / lambda, T the mean of both, Ra the radiation above the
    air, lambda the heat that turns a kilogram of water to vapour.

    Hargreaves and Samani 1982, 1985; FAO-56 equation 52; computed by pyet. Meant for means of a week
    or more: single days scatter. Too low in wind, too high in damp air.

    >>> day = pd.DatetimeIndex(["2015-07-15"])
    >>> float(hargreaves(pd.Series([26.6], day), pd.Series([14.8], day), 45.72).item())
    5.0
    """
    import pyet

    given = checked_weather(tmax=tmax, tmin=tmin, latitude=latitude)

    def one(index, tmax, tmin, latitude):
        high, low = pd.Series(tmax, index), pd.Series(tmin, index)
        return pyet.hargreaves((high + low) / 2, high, low, float(np.radians(latitude)))

    return named(_each_station(one, given), NAME, "Hargreaves (FAO-56 equation 52) from temperatures alone")


def penman_monteith(
    tmax,
    tmin,
    latitude,
    elevation,
    wind,
    *,
    solar=None,
    sunshine=None,
    rhmax=None,
    rhmin=None,
    vapour_pressure=None,
    dew_point=None,
    tmean=None,
    wind_height: float = 2.0,
    soil_heat=0.0,
) -> xr.DataArray:
    """Return reference evapotranspiration where the whole weather is known.

    ET0 = [0.408 D (Rn - G) + g 900/(T + 273) u2 (es - ea)] / [D + g (1 + 0.34 u2)], D the slope of the
    vapour-pressure curve, g the psychrometric constant.

    Allen, Pereira, Raes and Smith 1998, FAO Irrigation and Drainage Paper 56, equation 6; computed by
    pyet.

    FAO-56 example 18: Brussels, 6 July.

    >>> day = pd.DatetimeIndex(["2015-07-06"])
    >>> et0 = penman_monteith(pd.Series([21.5], day), pd.Series([12.3], day), 50.8, 100, 10 / 3.6,
    ...     wind_height=10, rhmax=84, rhmin=63, sunshine=9.25)
    >>> float(et0.item())
    3.9
    """
    import pyet

    once = (solar is None) != (sunshine is None)
    sun = "the radiation is needed once", "give solar or sunshine, or solar_from_temperatures"
    require(once, *sun, "solar")
    humid = {"rhmax": rhmax, "rhmin": rhmin, "vapour_pressure": vapour_pressure, "dew_point": dew_point}
    known = {name for name, value in humid.items() if value is not None}
    require(
        known in ({"rhmax", "rhmin"}, {"vapour_pressure"}, {"dew_point"}),
        f"the humidity is needed once and is given as {sorted(known) or 'nothing'}",
        "give rhmax and rhmin, or vapour_pressure, or dew_point",
        "rhmax",
    )
    possible = 0.5 <= wind_height <= 100
    require(possible, f"wind measured at {wind_height} m", "give 0.5 to 100 m", "wind_height")
    more = humid | {"solar": solar, "sunshine": sunshine, "tmean": tmean}
    given = checked_weather(
        tmax=tmax,
        tmin=tmin,
        latitude=latitude,
        elevation=elevation,
        wind=wind,
        soil_heat=soil_heat,
        **{name: value for name, value in more.items() if value is not None},
    )
    profile = 1.0 if wind_height == 2.0 else 4.87 / np.log(67.8 * wind_height - 5.42)

    def one(index, tmax, tmin, latitude, elevation, wind, soil_heat, **more):
        more = {name: pd.Series(value, index) for name, value in more.items()}
        high, low = pd.Series(tmax, index), pd.Series(tmin, index)
        if "dew_point" in more:
            more["vapour_pressure"] = pyet.calc_e0(more["dew_point"])
        if "sunshine" in more:
            more["solar"] = _solar_from_sunshine(more["sunshine"], float(np.radians(latitude)))
        return pyet.pm_fao56(
            more.get("tmean", (high + low) / 2),
            pd.Series(wind * profile, index),
            rs=more.get("solar"),
            g=pd.Series(soil_heat, index),
            tmax=high,
            tmin=low,
            rhmax=more.get("rhmax"),
            rhmin=more.get("rhmin"),
            ea=more.get("vapour_pressure"),
            elevation=float(elevation),
            lat=float(np.radians(latitude)),
        )

    return named(_each_station(one, given), NAME, "Penman-Monteith (FAO-56 equation 6)")


def check_monthly(means: Sequence[float], place: str = "") -> None:
    """Refuse monthly means of evapotranspiration that cannot be means a day [mm/day]."""
    possible = all(0 <= mean <= 25 for mean in means)
    totals = "a month's mean is below 0 or above 25 mm a day", "give means a day, not totals of the month"
    require(possible, *totals, place)


def from_monthly_table(monthly, time) -> xr.DataArray:
    """Return reference evapotranspiration from twelve monthly means, where no weather is known.

    Each day has its month's mean: no dry spell is hotter than its month.

    >>> days = pd.date_range("2024-01-31", periods=2)
    >>> from_monthly_table([6, 5, 4, 3, 2, 1, 1, 2, 3, 4, 5, 6], days).values
    array([6., 5.])
    """
    table = np.asarray(monthly, dtype=float)
    require(table.shape == (12,), f"the table has {table.size} values", "give one for each month", "monthly")
    check_monthly(table, "monthly")
    days = as_days(time)
    means = xr.DataArray(table[days.month.to_numpy() - 1], {"time": days}, ("time",))
    return named(means, NAME, "evapotranspiration from a monthly table")


def monthly_table(evapotranspiration: xr.DataArray) -> list[float]:
    """Return the twelve monthly means of a shorter series, for days that it does not cover.

    >>> days = pd.date_range("2023-01-01", "2023-12-31")
    >>> monthly_table(from_monthly_table(range(12), days))[:3]
    [0.0, 1.0, 2.0]
    """
    mean = evapotranspiration.groupby(evapotranspiration.time.dt.month).mean()
    missing = sorted(set(range(1, 13)) - set(mean.month.values.tolist()))
    if missing:
        raise InputError(f"month {missing[0]} has no day", "give a series of a year or more", "monthly")
    return [float(v) for v in mean]


def _solar_from_sunshine(sunshine: pd.Series, latitude: float) -> pd.Series:
    """Return (0.25 + 0.5 n/N) Ra (FAO-56 equation 35), latitude in radians, for polar nights as well."""
    import pyet

    hours = np.asarray(pyet.daylight_hours(sunshine.index, latitude), dtype=float)
    # The sun's disc and the bending of its light make real days longer than N, by an hour near the circles.
    beyond = sunshine.index[sunshine.to_numpy() > hours + 1.5]
    if beyond.size:
        raise InputError(
            f"sunshine lasts longer than the day on {beyond.size} days, the first {str(beyond[0])[:10]}",
            "check that it is in hours",
            "sunshine",
        )
    share = np.minimum(np.divide(sunshine, hours, out=np.zeros(hours.size), where=hours > 0), 1.0)
    return pd.Series((0.25 + 0.5 * share) * pyet.extraterrestrial_r(sunshine.index, latitude), sunshine.index)


def named(out: xr.DataArray, name: str, said: str) -> xr.DataArray:
    return out.assign_attrs(attributes(name, assumptions=said)).rename(name)


def radiation_above_air(time, latitude: float) -> xr.DataArray:
    """Return the radiation of the sun above the air, from the day of the year.

    Ra = (24 x 60/pi) Gsc dr [ws sin(phi) sin(d) + cos(phi) cos(d) sin(ws)].

    Allen, Pereira, Raes and Smith 1998, FAO Irrigation and Drainage Paper 56, equation 21; computed by
    pyet.

    FAO-56 example 8: 20 degrees south, 3 September.

    >>> float(radiation_above_air(pd.DatetimeIndex(["2015-09-03"]), -20).item())
    32.2
    """
    import pyet

    days = as_days(time)
    on_earth = -90 <= latitude <= 90
    require(on_earth, f"a latitude of {latitude}", "give -90 to 90, south negative", "latitude")
    above = np.asarray(pyet.extraterrestrial_r(days, float(np.radians(latitude))), dtype=float)
    return xr.DataArray(
        above, {"time": days}, ("time",), name="radiation_above_air", attrs=attributes("radiation_above_air")
    )


def solar_from_temperatures(tmax, tmin, latitude, adjustment: float = 0.16) -> xr.DataArray:
    """Return the radiation at the ground where none was measured.

    Rs = k (Tmax - Tmin)^0.5 Ra.

    Hargreaves and Samani 1982; FAO-56 equation 50.

    >>> day = pd.DatetimeIndex(["2015-07-15"])
    >>> float(solar_from_temperatures(pd.Series([26.6], day), pd.Series([14.8], day), 45.72).item())
    22.3
    """
    possible = 0.1 <= adjustment <= 0.25
    inland = "give 0.16 inland, 0.19 on a coast"
    require(possible, f"an adjustment of {adjustment}", inland, "adjustment")
    given = checked_weather(tmax=tmax, tmin=tmin, latitude=latitude)

    def one(index, tmax, tmin, latitude):
        return adjustment * np.sqrt(tmax - tmin) * radiation_above_air(index, float(latitude)).values

    return named(_each_station(one, given), "solar", "radiation from temperatures (FAO-56 equation 50)")
