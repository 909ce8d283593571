"""The same study with another roof area, other people, another tank: fast enough for a slider."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.facts import study_water
from rainharvest.catchment.tables import Roof, scaled_roofs
from rainharvest.core.errors import InputError, require
from rainharvest.core.kept import kept_folder
from rainharvest.core.quantities import attributes
from rainharvest.demand.tables import Use
from rainharvest.rainfall.record import StudyRecord
from rainharvest.sizing.costs import full_days
from rainharvest.sizing.facts import yield_a_year
from rainharvest.sizing.trade_off import sizes_to_try, trade_off
from rainharvest.storage.facts import Flows, balance_settings
from rainharvest.storage.simulate import simulate
from rainharvest.study.file import Study, read_study
from rainharvest.study.stages import Run, flows_of, record_of


@contextmanager
def of_file(path: str | os.PathLike) -> Iterator[None]:
    """Name the study file in the errors of a block."""
    try:
        yield
    except InputError as error:
        raise error.at(path) from None


def open_study(
    path: str | os.PathLike, *, members: int | None = 1, kind: str | None = None, roof: bool = True
) -> Run:
    """Return a study to be varied by a panel: with so many fillings (None: its own), under an arrangement."""
    path = Path(path)
    study, _ = read_study(path)
    require(study.roof or not roof, "the study has no roof", "open a study that catches rain", "roof", path)
    if members:
        study = study.model_copy(update={"rain": study.rain.model_copy(update={"members": members})})
    if kind:
        study = study.model_copy(update={"arrangement": study.arrangement.model_copy(update={"kind": kind})})
    return Run(study, path.parent, kept_folder(None))


def area_keys(roofs: Sequence[Roof], area: float) -> dict[str, float]:
    """Return the keys of the study file that make roofs alike larger or smaller to a total area."""
    own = sum(roof.area for roof in roofs)
    return {f"roof.{k}.area": roof.area * area / own for k, roof in enumerate(roofs)}


def people_keys(uses: Sequence[Use], people: float, own: float) -> dict[str, int]:
    """Return the keys of the study file that scale every use counted by people."""
    return {
        f"use.{k}.people": max(round(use.people * people / own), 1)
        for k, use in enumerate(uses)
        if use.people
    }


@dataclass(frozen=True)
class Prepared:
    """A study with what does not change from one variant to the next."""

    study: Study  # What was asked
    record: StudyRecord  # Its rain, in the first filled version
    demand: xr.DataArray  # [L/day] (use, time): demand of the study's own people
    area: float  # [m2] Plan area of all its roofs
    people: float  # [1] People of its largest use
    sizes: np.ndarray  # [L] Usable sizes of the curve
    # Inflow of the last roof area, and the curves of the people tried on it: another tank changes neither
    known: dict = field(default_factory=dict)


def prepare(path: str | os.PathLike) -> Prepared:
    """Read a study and its record once, for many variants."""
    run = open_study(path)
    with of_file(path):
        study, record, flows = run.study, record_of(run), flows_of(run)
    share = study.tank.usable_share
    sizes = np.array(study.tank.sizes) * share if study.tank.sizes else sizes_to_try(flows.demand.sum("use"))
    counted = [use.people for use in study.use if use.people and use.name in flows.demand.use.values]
    area = sum(roof.area for roof in study.roof)
    return Prepared(study, record, flows.demand, area, max(counted, default=1.0), sizes)


def variant(prepared: Prepared, *, area: float, people: float, capacity: float) -> xr.Dataset:
    """Simulate the whole record with other roofs, people and tank.

    All roofs grow alike, and so do all uses that are counted by people.
    """
    for name, value in (("area", area), ("people", people), ("capacity", capacity)):
        require(value > 0, f"{value:g} is not possible", f"give {name} above zero", name)
    study, known = prepared.study, prepared.known
    if area not in known:
        known.clear()
        roofs = study.model_copy(update={"roof": scaled_roofs(study.roof, area)})
        known[area] = study_water(roofs, prepared.record).inflow.isel(member=0)
    inflow = known[area]
    by_people = {use.name for use in study.use if use.people}
    factor = [people / prepared.people if name in by_people else 1.0 for name in prepared.demand.use.values]
    demand = prepared.demand * xr.DataArray(factor, dims="use")
    flows = Flows(inflow.to_dataset(name="inflow"), demand, ())
    total = demand.sum("use")
    month = prepared.record.year_start_month
    if (area, people) not in known:
        along = xr.DataArray(prepared.sizes, {"capacity": prepared.sizes}, ("capacity",))
        settings = balance_settings(study, flows, along, mains=False)
        known[area, people] = trade_off(inflow, total, along, **settings, year_start_month=month)
    own = simulate(
        inflow,
        total,
        capacity,
        **balance_settings(study, flows, capacity),
        year_start_month=month,
        trace=True,
    ).isel(capacity=0, drop=True)
    alone = simulate(inflow, total, capacity, **balance_settings(study, flows, capacity, mains=False))
    more = {n if "time" in v.dims else f"described_{n}": v.variable for n, v in own.data_vars.items()}
    more["described_rain_reliability"] = alone[study.target.measure].isel(capacity=0).variable
    lasts = float(full_days(total, [capacity])[0])
    more["described_full_days"] = ((), lasts, attributes("full_days"))
    more["described_rain_yield"] = yield_a_year(study, own).variable
    more["described"] = ((), float(capacity), attributes("described"))
    nominal = float(capacity) / study.tank.usable_share
    more["described_nominal"] = ((), nominal, attributes("described_nominal"))
    done = known[area, people].assign_coords(time=own.time.variable).assign(more)
    done.attrs |= {"measure": study.target.measure, "target": study.target.reliability}
    done.attrs |= {"arrangement": study.arrangement.kind, "decided_by": "study file", "offers": 0}
    return done
