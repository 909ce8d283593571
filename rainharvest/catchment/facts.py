"""The catchment of a study: its water, and dry against wet in several climates."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES
from rainharvest.catchment.collect import collect
from rainharvest.catchment.compare import best_bore, compare_conveyance, roof_order, vary
from rainharvest.catchment.drainage import design_flow
from rainharvest.catchment.hydraulics import VISCOSITY, Levels, gutter_limits, run_levels
from rainharvest.catchment.intensity import CLIMATES, Intensity
from rainharvest.catchment.tables import (
    DRYING,
    FALL,
    FILLING,
    FILTER_EFFICIENCY,
    FIRST_FLUSH,
    FIRST_FLUSH_BLEED,
    FIRST_FLUSH_RESET,
    FITTINGS,
    INTENSITY,
    ROUGHNESS,
    Catchment,
    Conveyance,
    make_catchment,
    roof_defaults,
)
from rainharvest.core.defaults import Default
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import QUANTITIES, attributes
from rainharvest.rainfall.facts import DEMO_STEMS
from rainharvest.rainfall.record import StudyRecord, longest_stretch
from rainharvest.study.file import Study, read_study


def study_water(study: Study, record: StudyRecord) -> xr.Dataset:
    """Return the water at the tank inlet and what was lost, over the study's record."""
    if study.arrangement.kind == "mains reserve":
        nothing = xr.zeros_like(record.filled).assign_attrs(record.filled.attrs | attributes("inflow"))
        return nothing.reset_coords(drop=True).to_dataset(name="inflow")
    given = study.losses.model_dump(exclude={"intensity"}, exclude_none=True)
    return collect(record.filled, study.roof, study.conveyance, **given, intensity=study.losses.intensity)


def catchment_defaults(
    catchment: Catchment, drying: float | object = DRYING.value, intensity: Intensity = INTENSITY
) -> dict[str, Default]:
    """Return the defaults that a catchment works with, in words, in the order of the chain.

    >>> from rainharvest.catchment.tables import Roof
    >>> site = Catchment(roofs=(Roof(name="hall", area=100, wetting=0),), first_flush=1.0)
    >>> list(catchment_defaults(site))[:2]
    ['hall: runoff coefficient', 'Drying of the roof']
    """
    used: dict[str, Default] = {}
    for roof in catchment.roofs:
        used |= {f"{roof.name}: {QUANTITIES[k].long_name.lower()}": v for k, v in roof_defaults(roof).items()}
    given = {
        "drying": (drying, DRYING),
        "first_flush": (catchment.first_flush, FIRST_FLUSH),
        "first_flush_bleed": (catchment.first_flush_bleed, FIRST_FLUSH_BLEED),
        "first_flush_reset": (catchment.first_flush_reset, FIRST_FLUSH_RESET),
        "filter_efficiency": (catchment.filter_efficiency, FILTER_EFFICIENCY),
    }
    run = catchment.conveyance
    if run is not None:
        given["roughness"] = (run.roughness, ROUGHNESS)
        if run.kind == "dry":
            given |= {"fall": (run.fall, FALL), "filling": (run.filling, FILLING)}
    for name, (value, default) in given.items():
        if np.ndim(value) == 0 and value == default.value:
            used[QUANTITIES[name].long_name] = default
    if run is not None:
        used[QUANTITIES["viscosity"].long_name] = VISCOSITY
        if run.kind == "wet":
            used |= {
                f"Loss of {name} (velocity heads)": FITTINGS[name] for name, n in run.fittings.items() if n
            }
    limited = run is not None or np.isfinite(gutter_limits(catchment)).any()
    if limited and intensity.kind not in ("given", "estimated"):
        for name in ("mean_intensity", "variation", "depth_growth"):
            q = QUANTITIES[name]
            used[q.long_name] = Default(getattr(intensity, name), q.unit, intensity.source, intensity.kind)
    return used


HARDNESS = {
    "winter_rain": "dry summer",
    "monsoon": "monsoon",
    "two_rainy_seasons": "wet tropics",
    "semi_arid": "dry",
    "temperate_all_year": "cool maritime",
}

"""How hard it rains in each of the demo's climates: the key of `CLIMATES` by the stem of the record's file."""


BORES = (32.0, 40.0, 50.0, 65.0, 80.0, 100.0, 125.0, 150.0, 200.0, 300.0)

"""Bores of the curve, mm."""


@dataclass(frozen=True)
class Climate:
    """Rain of one place."""

    rain: xr.DataArray  # [mm/day] One filled version without gaps
    intensity: Intensity  # How hard it rains


@dataclass(frozen=True)
class Case:
    """A study's catchment, and the climates to put it to."""

    catchment: Catchment  # Roofs, run of pipe and what stands between, as the study has them
    climates: dict[str, Climate]  # By name

    @property
    def area(self) -> float:
        """Plan area of all roofs [m2]."""
        return sum(roof.area for roof in self.catchment.roofs)


@dataclass(frozen=True)
class DryAndWet:
    """The dry and the wet run between the same two points, side by side."""

    catchment: Catchment  # The roofs, with the wet run
    levels: dict[str, Levels]  # By "dry run" and "wet run"
    flow: float  # [L/s] Flow of the design storm
    table: pd.DataFrame  # As `rainharvest.catchment.compare.compare_conveyance`
    yearly: xr.DataArray  # [L/year] On ``conveyance`` and ``cause``: what reaches the tank and what is lost
    # As `rainharvest.catchment.compare.best_bore` of the wet run; None if it cannot work
    curve: xr.Dataset | None


def load_case(study: str | os.PathLike, records: str | os.PathLike) -> Case:
    """Read a study's catchment and the demo's records, each filled once from its neighbours.

    Parameters
    ----------
    study : str or path
        The study file; it must have a run of pipe.
    records : str or path
        Folder of the demo's records.

    Returns
    -------
    Case
        The catchment and five climates.

    Raises
    ------
    InputError
        If a file cannot be read, or the study has no conveyance.
    """
    from rainharvest.rainfall.fill import fill_gaps
    from rainharvest.rainfall.read import read_rain

    asked, _ = read_study(study)
    if asked.conveyance is None:
        raise InputError("it has no run of pipe", "add a [conveyance] table", "conveyance", Path(study))
    climates = {}
    for name, stem in DEMO_STEMS.items():
        rain = read_rain(Path(records) / f"{stem}.csv")
        beside = [read_rain(path) for path in sorted(Path(records).glob(f"{stem}_*.csv"))]
        filled, _ = longest_stretch(fill_gaps(rain, beside or None, members=1))
        climates[name] = Climate(filled.isel(member=0, drop=True), CLIMATES[HARDNESS[stem]])
    return Case(asked.catchment, climates)


def dry_and_wet(
    case: Case,
    climate: str,
    design_intensity: float,
    *,
    area: float | None = None,
    first_flush: float | None = None,
    bleed: float = 0.0,
    **places: float,
) -> DryAndWet:
    """Put a dry and a wet run between the same two points to one climate.

    Parameters
    ----------
    case : Case
        The study's catchment and the climates.
    climate : str
        Name of one.
    design_intensity : float [mm/h]
        Rain of the design storm.
    area : float [m2], optional
        Plan area of all roofs together; the study's if not given.
    first_flush : float [mm], optional
        Depth turned away; the study's if not given.
    bleed : float [L/day]
        Low-point bleed of the wet run.
    **places
        ``bore``, ``run``, ``outlet_level``, ``inlet_level`` of both runs; the study's if not given.

    Returns
    -------
    DryAndWet
        Levels, yearly litres, table and bore curve.

    Raises
    ------
    InputError
        If a value is outside its limits.
    """
    own = case.catchment
    factor = 1.0 if area is None else area / case.area
    roofs = tuple(
        roof.model_copy(update={"area": roof.area * factor, "outlet_level": None}) for roof in own.roofs
    )
    shared = {"filter_drop": own.conveyance.filter_drop, "downpipes": own.conveyance.downpipes}
    shared |= {n: getattr(own.conveyance, n) for n in ("run", "bore", "outlet_level", "inlet_level")} | places
    runs = {
        "dry run": Conveyance(kind="dry", **shared),
        "wet run": Conveyance(kind="wet", bleed=bleed, **shared),
    }
    kept = {
        "first_flush": own.first_flush if first_flush is None else first_flush,
        "first_flush_bleed": own.first_flush_bleed,
        "first_flush_reset": own.first_flush_reset,
        "filter_efficiency": own.filter_efficiency,
    }
    catchment = make_catchment(roofs=roofs, conveyance=runs["wet run"], **kept)
    flow = sum(design_flow(roof.area, design_intensity) for roof in roofs)
    rain, intensity = case.climates[climate].rain, case.climates[climate].intensity
    levels = {name: run_levels(run, flow) for name, run in runs.items()}
    table = compare_conveyance(rain, catchment, runs, design_intensity, intensity=intensity)
    rows = {"delivered": "delivered [L/year]"} | {loss: f"lost: {loss} [L/year]" for loss in LOSSES}
    yearly = xr.DataArray(
        table.reindex(list(rows.values())).astype(float).T.values,
        {"conveyance": list(runs), "cause": list(rows)},
        ("conveyance", "cause"),
    )
    curve = None
    if not levels["wet run"].answer:
        curve = best_bore(rain, catchment, BORES, intensity=intensity)
    return DryAndWet(catchment, levels, flow, table, yearly, curve)


def first_flush_cost(case: Case, depths: tuple[float, ...]) -> xr.DataArray:
    """Return the share of the rain on the roofs that the first flush takes, by climate and depth."""
    shares = []
    for climate in case.climates.values():
        done = vary(climate.rain, case.catchment, "first_flush", depths, intensity=climate.intensity)
        shares.append(done.lost.sel(loss="first flush", drop=True) / done.rain_on_roof)
    return xr.concat(shares, xr.DataArray(list(case.climates), dims="climate", name="climate"))


def which_roof_first(case: Case, climate: str, pipe_to_add: dict[str, float]) -> pd.DataFrame:
    """Return in which order to connect the study's roofs: most litres for each metre of pipe first.

    Parameters
    ----------
    case : Case
        The study's catchment and the climates.
    climate : str
        Name of one.
    pipe_to_add : dict of str to float [m]
        Gutter and pipe that each roof needs, by its name.

    Returns
    -------
    DataFrame
        As `rainharvest.catchment.compare.roof_order`.

    Raises
    ------
    InputError
        If a roof has no length.
    """
    roofs = tuple(
        roof.model_copy(update={"pipe_to_add": pipe_to_add.get(roof.name, roof.pipe_to_add)})
        for roof in case.catchment.roofs
    )
    rain, intensity = case.climates[climate].rain, case.climates[climate].intensity
    return roof_order(rain, case.catchment.model_copy(update={"roofs": roofs}), intensity=intensity)
