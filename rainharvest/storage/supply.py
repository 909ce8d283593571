"""A study's demand and supply with other people, garden, tank and mains: fast enough for a slider."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.kept import kept_folder
from rainharvest.demand.evapotranspiration import from_monthly_table
from rainharvest.demand.garden import garden_demand, with_garden
from rainharvest.demand.mains import mains_in_spells
from rainharvest.demand.tables import Garden, Use
from rainharvest.demand.uses import daily_demand, may_serve
from rainharvest.storage.arrangements import careless_set_level, compare_arrangements, per_year, reserve_curve
from rainharvest.study.file import Study, read_study
from rainharvest.study.stages import Run, parcel_of, record_of

LEVELS = (0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)

"""Set levels of the curve, shares of the tank."""

TRIGGER_SHARE = 0.05

"""The mains valve opens when a twentieth of the tank is left (own choice)."""

RIDE_OUTS = (0.25, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14)

"""Ride-outs of the curve, in days."""


@dataclass(frozen=True)
class Supply:
    """A study with what does not change when its demand and its mains do."""

    study: Study  # What was asked
    rain: xr.DataArray  # [mm/day] Its rain, in the first filled version
    inflow: xr.DataArray  # [L/day] Rain water at the tank inlet
    thirst: xr.DataArray  # [mm/day] Reference evapotranspiration


def prepare_supply(path: str | os.PathLike, monthly: Sequence[float]) -> Supply:
    """Read a study, its rain and what its roofs bring, once for many variants.

    Parameters
    ----------
    path : str or path
        The study file.
    monthly : 12 floats [mm/day]
        Mean reference evapotranspiration of each month.

    Returns
    -------
    Supply
        On the first filled version of the record.

    Raises
    ------
    InputError
        If the study cannot be run, or has no roof.
    """
    path = Path(path)
    study, _ = read_study(path)
    if not study.roof:
        raise InputError("the study has no roof", "open a study that catches rain", "roof", path)
    rainy = study.arrangement.model_copy(update={"kind": "combined"})
    study = study.model_copy(
        update={"rain": study.rain.model_copy(update={"members": 1}), "arrangement": rainy}
    )
    try:
        run = Run(study, path.parent, kept_folder(None))
        record, inflow = record_of(run), parcel_of(run, "catchment")["water"].inflow.isel(member=0, drop=True)
    except InputError as error:
        raise error.at(path) from None
    rain = record.filled.isel(member=0, drop=True)
    return Supply(study, rain, inflow, from_monthly_table(monthly, rain))


def changed_uses(uses: Sequence[Use], counts: Sequence[float], litres: Sequence[float]) -> tuple[Use, ...]:
    """Return the uses with other counts and litres, each change marked as the reader's own."""
    out = []
    for use, count, each in zip(uses, counts, litres, strict=True):
        for what, value in (("count", count), ("litres", each)):
            if not 0 < value <= 1e6:
                raise InputError(f'"{use.name}" has {what} {value:g}', "give a value above zero", what)
        source = use.source if each == use.litres else "given by the reader"
        counted = "units" if use.people is None else "people"
        out.append(use.model_copy(update={counted: count, "litres": each, "source": source}))
    return tuple(out)


def asked_of(supply: Supply, uses: Sequence[Use], bed_area: float = 0.0) -> xr.DataArray:
    """Return the demand of these uses and of a garden.

    Parameters
    ----------
    supply : Supply
        The study.
    uses : list of Use
        The uses.
    bed_area : float [m2], optional
        Planted area that is watered; none by default.

    Returns
    -------
    DataArray [L/day]
        (use, time).

    Raises
    ------
    InputError
        As `rainharvest.demand.uses.daily_demand`.
    """
    demand = daily_demand(uses, supply.study.calendar, supply.rain)
    if bed_area > 0:
        beds = garden_demand(Garden(bed_area=bed_area), supply.rain, supply.thirst)
        demand = with_garden(demand, beds)
    return demand


def supplied(
    supply: Supply,
    demand: xr.DataArray,
    *,
    capacity: float,
    spell_length: float,
    interruptions_a_year: float,
    level_share: float,
    seed: int = 0,
) -> xr.Dataset:
    """Simulate the arrangements side by side with interrupted mains, and every set level of the top-up.

    Parameters
    ----------
    supply : Supply
        The study.
    demand : DataArray [L/day]
        (use, time), with ``quality`` on ``use``.
    capacity : float [L]
        Usable tank size.
    spell_length : float [day]
        Mean length of a spell without mains.
    interruptions_a_year : float [1/year]
        Mean number of them.
    level_share : float [1]
        Set level of the top-up, share of the tank.
    seed : int [1], optional
        Seed of the spells.

    Returns
    -------
    Dataset
        What `rainharvest.storage.arrangements.per_year` gives on ``arrangement``; the same for each set
        level on ``level_share``, prefixed with ``level_``; ``longest_failure`` [day]. The attribute
        ``not_served`` names the uses that rain alone may not serve.

    Raises
    ------
    InputError
        If a value is out of range.
    """
    total = demand.sum("use")
    served = np.array([may_serve("rain only", str(q)) for q in demand.quality.values])
    on = mains_in_spells(total.time, spell_length, interruptions_a_year, seed)
    side_by_side = compare_arrangements(
        supply.inflow,
        total,
        capacity,
        rain_serves=demand.isel(use=np.flatnonzero(served)).sum("use"),
        mains_on=on,
        trigger_share=min(TRIGGER_SHARE, level_share),
        level_share=level_share,
    ).isel(capacity=0, drop=True)
    levels = careless_set_level(
        supply.inflow, total, capacity, LEVELS, trigger_share=TRIGGER_SHARE, mains_on=on
    )
    out = per_year(side_by_side)
    out["longest_failure"] = side_by_side.longest_failure
    of_level = per_year(levels)
    out = out.merge(of_level.rename({name: f"level_{name}" for name in of_level}))
    out.attrs = {
        "not_served": "; ".join(str(n) for n in demand.use.values[~served]),
        "years": total.sizes["time"] / 365.25,
        "interruptions_a_year": interruptions_a_year,
        "spell_length": spell_length,
        "level_share": level_share,
    }
    return out


def reserve_of(demand: xr.DataArray) -> xr.DataArray:
    """Return what a mains reserve for this demand must hold."""
    return reserve_curve(demand.sum("use"), RIDE_OUTS)
