"""The garden and the pool: how much water beds and surfaces ask for, most of all when rain fails."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr
from numba import njit

from rainharvest.core.compiled import compiling_notice
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.demand.periods import in_period
from rainharvest.demand.tables import CROPS, OPEN_WATER, SMALL_RAIN, Garden, Pool
from rainharvest.demand.uses import join_uses, known_days


def garden_demand(garden: Garden, rain, evapotranspiration, crop_coefficient=None) -> xr.Dataset:
    """Return the litres a day that a garden asks for, from rain and the thirst of the air.

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
    rain, thirst = known_days("rain", rain), known_days("evapotranspiration", evapotranspiration)
    coefficient = CROPS[garden.crop].middle if crop_coefficient is None else crop_coefficient
    if isinstance(coefficient, xr.DataArray | pd.Series):
        coefficient = known_days("crop_coefficient", coefficient)
    elif not 0 <= coefficient <= 2:
        raise InputError(f"a crop coefficient of {coefficient}", "give 0 to 2", "crop_coefficient")
    else:
        coefficient = xr.DataArray(float(coefficient))
    for name, series in (("evapotranspiration", thirst), ("crop_coefficient", coefficient)):
        if "time" in series.dims and not series.time.to_index().equals(rain.time.to_index()):
            raise InputError(f"{name} and rain do not cover the same days", "cut both to the same days", name)
    days = rain.time.to_index()
    allowed = in_period(garden.watered, days) if garden.watered else np.ones(days.size, dtype=bool)
    effective = rain.where(rain > SMALL_RAIN.value * thirst, 0.0) * garden.rain_kept
    crop_thirst = coefficient * thirst
    with compiling_notice("the root zone of the garden"):
        watering, depletion, taken = xr.apply_ufunc(
            lambda e, t: root_zone(
                np.ascontiguousarray(e, dtype=float),
                np.ascontiguousarray(t, dtype=float),
                allowed,
                garden.available_water,
                garden.readily_available,
            ),
            *xr.broadcast(effective, crop_thirst),
            input_core_dims=[["time"], ["time"]],
            output_core_dims=[["time"]] * 3,
            vectorize=True,
        )
    litres = watering * garden.bed_area / garden.efficiency
    out = {
        "garden_demand": litres,
        "watering": watering,
        "effective_rain": effective,
        "crop_evapotranspiration": taken,
        "depletion": depletion,
    }
    dims = tuple(d for d in watering.dims if d != "time") + ("time",)
    said = (
        f"{garden.name}: {garden.bed_area:g} m2 of {garden.crop} on {garden.soil}, {garden.method}, "
        f"efficiency {garden.efficiency:g}; {evapotranspiration.attrs.get('assumptions', 'ET0 as given')}"
    )
    return xr.Dataset(
        {
            name: values.reset_coords(drop=True)
            .transpose(*(d for d in dims if d in values.dims))
            .assign_attrs(attributes(name))
            for name, values in out.items()
        },
        attrs={"assumptions": said, "garden": garden.name, "essential": int(garden.essential)},
    )


def with_garden(demand: xr.DataArray, garden: xr.Dataset) -> xr.DataArray:
    """Return the demand by use with the garden as one more use."""
    row = garden.garden_demand.expand_dims(use=[garden.attrs["garden"]]).assign_coords(
        essential=("use", [bool(garden.attrs["essential"])]),
        quality=("use", ["outdoor"]),
        kind=("use", ["garden"]),
    )
    return join_uses(demand, row.assign_attrs(assumptions=garden.attrs["assumptions"]))


@njit(cache=True, nogil=True)
def root_zone(rain, thirst, allowed, available, readily):
    """Run one root zone through the days: water given, depletion in the evening, water taken up."""
    days = rain.size
    given, evening, taken = np.zeros(days), np.empty(days), np.empty(days)
    edge = readily * available
    depletion = 0.0
    for t in range(days):
        stress = min(1.0, max(0.0, (available - depletion) / (available - edge)))
        taken[t] = stress * thirst[t]
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
    """Return the litres a day that a pool asks for, from rain and the thirst of the air.

    With D the drop of the level below the overflow [mm]: D <- max(0, D + 1.05 ET0 - rain); what D exceeds
    the drop allowed is topped up, and asked for is area x that. Splashed water and the washing of filters
    are uses of their own.

    Coefficient of shallow open water: FAO-56, table 12, from memory, not verified. The pool is full on
    the first morning.

    >>> import pandas as pd
    >>> days = pd.date_range("2024-01-01", periods=12)
    >>> dry = pool_demand(Pool(pool_area=40), pd.Series(0.0, days), pd.Series(5.0, days))
    >>> dry.values[0, -3:]
    array([100., 210., 210.])
    """
    rain, thirst = known_days("rain", rain), known_days("evapotranspiration", evapotranspiration)
    if not thirst.time.to_index().equals(rain.time.to_index()):
        raise InputError(
            "evapotranspiration and rain do not cover the same days",
            "cut both to the same days",
            "evapotranspiration",
        )
    always = np.ones(rain.sizes["time"], dtype=bool)
    with compiling_notice("the level of the pool"):
        # A soil of which half is readily available never stresses while it is watered every day.
        given = xr.apply_ufunc(
            lambda r, t: root_zone(
                np.ascontiguousarray(r), np.ascontiguousarray(t), always, 2 * pool.pool_drop, 0.5
            )[0],
            *xr.broadcast(rain, OPEN_WATER.value * thirst),
            input_core_dims=[["time"], ["time"]],
            output_core_dims=[["time"]],
            vectorize=True,
        )
    said = (
        f"{pool.name}: {pool.pool_area:g} m2 of water, {OPEN_WATER.value:g} ET0 less rain, topped up "
        f"{pool.pool_drop:g} mm below the overflow"
    )
    row = (given * pool.pool_area).expand_dims(use=[pool.name]).transpose(..., "use", "time")
    return (
        row.assign_coords(
            essential=("use", [pool.essential]), quality=("use", ["outdoor"]), kind=("use", ["pool"])
        )
        .assign_attrs(attributes("demand", assumptions=said))
        .rename("demand")
    )
