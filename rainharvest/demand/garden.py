"""The garden and the pool: how much water beds and surfaces draw, most of all when rain fails."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.compiled import compiled, compiling_notice
from rainharvest.core.errors import InputError, require
from rainharvest.core.quantities import attributes
from rainharvest.demand.periods import as_days, in_period
from rainharvest.demand.tables import CROPS, DEFAULTS, Garden, Pool


def garden_demand(garden: Garden, rain, evapotranspiration) -> xr.Dataset:
    """Return the litres a day that a garden asks for, from rain and evapotranspiration.

    With D the depletion of the root zone [mm], TAW its available water and RAW = p TAW:
    D <- D + K_s K_c ET0 - P_e, P_e the effective rain, what passes field capacity (D < 0) drains;
    K_s = min(1, (TAW - D)/(TAW - RAW)). On a day when watering is allowed the garden is given what D
    exceeds RAW, and asks area x that / efficiency. So demand is nothing until the soil has spent the last
    rain, and all of K_c ET0 from then until it rains again.

    FAO-56, chapter 8, equations 84 and 85 (from memory, not verified), with one rule of watering: a
    garden's beds are watered in turn, so that their mean is held at the edge of stress. Rain below 0.2
    ET0 is not counted. The soil is full on the first day.

    >>> days = pd.date_range("2024-01-01", periods=40)
    >>> dry = garden_demand(Garden(bed_area=100), pd.Series(0.0, days), pd.Series(5.0, days))
    >>> float(dry.garden_demand[0]), float(dry.garden_demand[-1])
    (0.0, 472.2)
    """
    rain, evapotranspiration = _weather(rain, evapotranspiration)
    days = rain.time.to_index()
    allowed = in_period(garden.watered, days) if garden.watered else np.ones(days.size, dtype=bool)
    least = DEFAULTS["small_rain"].value * evapotranspiration
    effective = rain.where(rain > least, 0.0) * garden.rain_kept
    watering, depletion, taken = _through_root_zone(
        effective,
        (season_coefficients(garden, rain) if garden.sown else CROPS[garden.crop].middle)
        * evapotranspiration,
        allowed,
        garden.available_water,
        garden.readily_available,
        "the root zone of the garden",
    )
    out = {
        "garden_demand": watering * garden.bed_area / garden.efficiency,
        "watering": watering,
        "effective_rain": effective,
        "crop_evapotranspiration": taken,
        "depletion": depletion,
    }
    crop = f"{garden.crop} sown {garden.sown}" if garden.sown else garden.crop
    said = (
        f"{garden.name}: {garden.bed_area:g} m2 of {crop} on {garden.soil}, {garden.method}, "
        f"efficiency {garden.efficiency:g}; {evapotranspiration.attrs.get('assumptions', 'ET0 as given')}"
    )
    dims = [d for d in watering.dims if d != "time"] + ["time"]
    return xr.Dataset(
        {
            name: values.reset_coords(drop=True)
            .transpose(*(d for d in dims if d in values.dims))
            .assign_attrs(attributes(name))
            for name, values in out.items()
        },
        attrs={"assumptions": said},
    )


def garden_use(garden: Garden, rain, evapotranspiration) -> xr.DataArray:
    """Return what a garden asks of the tank, as a use beside the others."""
    beds = garden_demand(garden, rain, evapotranspiration)
    return _as_use(garden, "garden", beds.garden_demand, beds.attrs["assumptions"])


def _as_use(thing: Garden | Pool, kind: str, litres: xr.DataArray, said: str) -> xr.DataArray:
    """Return litres a day with the coordinates that uses have."""
    row = litres.expand_dims(use=[thing.name]).transpose(..., "use", "time")
    of_use = {"essential": thing.essential, "quality": "outdoor", "kind": kind}
    row = row.assign_coords({name: ("use", [value]) for name, value in of_use.items()})
    return row.assign_attrs(attributes("demand", assumptions=said)).rename("demand")


def known_days(name: str, values) -> xr.DataArray:
    """Return a daily series as a DataArray, refusing days without a value or below zero."""
    if isinstance(values, pd.Series):
        values = xr.DataArray(values.to_numpy(dtype=float), {"time": values.index}, ("time",))
    series = isinstance(values, xr.DataArray) and "time" in values.dims
    require(series, "it is not a series on dates", "give a Series or a DataArray with time", name)
    values = values.astype(float).assign_coords(time=as_days(values))
    bad = ~(np.isfinite(values) & (values >= 0))
    bad = bad.any([d for d in bad.dims if d != "time"])
    if bool(bad.any()):
        first = str(bad.time.values[bad][0])[:10]
        raise InputError(
            f"{int(bad.sum())} days have no value or a negative one, the first {first}",
            "fill the record first",
            name,
        )
    return values.reset_coords(drop=True)


def _weather(rain, evapotranspiration) -> tuple[xr.DataArray, xr.DataArray]:
    """Return rain and evapotranspiration of the same days."""
    rain = known_days("rain", rain)
    evapotranspiration = known_days("evapotranspiration", evapotranspiration)
    same = evapotranspiration.time.to_index().equals(rain.time.to_index())
    apart = "evapotranspiration and rain do not cover the same days"
    require(same, apart, "cut both to the same days", "evapotranspiration")
    return rain, evapotranspiration


def _through_root_zone(rain, taken, allowed, available, readily, what: str) -> tuple[xr.DataArray, ...]:
    """Run `root_zone` over every series of rain."""
    with compiling_notice(what):
        return xr.apply_ufunc(
            lambda r, e: root_zone(
                np.ascontiguousarray(r), np.ascontiguousarray(e), allowed, available, readily
            ),
            *xr.broadcast(rain, taken),
            input_core_dims=[["time"], ["time"]],
            output_core_dims=[["time"]] * 3,
            vectorize=True,
        )


@compiled(nogil=True)
def root_zone(rain, evapotranspiration, allowed, available, readily):
    """Run one root zone through the days: water given, depletion in the evening, water taken up."""
    days = rain.size
    given, evening, taken = np.zeros(days), np.empty(days), np.empty(days)
    edge = readily * available
    depletion = 0.0
    for t in range(days):
        stress = min(1.0, max(0.0, (available - depletion) / (available - edge)))
        taken[t] = stress * evapotranspiration[t]
        depletion = max(depletion + taken[t] - rain[t], 0.0)
        if allowed[t] and depletion > edge:
            given[t] = depletion - edge
            depletion = edge
        elif depletion > available:
            # The air cannot take what the soil does not hold.
            taken[t] -= depletion - available
            depletion = available
        evening[t] = depletion
    return given, evening, taken


def pool_demand(pool: Pool, rain, evapotranspiration) -> xr.DataArray:
    """Return the litres a day that a pool asks for, from rain and evapotranspiration.

    With D the drop of the level below the overflow [mm]: D <- max(0, D + 1.05 ET0 - rain); what D exceeds
    the drop allowed is topped up, and asked for is area x that. Splashed water and the washing of filters
    are uses of their own.

    Coefficient of shallow open water: FAO-56, table 12, from memory, not verified. The pool is full on
    the first morning.

    >>> days = pd.date_range("2024-01-01", periods=12)
    >>> dry = pool_demand(Pool(pool_area=40), pd.Series(0.0, days), pd.Series(5.0, days))
    >>> dry.values[0, -3:]
    array([100., 210., 210.])
    """
    rain, evapotranspiration = _weather(rain, evapotranspiration)
    always = np.ones(rain.sizes["time"], dtype=bool)
    factor = DEFAULTS["open_water"].value
    # A soil of which half is readily available never stresses while it is watered every day.
    given, _, _ = _through_root_zone(
        rain, factor * evapotranspiration, always, 2 * pool.pool_drop, 0.5, "the level of the pool"
    )
    said = (
        f"{pool.name}: {pool.pool_area:g} m2 of water, {factor:g} ET0 less rain, topped up "
        f"{pool.pool_drop:g} mm below the overflow"
    )
    return _as_use(pool, "pool", given * pool.pool_area, said)


def season_coefficients(garden: Garden, time) -> xr.DataArray:
    """Return the crop coefficient of every day of a garden whose crop is sown each year.

    Level through the initial stage, straight up to mid-season, level through it, straight down to the
    end of the late stage; zero where nothing grows.

    FAO-56, chapter 6, figure 34. Stage lengths there, as quoted in a public source file: lettuce 20, 30,
    15, 10 days; tomato 30, 40, 45, 30.

    >>> days = pd.date_range("2023-01-01", "2023-12-31")
    >>> beds = Garden(bed_area=10, crop="lettuce", sown="03-01", stages=(20, 30, 15, 10))
    >>> kc = season_coefficients(beds, days)
    >>> kc.sel(time=["2023-02-28", "2023-03-01", "2023-04-05", "2023-04-25", "2023-06-01"]).values
    array([0.  , 0.7 , 0.85, 1.  , 0.  ])
    """
    days, crop, ends = as_days(time), CROPS[garden.crop], np.cumsum([0.0, *garden.stages])
    begun = np.array(
        [f"{y}-{garden.sown}" for y in range(days[0].year - 1, days[-1].year + 1)], "datetime64[D]"
    )
    at = np.searchsorted(begun, days.to_numpy(), side="right") - 1
    since = (days.to_numpy() - begun[at]) / np.timedelta64(1, "D")
    values = np.interp(since, ends, [crop.initial, crop.initial, crop.middle, crop.middle, crop.late])
    values = np.where((since < 0) | (since >= ends[4]), 0.0, values)
    return xr.DataArray(values, {"time": days}, ("time",), "crop_coefficient", attributes("crop_coefficient"))
