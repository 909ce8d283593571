"""What the drought stage works on: a study's water, its demand and what of it is essential."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.demand.uses import essential_demand
from rainharvest.drought.windows import Flows, as_flows
from rainharvest.errors import InputError
from rainharvest.storage.simulate import simulate
from rainharvest.study.file import Study, read_study
from rainharvest.study.file_drought import Drought
from rainharvest.study.flows import Flows as StudyFlows
from rainharvest.study.kept import kept_folder
from rainharvest.study.record import StudyRecord
from rainharvest.study.stages import Run, flows_of, parcel_of, record_of
from rainharvest.study.words import percent


@dataclass(frozen=True)
class Basis:
    """A study as its bad years see it: the tank on rain alone, unrationed.

    Parameters
    ----------
    study : Study
        What was asked.
    record : StudyRecord
        Its rain.
    inflow : DataArray [L/day]
        (member, time): water at the inlet.
    asked : DataArray [L/day]
        On time: water asked for.
    essential : DataArray [L/day]
        The part of it that is never cut.
    flows : Flows
        The same as plain arrays, for outlooks.
    capacity : float [L]
        Usable tank size.
    kept : str
        What counts as essential, in words.
    """

    study: Study
    record: StudyRecord
    inflow: xr.DataArray
    asked: xr.DataArray
    essential: xr.DataArray
    flows: Flows
    capacity: float
    kept: str

    @property
    def asks(self) -> Drought:
        """The study's drought table."""
        return self.study.drought

    @property
    def theta(self) -> float:
        """The tank's operating parameter."""
        return self.study.tank.theta

    @property
    def month(self) -> int:
        """First month of the hydrological year."""
        return self.record.year_start_month

    @property
    def rain(self) -> xr.DataArray:
        """The first filled version of the record."""
        return self.record.filled.isel(member=0, drop=True)


def basis_of(study: Study, record: StudyRecord, flows: StudyFlows, capacity: float) -> Basis:
    """Return what the drought stage works on.

    Parameters
    ----------
    study : Study
        The study.
    record : StudyRecord
        Its rain.
    flows : Flows
        What enters its balance.
    capacity : float [L]
        Usable tank size.

    Returns
    -------
    Basis

    Raises
    ------
    InputError
        If the tank takes no rain.
    """
    if study.arrangement.kind == "mains reserve":
        raise InputError(
            "a mains reserve takes no rain: no drought empties it",
            "see what its interruptions do, or choose another arrangement",
            "arrangement.kind",
        )
    asked = flows.asked.sum("use")
    essential = essential_demand(flows.asked)
    names = [str(use) for use in flows.asked.use.values[flows.asked.essential.values.astype(bool)]]
    kept = f"essential: {', '.join(names)}"
    if not names:
        share = study.drought.essential_share
        essential = asked * share
        kept = f"no use is marked essential: {percent(share)} of every use counts as essential"
    inflow = flows.water.inflow.transpose("member", "time")
    return Basis(
        study,
        record,
        inflow,
        asked,
        essential,
        as_flows(inflow, asked, essential),
        float(capacity),
        kept,
    )


def prepare_drought(path: str | os.PathLike, tank: float | None = None) -> Basis:
    """Read a study once, for many outlooks, plans and climates.

    Parameters
    ----------
    path : str or path
        The study file.
    tank : float [L], optional
        Usable tank size; the one that the study describes if not given.

    Returns
    -------
    Basis

    Raises
    ------
    InputError
        If the study cannot be run, or its tank takes no rain.
    """
    path = Path(path)
    study, _ = read_study(path)
    try:
        run = Run(study, path.parent, kept_folder(None))  # what an earlier run has worked is not worked again
        record, flows = record_of(run), flows_of(run)
        if tank is None:
            tank = float(parcel_of(run, "storage")["done"].described)
        return basis_of(study, record, flows, tank)
    except InputError as error:
        raise error.at(path) from None


def simulated(
    basis: Basis,
    inflow: xr.DataArray | None = None,
    capacity=None,
    *,
    settled: bool = False,
    **more,
) -> xr.Dataset:
    """Run the tank on rain alone, unrationed.

    Parameters
    ----------
    basis : Basis
        The study.
    inflow : DataArray [L/day], optional
        Other water than the record's first version.
    capacity : float or list [L], optional
        Other sizes.
    settled : bool
        Begin with what the tank holds at the end of the record, so that an empty start makes no drought of
        the first year; as the study says if False.
    **more
        Further settings of `rainharvest.simulate`.

    Returns
    -------
    Dataset
        As `rainharvest.simulate`; without ``capacity`` where one size was asked.
    """
    water = basis.inflow.isel(member=0, drop=True) if inflow is None else inflow
    size = xr.DataArray(np.atleast_1d(basis.capacity if capacity is None else capacity), dims="capacity")
    size = size.assign_coords(capacity=size.values)
    given = {"theta": basis.theta, "year_start_month": basis.month, **more}
    asked = given.pop("asked", basis.asked)
    start = basis.study.tank.start_share * size
    if settled:
        start = simulate(water, asked, size, start=start, **(given | {"trace": False})).stored_end
    done = simulate(water, asked, size, start=start, **given)
    return done if capacity is not None else done.isel(capacity=0, drop=True)
