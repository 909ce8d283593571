"""What is put to every climate: runs of pipe, tank sizes, arrangements, one demand; and its digest."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

import rainharvest
from rainharvest.catchment.choose import BORES
from rainharvest.catchment.intensity import Intensity
from rainharvest.catchment.parts import DRYING, INTENSITY, Catchment
from rainharvest.catchment.standing import STANDING_LIMIT
from rainharvest.catchment.working import require_working
from rainharvest.climates.grid import Grid
from rainharvest.climates.statistics import WET_DAY
from rainharvest.errors import InputError
from rainharvest.storage.arrangements import arrangement_settings

ARRANGEMENTS = ("rain only", "combined")
"""Arrangements in which the climate matters; a mains reserve takes no rain."""


@dataclass(frozen=True)
class Plan:
    """One building, put to every climate alike.

    Parameters
    ----------
    catchments : dict of str to Catchment
        The same roofs with each run of pipe, by its name.
    demand : DataArray [L/day]
        Water asked of the tank, on ``time``.
    capacity : tuple of float [L]
        Usable tank sizes, rising.
    arrangements : tuple of str
        Of `ARRANGEMENTS`.
    target : float [1]
        Reliability that the tank must reach.
    measure : str
        "volume_reliability" or "time_reliability", of the first arrangement.
    intensity : Intensity
        How hard it rains; its mean gives way to that of the grid where the grid has one.
    drying : float [mm/day]
        Most that a wet roof loses to the air in a day.
    standing_limit : float [day]
        Standing water older than this counts as too old.
    wet_day : float [mm/day]
        A day with at least this much rain is wet.
    bores : tuple of float [mm]
        Bores of the wet run among which the best is sought; empty to leave that out, which saves time.
    theta : float [1]
        Storage operating parameter.
    start_share : float [1]
        Share of the tank that is full on the first morning.
    year_start_month : int [1]
        First month of the hydrological year.
    """

    catchments: dict[str, Catchment]
    demand: xr.DataArray
    capacity: tuple[float, ...]
    arrangements: tuple[str, ...] = ("rain only",)
    target: float = 0.9
    measure: str = "volume_reliability"
    intensity: Intensity = INTENSITY
    drying: float = DRYING.value
    standing_limit: float = STANDING_LIMIT.value
    wet_day: float = WET_DAY.value
    bores: tuple[float, ...] = BORES
    theta: float = 0.0
    start_share: float = 0.0
    year_start_month: int = 1

    @property
    def sizes(self) -> xr.DataArray:
        """The usable sizes as a setting of the balance [L]."""
        at = np.array(self.capacity, dtype=float)
        return xr.DataArray(at, {"capacity": at}, ("capacity",))

    @property
    def wet_run(self) -> str | None:
        """Name of the first wet run, for which bores are tried."""
        wet = (
            n for n, c in self.catchments.items() if c.conveyance is not None and c.conveyance.kind == "wet"
        )
        return next(wet, None)

    def settings(self, arrangement: str) -> dict[str, object]:
        """Return the settings of the balance for an arrangement."""
        return arrangement_settings(arrangement, self.sizes, start_share=self.start_share) | {
            "theta": self.theta
        }


def check_plan(plan: Plan) -> None:
    """Refuse a plan that cannot be worked, before anything is read.

    Parameters
    ----------
    plan : Plan
        The plan.

    Raises
    ------
    InputError
        If a run of pipe cannot work, sizes do not rise, or an arrangement takes no rain.
    """
    if not plan.catchments:
        raise InputError("there is no run of pipe", "give at least one catchment", "catchments")
    for name, catchment in plan.catchments.items():
        if catchment.conveyance is not None:
            try:
                require_working(catchment.conveyance)
            except InputError as error:
                raise InputError(error.problem, error.remedy, f"conveyance.{name}") from None
    sizes = np.array(plan.capacity, dtype=float)
    if not sizes.size or (sizes < 0).any() or (np.diff(sizes) <= 0).any():
        raise InputError("the tank sizes do not rise from zero", "give each once, smallest first", "capacity")
    if not plan.arrangements:
        raise InputError("there is no arrangement", f"give one of {', '.join(ARRANGEMENTS)}", "arrangements")
    for kind in plan.arrangements:
        if kind not in ARRANGEMENTS:
            raise InputError(
                f'"{kind}" is the same in every climate, or unknown',
                f"give one of {', '.join(ARRANGEMENTS)}",
                "arrangements",
            )
    if not 0 < plan.target <= 1:
        raise InputError(f"{plan.target:g} is no reliability", "give a share above 0 and up to 1", "target")


def digest_parts(plan: Plan, grid: Grid) -> dict[str, str]:
    """Return digests of all that a result depends on, part by part, so that a mismatch can be named.

    Every byte of the rain's files is read.

    Parameters
    ----------
    plan : Plan
        The plan.
    grid : Grid
        The rain.

    Returns
    -------
    dict of str to str
        SHA-256 by part.
    """
    settings = {
        name: getattr(plan, name)
        for name in plan.__dataclass_fields__
        if name not in ("catchments", "demand", "intensity", "capacity")
    }
    where = {n: np.asarray(v.values).tolist() for n, v in grid.coords.items()}
    return {
        "rain": rain_digest(grid),
        "places": _of(json.dumps([grid.space, where, _bytes_of(grid.mask), _bytes_of(grid.mean_intensity)])),
        "roofs and pipes": _of(
            json.dumps({n: c.model_dump(mode="json") for n, c in plan.catchments.items()})
            + plan.intensity.model_dump_json()
        ),
        "demand": _of(np.ascontiguousarray(plan.demand.values, dtype=float).tobytes()),
        "tank sizes": _of(json.dumps(list(map(float, plan.capacity)))),
        "settings": _of(json.dumps(settings, sort_keys=True)),
        "version of rainharvest": _of(rainharvest.__version__),
    }


def rain_digest(grid: Grid) -> str:
    """Return the digest of the rain: of its files, or of its values where it has none.

    Parameters
    ----------
    grid : Grid
        The rain.

    Returns
    -------
    str
        SHA-256, in hexadecimal.
    """
    whole = hashlib.sha256(json.dumps([grid.unit.text, grid.unit.factor, grid.unit.per, grid.dust]).encode())
    whole.update(pd.Series(grid.days).to_numpy().tobytes())
    for place in grid.places:
        whole.update(place.tobytes())
    if not grid.files:
        for piece in grid.pieces:
            whole.update(np.ascontiguousarray(piece.transpose(*grid.space, "time").values).tobytes())
    for path in grid.files:
        inside = sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
        for file in inside:
            with open(file, "rb") as handle:
                whole.update(hashlib.file_digest(handle, "sha256").digest())
    return whole.hexdigest()


def _of(data: str | bytes) -> str:
    return hashlib.sha256(data.encode() if isinstance(data, str) else data).hexdigest()


def _bytes_of(array: xr.DataArray | None) -> str:
    return "" if array is None else _of(np.ascontiguousarray(array.values).tobytes())
