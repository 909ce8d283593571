"""What the drought stage works on: the tank on rain alone, unrationed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from rainharvest.core.errors import require
from rainharvest.core.reader import percent
from rainharvest.demand.uses import essential_demand
from rainharvest.drought.outlook import Flows, as_flows
from rainharvest.drought.tables import Drought
from rainharvest.rainfall.record import StudyRecord
from rainharvest.storage.simulate import simulate


@dataclass(frozen=True)
class Basis:
    """A study as its bad years see it."""

    study: Any  # The study, whose tables say how other climates reach the tank
    record: StudyRecord  # Its rain
    inflow: xr.DataArray  # [L/day] (member, time): water at the inlet
    demand: xr.DataArray  # [L/day] On time
    flows: Flows  # The same as plain arrays, with the essential part of the demand, for outlooks
    capacity: float  # [L] Usable tank size
    essential_words: str  # What counts as essential
    marked_essential: bool = True  # Whether the study file says what is essential
    evapotranspiration: xr.DataArray | None = None  # [mm/day] That gardens and pools feel

    @property
    def table(self) -> Drought:
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


def basis_of(study, record: StudyRecord, flows, capacity: float) -> Basis:
    """Return what the drought stage works on: a study, its record, what enters its balance, a usable size."""
    require(
        study.arrangement.kind != "mains reserve",
        "a mains reserve takes no rain: no drought empties it",
        "see what its interruptions do, or choose another arrangement",
        "arrangement.kind",
    )
    demand = flows.demand.sum("use")
    essential = essential_demand(flows.demand)
    names = [str(use) for use in flows.demand.use.values[flows.demand.essential.values.astype(bool)]]
    words = f"essential: {', '.join(names)}"
    if not names:
        share = study.drought.essential_share
        essential = demand * share
        words = f"no use is marked essential: {percent(share)} of every use counts as essential"
    inflow = flows.water.inflow.transpose("member", "time")
    plain = as_flows(inflow, demand, essential)
    said = bool(names) or "essential_share" in study.drought.model_fields_set
    given = (study, record, inflow, demand, plain, float(capacity), words, said)
    return Basis(*given, flows.evapotranspiration)


def simulated(
    basis: Basis,
    inflow: xr.DataArray | None = None,
    capacity=None,
    *,
    settled: bool = False,
    demand: xr.DataArray | None = None,
    trace: bool = False,
) -> xr.Dataset:
    """Run the tank on rain alone, unrationed; settled: from the store with which the record ends."""
    water = basis.inflow.isel(member=0, drop=True) if inflow is None else inflow
    demand = basis.demand if demand is None else demand
    sizes = np.atleast_1d(basis.capacity if capacity is None else capacity)
    size = xr.DataArray(sizes, {"capacity": sizes}, ("capacity",))
    given = {"theta": basis.theta, "year_start_month": basis.month}
    start = basis.study.tank.start_share * size
    if settled:
        start = simulate(water, demand, size, start=start, **given).stored_end
    done = simulate(water, demand, size, start=start, **given, trace=trace)
    return done if np.ndim(capacity) else done.isel(capacity=0, drop=True)
