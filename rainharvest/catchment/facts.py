"""The catchment of a study: its water, and dry against wet in several climates."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.chain import LOSSES
from rainharvest.catchment.collect import collect, collect_totals
from rainharvest.catchment.compare import best_bore, compare_conveyance, roof_order, vary
from rainharvest.catchment.drainage import peak_overflow
from rainharvest.catchment.hydraulics import (
    SELF_CLEANSING,
    STANDING_LIMIT,
    VISCOSITY,
    Levels,
    first_bore,
    gutter_limits,
    run_levels,
)
from rainharvest.catchment.intensity import CLIMATES, Intensity
from rainharvest.catchment.tables import (
    DEFAULTS,
    DRY_ONLY,
    FITTINGS,
    INTENSITY,
    TRADE_SIZES,
    Catchment,
    make_catchment,
    roof_defaults,
    run_of_kind,
    scaled_roofs,
)
from rainharvest.core.defaults import Default
from rainharvest.core.quantities import QUANTITIES, attributes
from rainharvest.rainfall.record import StudyRecord


def study_water(study, record: StudyRecord) -> xr.Dataset:
    """Return the water at the tank inlet and what was lost, over the record of a study."""
    if study.arrangement.kind == "mains reserve":
        nothing = xr.zeros_like(record.filled).assign_attrs(record.filled.attrs | attributes("inflow"))
        return nothing.reset_coords(drop=True).to_dataset(name="inflow")
    given = study.losses.model_dump(exclude={"intensity"}, exclude_none=True)
    return collect(record.filled, study.roof, study.conveyance, **given, intensity=study.losses.intensity)


def with_hardness(study, record: StudyRecord, water: xr.Dataset) -> xr.Dataset:
    """Return the water with what would reach the tank [L/year] as hard as it rains here, and as in other climates."""
    if study.conveyance is None or study.arrangement.kind == "mains reserve":
        return water
    rain = record.filled.isel(member=0, drop=True)
    given = study.losses.model_dump(exclude={"intensity"}, exclude_none=True)
    catchment = make_catchment(roofs=study.roof, conveyance=study.conveyance, **given)
    own, law = study.losses.intensity, ("mean_intensity", "variation", "depth_growth")
    tried = {
        name: one for name, one in CLIMATES.items() if any(getattr(one, k) != getattr(own, k) for k in law)
    }
    done = {
        name: collect_totals(rain, [catchment], intensity=one) for name, one in ({OWN: own} | tried).items()
    }
    brought = {name: float(one.inflow.mean()) * 365.25 for name, one in done.items()}
    return water.assign_attrs(brought_by_hardness=json.dumps(brought))


OWN = "as taken here"


@dataclass(frozen=True)
class Hardness:
    """How hard it rains within a day, and what would reach the tank if it rained otherwise."""

    intensity: Intensity  # As the study takes it
    least: (
        tuple[str, float] | None
    )  # Climate that would bring least, and what [L/year]; None without a run that works
    most: tuple[str, float] | None  # The same that would bring most
    own: float | None = None  # [L/year] What it brings as the study takes it

    @property
    def spread(self) -> float:
        """Least short of most, as a share of most."""
        return 1 - self.least[1] / self.most[1] if self.most and self.most[1] else 0.0


def hardness_of(intensity: Intensity, water: xr.Dataset) -> Hardness:
    """Return how hard it rains, from what `with_hardness` kept."""
    brought = json.loads(water.attrs.get("brought_by_hardness", "{}"))
    own = brought.pop(OWN, None)
    order = sorted(brought.items(), key=lambda one: one[1])
    return Hardness(intensity, order[0] if order else None, order[-1] if order else None, own)


def catchment_defaults(catchment: Catchment, intensity: Intensity = INTENSITY) -> dict[str, Default]:
    """Return the defaults that a catchment works with, in words, in the order of the chain.

    >>> from rainharvest.catchment.tables import Roof
    >>> site = Catchment(roofs=(Roof(name="hall", area=100, wetting=0),), first_flush=0.0)
    >>> list(catchment_defaults(site))
    ['hall: runoff coefficient', 'Filter efficiency']
    """
    used: dict[str, Default] = {}
    for roof in catchment.roofs:
        used |= {f"{roof.name}: {QUANTITIES[k].long_name.lower()}": v for k, v in roof_defaults(roof).items()}
    run, given = catchment.conveyance, set(catchment.model_fields_set)
    counts = ["drying"] if any(roof.wetting for roof in catchment.roofs) else []
    counts += ["first_flush"] + ["first_flush_bleed", "first_flush_reset"] * bool(catchment.first_flush)
    counts.append("filter_efficiency")
    if run is not None:
        given |= run.model_fields_set
        counts += ["roughness", *(DRY_ONLY if run.kind == "dry" else ())]
    used |= {QUANTITIES[name].long_name: DEFAULTS[name] for name in counts if name not in given}
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


OWN_RAIN = "the study's own rain"
"""The name of the study's own record among the climates."""


@dataclass(frozen=True)
class Climate:
    """Rain of one place."""

    rain: xr.DataArray  # [mm/day] One filled version without gaps
    intensity: Intensity  # How hard it rains


@dataclass(frozen=True)
class CatchmentCase:
    """A study's catchment, and the climates to put it to."""

    catchment: Catchment  # Roofs, run of pipe and what stands between, as the study has them
    climates: dict[str, Climate]  # By name
    design_intensity: float  # [mm/h] Rain of the study's design storm
    units: str = "metric"  # Of the study: pipes are sold in its sizes

    @property
    def area(self) -> float:
        """Plan area of all roofs [m2]."""
        return sum(roof.area for roof in self.catchment.roofs)


@dataclass(frozen=True)
class Bores:
    """What the bore of a wet run decides."""

    own: float  # [mm] The bore of the run
    best: float  # [mm] The trade size that brings most
    most: float  # [L/year] What it brings
    less: float  # [1] By what share the run's own brings less
    passing: float | None  # [mm] The first trade size that passes the design storm
    widest: float  # [mm] Of those tried


@dataclass(frozen=True)
class DryAndWet:
    """The dry and the wet run between the same two points, side by side."""

    catchment: Catchment  # The roofs, with the wet run
    own: str  # "dry" or "wet": which of the two is the study's own run
    levels: dict[str, Levels]  # By "dry run" and "wet run"
    shed: float  # [L/s] What the roofs shed in the design storm
    flow: float  # [L/s] What the gutters let through of it: what the run must carry
    table: pd.DataFrame  # As `rainharvest.catchment.compare.compare_conveyance`
    climate: Climate  # The rain that falls
    units: str  # Whose trade sizes are tried
    self_cleansing: float = SELF_CLEANSING.value  # [m/s] Velocity at which a drain keeps itself clean
    standing_limit: float = STANDING_LIMIT.value  # [day] Standing water older than this is too old

    @cached_property
    def curve(self) -> xr.Dataset | None:
        """As `rainharvest.catchment.compare.best_bore` of the wet run; None if it cannot work."""
        if self.levels["wet run"].answer:
            return None
        bores, intensity = TRADE_SIZES[self.units], self.climate.intensity
        return best_bore(self.climate.rain, self.catchment, bores, intensity=intensity)

    @property
    def yearly(self) -> xr.DataArray:
        """What reaches the tank and what is lost [L/year], on ``conveyance`` and ``cause``."""
        causes = ["delivered", *LOSSES]
        values = self.table.reindex(causes).astype(float).T.values
        coords = {"conveyance": list(self.levels), "cause": causes}
        return xr.DataArray(values, coords, ("conveyance", "cause"))

    @property
    def bores(self) -> Bores | None:
        """Which bore brings most and which passes the design storm; None if the wet run cannot work."""
        if self.curve is None:
            return None
        best, sizes = self.curve.attrs["best_bore"], self.curve.bore.values
        most = float(self.curve.inflow.sel(bore=best)) * 365.25
        less = 1 - self.table.loc["delivered", "wet run"] / most if most else 0.0
        run = self.catchment.conveyance
        return Bores(run.bore, best, most, less, first_bore(run, self.flow, sizes), float(sizes.max()))


def dry_and_wet(
    case: CatchmentCase,
    climate: str,
    design_intensity: float | None = None,
    *,
    area: float | None = None,
    first_flush: float | None = None,
    bleed: float | None = None,
    **places: float,
) -> DryAndWet:
    """Put the study's run of pipe, and one of the other kind between the same two points, to one climate.

    The run of the study's own kind is the study's, key by key; the other shares every key that means the same.

    Parameters
    ----------
    case : CatchmentCase
        The study's catchment and the climates.
    climate : str
        Name of one.
    design_intensity : float [mm/h], optional
        Rain of the design storm; the study's if not given.
    area : float [m2], optional
        Plan area of all roofs together; the study's if not given.
    first_flush : float [mm], optional
        Depth turned away; the study's if not given.
    bleed : float [L/day], optional
        Low-point bleed of the wet run; the study's if not given, and none where its run is dry.
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
    own, given = case.catchment, case.climates[climate]
    storm = case.design_intensity if design_intensity is None else design_intensity
    kinds = {"dry": places, "wet": places if bleed is None else places | {"bleed": bleed}}
    runs = {f"{k} run": run_of_kind(own.conveyance, k, **more) for k, more in kinds.items()}
    roofs = own.roofs if area is None else scaled_roofs(own.roofs, area)
    changes = {
        "roofs": tuple(roof.model_copy(update={"outlet_level": None}) for roof in roofs),
        "conveyance": runs["wet run"],
        "first_flush": own.first_flush if first_flush is None else first_flush,
    }
    catchment = make_catchment(**(dict(own) | changes))
    peak = peak_overflow(catchment, storm)
    levels = {name: run_levels(run, peak.gutters) for name, run in runs.items()}
    table = compare_conveyance(given.rain, catchment, runs, storm, intensity=given.intensity)
    flows = peak.roofs, peak.gutters
    return DryAndWet(catchment, own.conveyance.kind, levels, *flows, table, given, case.units)


def first_flush_cost(case: CatchmentCase, depths: tuple[float, ...]) -> xr.DataArray:
    """Return the share of the rain on the roofs that the first flush takes, by climate and depth."""
    shares = []
    for climate in case.climates.values():
        done = vary(climate.rain, case.catchment, "first_flush", depths, intensity=climate.intensity)
        shares.append(done.lost.sel(loss="first flush", drop=True) / done.rain_on_roof)
    return xr.concat(shares, xr.DataArray(list(case.climates), dims="climate", name="climate"))


def which_roof_first(case: CatchmentCase, climate: str, pipe_to_add: dict[str, float]) -> pd.DataFrame:
    """Return in which order to connect the study's roofs: most litres for each metre of pipe first.

    Parameters
    ----------
    case : CatchmentCase
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
