"""What the drought stage works on, and the same tank under other climates and longer droughts."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import xarray as xr

from rainharvest.catchment.facts import study_water
from rainharvest.core.errors import InputError
from rainharvest.core.kept import kept_folder
from rainharvest.core.quantities import attributes
from rainharvest.core.reader import percent
from rainharvest.demand.facts import study_demand
from rainharvest.demand.uses import essential_demand
from rainharvest.drought.change import WET_DAY, Change, Scenario, changed_rain, wet_day_spread
from rainharvest.drought.outlook import Flows, as_flows
from rainharvest.drought.tables import Drought
from rainharvest.rainfall.climatology import dry_spells
from rainharvest.rainfall.record import StudyRecord
from rainharvest.sizing.resample import BLOCK_YEARS, take_days, year_draws
from rainharvest.storage.facts import Flows as StudyFlows
from rainharvest.storage.simulate import simulate
from rainharvest.study.file import Study, read_study
from rainharvest.study.stages import Run, flows_of, parcel_of, record_of


@dataclass(frozen=True)
class Basis:
    """A study as its bad years see it: the tank on rain alone, unrationed."""

    study: Study  # What was asked
    record: StudyRecord  # Its rain
    inflow: xr.DataArray  # [L/day] (member, time): water at the inlet
    asked: xr.DataArray  # [L/day] On time: water asked for
    essential: xr.DataArray  # [L/day] The part of it that is never cut
    flows: Flows  # The same as plain arrays, for outlooks
    capacity: float  # [L] Usable tank size
    kept: str  # What counts as essential, in words

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
    """Return what the drought stage works on."""
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
    """Run the tank on rain alone, unrationed."""
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


RECORD = "the record"

DRAWS = 200

RUN = 3  # [year] of the driest run that drawn records are compared by


def scenarios_tried(
    basis: Basis, scenarios: Sequence[Scenario] | None = None, record: xr.Dataset | None = None
) -> xr.Dataset:
    """Run the tank on the record and on each scenario."""
    scenarios = basis.asks.scenario if scenarios is None else scenarios
    rows, months, said = [], [], []
    for k, one in enumerate([None, *scenarios]):
        if one is None and record is not None:
            continue
        try:
            rain, done = scenario_run(basis, one)
        except InputError as error:
            raise InputError(error.problem, error.remedy, f"drought.scenario[{k}]") from None
        years = rain.sizes["time"] / 365.25
        rows.append(
            (
                float(rain.sum()) / years,
                float((rain >= WET_DAY).mean()),
                wet_day_spread(rain),
                float(dry_spells(rain).dry_spell.values.max(initial=0)),
                float(done.volume_reliability),
                float(done.time_reliability),
                float(done.days_failed) / years,
                float(done.longest_failure),
            )
        )
        months.append(rain.groupby("time.month").sum().values / years)
        said.append(rain.attrs.get("scenario", "the record as it is"))
    names_of = ([] if record is not None else [RECORD]) + [s.name for s in scenarios]
    names = ("rain", "wet_share", "spread", "dry_spell", "volume_reliability", "time_reliability")
    names = tuple(f"scenario_{n}" for n in (*names, "failed_a_year", "longest_failure"))
    table = np.array(rows).T
    out = {n: ("scenario", v, attributes(n)) for n, v in zip(names, table, strict=True)}
    out["scenario_month"] = (("scenario", "calendar_month"), np.array(months), attributes("scenario_month"))
    coords = {
        "scenario": ("scenario", names_of, attributes("scenario")),
        "calendar_month": ("calendar_month", np.arange(1, 13), attributes("calendar_month")),
    }
    found = xr.Dataset(out, coords).assign_attrs(scenarios="\n".join(said))
    if record is None:
        return found
    both = xr.concat([record, found], "scenario", data_vars="minimal", combine_attrs="override")
    return both.assign_attrs(scenarios="\n".join([record.attrs["scenarios"], *said]))


def scenario_run(basis: Basis, scenario: Scenario | None) -> tuple[xr.DataArray, xr.Dataset]:
    """Run the tank under one scenario, its roofs and its demand as they are."""
    if scenario is None or (all(c.none for c in scenario.change) and scenario.trend_to is None):
        return basis.rain, simulated(basis)
    rain = changed_rain(basis.rain, scenario, seed=basis.study.rain.seed)
    filled = basis.record.filled.isel(member=[0])
    record = replace(basis.record, filled=filled.copy(data=rain.transpose(*filled.dims[1:]).values[None]))
    inflow = study_water(basis.study, record).inflow.isel(member=0, drop=True)
    asked = basis.asked
    if basis.study.garden or basis.study.pool:
        asked = study_demand(basis.study, record)[0].sum("use")
    return rain, simulated(basis, inflow, asked=asked)


def one_change(
    amount: float, frequency: float, intensity: float, months: Sequence[int] | None = None, trend_to=None
) -> Scenario:
    """Return the scenario of a panel's sliders."""
    season = {} if months is None else {"months": tuple(months)}
    change = Change(amount=amount, frequency=frequency, intensity=intensity, **season)
    return Scenario(name="yours", source="the reader's own factors", change=(change,), trend_to=trend_to)


def longer_droughts(
    basis: Basis, count: int = DRAWS, capacity: float | None = None, block_years: int | None = None
) -> xr.Dataset:
    """Run the tank on records drawn anew from the years there were, droughts longer than any among them.

    `rainharvest.sizing.resample`: years in blocks, each with what follows from its weather.
    """
    first = basis.inflow.isel(member=0, drop=True)
    blocks = int(BLOCK_YEARS.value) if block_years is None else block_years
    draws = year_draws(
        first, count=count, block_years=blocks, seed=basis.study.rain.seed, year_start_month=basis.month
    )
    days = {"time": draws.time.values}
    inflow, rain = (take_days(series.reset_coords(drop=True), draws) for series in (first, basis.rain))
    size = [basis.capacity if capacity is None else capacity]
    done, own = (
        simulated(basis, water, size, asked=basis.asked.sel(days)).isel(capacity=0, drop=True)
        for water in (inflow, first.sel(days))
    )
    edges = np.flatnonzero((draws.time.dt.day.values == 1) & (draws.time.dt.month.values == basis.month))
    out = {}
    for name, run, depth in (
        ("drawn", done, rain.transpose("draw", "time").values),
        ("record", own, basis.rain.sel(time=draws.time).values[None]),
    ):
        yearly = np.add.reduceat(depth, edges, axis=1)
        if yearly.shape[1] < RUN:
            raise InputError("fewer than 3 whole years", "give a longer record", "rain")
        means = np.lib.stride_tricks.sliding_window_view(yearly, RUN, axis=1).mean(axis=2)
        years = draws.sizes["time"] / 365.25
        values = {
            "driest_run": means.min(axis=1),
            "longest_failure": np.atleast_1d(run.longest_failure.values),
            "failed_a_year": np.atleast_1d(run.days_failed.values) / years,
            "volume_reliability": np.atleast_1d(run.volume_reliability.values),
        }
        for what, value in values.items():
            key = f"{name}_{what}"
            out[key] = (
                ("draw", value, attributes(key)) if name == "drawn" else ((), value[0], attributes(key))
            )
    return xr.Dataset(out, {"draw": ("draw", np.arange(count), attributes("draw"))}).assign_attrs(
        block_years=int(draws.attrs["block_years"])
    )
