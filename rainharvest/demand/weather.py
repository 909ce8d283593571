"""A file of daily weather, and the reference evapotranspiration of a record's days from it."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError, require, require_file
from rainharvest.core.quantities import attributes
from rainharvest.demand import evapotranspiration as et
from rainharvest.demand.periods import as_days

_HUMIDITY = (("vapour_pressure",), ("dew_point",), ("rhmax", "rhmin"))


def read_weather(path: Path) -> pd.DataFrame:
    """Read daily weather (CSV): a column ``date`` and columns of `COLUMNS`, tmax and tmin at least."""
    require_file(path)
    columns = "give columns named " + ", ".join(
        ["date", *(f"{name} ({row['unit']})" for name, row in et.COLUMNS.items())]
    )
    try:
        table = pd.read_csv(path, comment="#", skipinitialspace=True, dtype={"date": str})
    except (OSError, ValueError) as error:
        raise InputError(f"it cannot be read as a table: {error}", columns, file=path) from None
    for name in ("date", "tmax", "tmin"):
        require(name in table, f"it has no column {name}", columns, file=path)
    for name in table.columns:
        require(name in ("date", *et.COLUMNS), f'no weather is called "{name}"', columns, name, path)
    given = table.pop("date")
    days = pd.DatetimeIndex(pd.to_datetime(given, format="%Y-%m-%d", errors="coerce"), name="time")
    _refuse(given[days.isna()], "is not a day", "write it as 2015-07-06", "date", path)
    _refuse(given[days.duplicated()], "is there twice", "keep one line a day", "date", path)
    numbers = table.apply(pd.to_numeric, errors="coerce")
    for name in table:
        odd = table[name][numbers[name].isna() & table[name].notna()]
        _refuse(odd, "is not a number", "leave a value that is not known empty", name, path)
    numbers = numbers.set_index(days).sort_index()
    numbers.attrs = {"source_file": path.name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
    return numbers


def _refuse(bad: pd.Series, problem: str, remedy: str, column: str, path: Path) -> None:
    if len(bad):
        raise InputError(f'"{bad.iloc[0]}" {problem}', remedy, column, path)


def from_weather(
    weather: pd.DataFrame, time, latitude: float, elevation: float | None = None, wind_height: float = 2.0
) -> xr.DataArray:
    """Return reference evapotranspiration of every day from a table of daily weather.

    With wind: Penman-Monteith, its radiation from ``solar``, ``sunshine`` or the temperatures (FAO-56 equation 50),
    its humidity from ``vapour_pressure``, ``dew_point``, ``rhmax`` and ``rhmin`` or, where none is given, with the
    lowest temperature as dew point (FAO-56 equation 48). Without: Hargreaves. A day that lacks a value, or that the
    table does not cover, has the mean of its month.

    FAO-56 example 20: Lyon, July.

    >>> days = pd.date_range("2015-01-01", "2015-12-31")
    >>> table = pd.DataFrame({"tmax": 26.6, "tmin": 14.8}, days)
    >>> from_weather(table, days[195:196], 45.72).values.round(1)
    array([5.])
    """
    columns = ["tmax", "tmin"]
    if windy := "wind" in weather:
        height = "a weather file with wind needs the height of the site"
        require(elevation is not None, height, "give site.elevation, or leave the wind out", "site.elevation")
        for either in ((("solar",), ("sunshine",)), _HUMIDITY, (("tmean",),)):
            columns += next((names for names in either if set(names) <= set(weather)), ())
        columns.append("wind")
    days = weather[columns].dropna()
    require(len(days), "no day has a value in every column", f"fill {', '.join(columns)}")
    given = {name: days[name] for name in columns} | {"latitude": latitude}
    if windy:
        if not {"solar", "sunshine"} & set(given):
            given["solar"] = et.solar_from_temperatures(given["tmax"], given["tmin"], latitude)
        if not any(set(names) <= set(given) for names in _HUMIDITY):
            given["dew_point"] = given["tmin"]
        known = et.penman_monteith(**given, elevation=elevation, wind_height=wind_height)
    else:
        known = et.hargreaves(**given)
    wanted = as_days(time)
    lacking = ~wanted.isin(known.time.to_index())
    out = known.reindex(time=wanted)
    if lacking.any():
        out = out.fillna(et.from_monthly_table(et.monthly_table(known), wanted))
    said = f"{known.attrs['assumptions']}; {int(lacking.sum())} days have the mean of their month"
    middle = days[["tmin", "tmax"]].mean(axis=1)
    cold = {"coldest_month": float(middle.groupby(middle.index.month).mean().min())}
    return et.named(out, et.NAME, said).assign_attrs(
        weather.attrs | cold | attributes(et.NAME, assumptions=said)
    )
