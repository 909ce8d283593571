"""The same site varied: fast enough for a slider."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

import numpy as np
from pydantic import ValidationError

from rainharvest.errors import InputError
from rainharvest.sizing.smallest import smallest_tank
from rainharvest.storage.simulate import simulate
from rainharvest.study.file_mistakes import found_by_pydantic
from rainharvest.study.file_siteworks import SiteWorks
from rainharvest.study.flows import Flows, balance_settings, study_water
from rainharvest.study.siteworks import planned, qualities_of, ten_year_day
from rainharvest.study.siteworks_things import Given, Works
from rainharvest.study.variant import Prepared, prepare


@dataclass(frozen=True)
class Ready:
    """A study's site with what does not change from one slider's move to the next.

    Parameters
    ----------
    prepared : Prepared
        The study on its first filled version.
    nominal : float [L]
        Nominal size at which the tank stands at first.
    ten_year_day : float [mm/day]
        Of its record.
    """

    prepared: Prepared
    nominal: float
    ten_year_day: float


def prepare_siteworks(path: str | os.PathLike, nominal: float | None = None) -> Ready:
    """Read a study once, for many variants of its site.

    Parameters
    ----------
    path : str or path
        The study file.
    nominal : float [L], optional
        Nominal size at first; the study's chosen one, else the smallest that reaches its target.

    Returns
    -------
    Ready
        To be given to `site_variant`.

    Raises
    ------
    InputError
        If the study cannot be run, or has no roof.
    """
    prepared = prepare(path)
    study = prepared.study
    size = nominal or study.tank.chosen
    if size is None:
        inflow = study_water(study, prepared.record).inflow.isel(member=0)
        target = study.target
        found = smallest_tank(inflow, prepared.asked.sum("use"), target.reliability, measure=target.measure)
        size = found.capacity / study.tank.usable_share
    if not 0 < size < np.inf:
        size = float(prepared.sizes[prepared.sizes.size // 2]) / study.tank.usable_share
    return Ready(prepared, float(size), ten_year_day(prepared.record.filled.isel(member=0, drop=True)))


def site_given(
    ready: Ready,
    nominal: float | None = None,
    area: float | None = None,
    freeboard_share: float | None = None,
) -> Given:
    """Simulate a study with another tank or other roofs, for its site works.

    Parameters
    ----------
    ready : Ready
        As `prepare_siteworks`.
    nominal : float [L], optional
        Nominal size of the tank.
    area : float [m2], optional
        Plan area of all roofs together.
    freeboard_share : float [1], optional
        Share of the nominal size above the overflow.

    Returns
    -------
    Given
        What `site_variant` works on.

    Raises
    ------
    InputError
        If a value is impossible.
    """
    prepared = ready.prepared
    study, size = prepared.study, ready.nominal if nominal is None else nominal
    if not 0 < size < np.inf:
        raise InputError(f"a tank of {size:g} L", "give a size above zero", "nominal")
    if area is not None:
        roofs = tuple(r.model_copy(update={"area": r.area * area / prepared.area}) for r in study.roof)
        study = study.model_copy(update={"roof": roofs})
    if freeboard_share is not None:
        tank = type(study.tank)(**(study.tank.model_dump() | {"freeboard_share": freeboard_share}))
        study = study.model_copy(update={"tank": tank})
    inflow = study_water(study, prepared.record).inflow.isel(member=0)
    flows = Flows(inflow.to_dataset(name="inflow"), prepared.asked, ())
    usable = study.tank.usable(size)
    asked = prepared.asked.sum("use")
    daily = simulate(inflow, asked, usable, **balance_settings(study, flows, usable), trace=True)
    daily = daily.isel(capacity=0, drop=True)[["stored", "spilled_daily"]].assign(inflow=inflow)
    return Given(
        nominal=size,
        dead_share=study.tank.dead_share,
        freeboard_share=study.tank.freeboard_share,
        mean_demand=float(asked.mean()),
        arrangement=study.arrangement.kind,
        qualities=qualities_of(study),
        catchment=study.catchment,
        daily=daily.reset_coords(drop=True),
        ten_year_day=ready.ten_year_day,
    )


def site_variant(ready: Ready, given: Given | None = None, **changes: object) -> Works:
    """Return the site works of a study with another site.

    Parameters
    ----------
    ready : Ready
        As `prepare_siteworks`.
    given : Given, optional
        As `site_given`; for the tank and the roofs of the study if not given.
    **changes
        Fields of `rainharvest.study.file_siteworks.SiteWorks` that are otherwise.

    Returns
    -------
    Works
        All of them.

    Raises
    ------
    InputError
        If a setting is impossible.
    """
    own = ready.prepared.study.site_works
    try:
        site = SiteWorks.model_validate(own.model_dump() | changes)
    except ValidationError as error:
        first = found_by_pydantic(error, SiteWorks, changes)[0]
        raise replace(first, loc=("site_works", *first.loc)).error(None) from None
    return planned(site, given or site_given(ready))
