"""What the analyst asks of the results: dry against wet, a table of the places, how many places reach the target."""

from __future__ import annotations

import pandas as pd
import xarray as xr

from rainharvest.climates.statistics import STATISTICS
from rainharvest.errors import InputError
from rainharvest.names import attributes

CLIMATE = (*STATISTICS, "mean_intensity")
"""The climate of a place in numbers."""


def at_size(results: xr.Dataset, capacity: float) -> xr.Dataset:
    """Return what one tank does at every place.

    Parameters
    ----------
    results : Dataset
        As `rainharvest.climates.store.open_climates`.
    capacity : float [L]
        Usable size; the nearest of those tried is taken.

    Returns
    -------
    Dataset
        Without ``capacity`` as a dimension.
    """
    return results.drop_vars("done", errors="ignore").sel(capacity=capacity, method="nearest")


def dry_against_wet(results: xr.Dataset, dry: str = "dry run", wet: str = "wet run") -> xr.Dataset:
    """Return what the wet run costs at every place, and how its water stands.

    Parameters
    ----------
    results : Dataset
        As `rainharvest.climates.store.open_climates`.
    dry, wet : str
        Names of the two runs of pipe.

    Returns
    -------
    Dataset
        ``wet_cost`` (share of the dry run's water that the wet run does not bring), ``lost_a_year`` on
        ``cause``: "held water and bleed", and "capacity" for what each run turns away when it backs up;
        ``standing_spells_a_year``, ``longest_standing``, ``standing_share`` and ``best_bore`` of the wet run.

    Raises
    ------
    InputError
        If the results do not have both runs.

    Examples
    --------
    >>> runs = ["dry run", "wet run"]
    >>> results = xr.Dataset(
    ...     {
    ...         "brought_a_year": ("conveyance", [100.0, 80.0]),
    ...         "lost_a_year": (("conveyance", "loss"), [[1.0, 0.0], [6.0, 15.0]]),
    ...         **{n: ("conveyance", [0.0, 3.0]) for n in STANDING},
    ...         "best_bore": ((), 80.0),
    ...     },
    ...     {"conveyance": runs, "loss": ["pipe capacity", "held in pipe"]},
    ... )
    >>> found = dry_against_wet(results)
    >>> float(found.wet_cost), found.lost_a_year.values
    (0.2, array([15.,  1.,  6.]))
    """
    names = [str(n) for n in results.conveyance.values]
    for name in (dry, wet):
        if name not in names:
            raise InputError(f"the results have no {name!r}", f"name two of {', '.join(names)}", "conveyance")
    brought = results.brought_a_year
    cost = 1 - brought.sel(conveyance=wet, drop=True) / brought.sel(conveyance=dry, drop=True).where(
        brought.sel(conveyance=dry, drop=True) > 0
    )
    lost = results.lost_a_year
    parts = [
        lost.sel(conveyance=wet, loss="held in pipe", drop=True),
        lost.sel(conveyance=dry, loss="pipe capacity", drop=True),
        lost.sel(conveyance=wet, loss="pipe capacity", drop=True),
    ]
    causes = xr.DataArray(CAUSES, dims="cause", name="cause")
    out = xr.Dataset(
        {"wet_cost": cost, "lost_a_year": xr.concat(parts, causes, coords="minimal", compat="override")}
    )
    for name in STANDING:
        out[name] = results[name].sel(conveyance=wet, drop=True)
    out["best_bore"] = results.best_bore
    for name in out.data_vars:
        out[name].attrs = attributes(name)
    return out


CAUSES = ["held water and bleed of the wet run", "capacity of the dry run", "capacity of the wet run"]
STANDING = ("standing_spells_a_year", "longest_standing", "standing_share")


def places_table(results: xr.Dataset, capacity: float) -> pd.DataFrame:
    """Return a row for every place: its climate, and what one tank does there by each run of pipe.

    Parameters
    ----------
    results : Dataset
        As `rainharvest.climates.store.open_climates`.
    capacity : float [L]
        Usable size of the tank.

    Returns
    -------
    DataFrame
        Column names carry their unit; places that are missing are left out.
    """
    one = at_size(results, capacity)
    space = [d for d in one.mean_storm.dims]
    columns: dict[str, xr.DataArray] = {}
    for name in CLIMATE:
        columns[_head(name)] = one[name]
    columns["usable tank size [L]"] = xr.full_like(one.mean_storm, float(one.capacity))
    for run in one.conveyance.values:
        here = one.sel(conveyance=run)
        for name in ("brought_a_year", *STANDING):
            columns[f"{run}: {_head(name)}"] = here[name]
        for kind in one.arrangement.values:
            label = f"{run}, {kind}" if one.sizes["arrangement"] > 1 else str(run)
            for name in (
                "reaching",
                "volume_reliability",
                "time_reliability",
                "yearly_yield",
                "driest_decade_yield",
            ):
                columns[f"{label}: {_head(name)}"] = here[name].sel(arrangement=kind)
    columns[_head("best_bore")] = one.best_bore
    flat = xr.Dataset({k: v.reset_coords(drop=True) for k, v in columns.items()})
    table = flat.to_dataframe().reset_index()
    for name in ("latitude", "longitude"):
        if name in one.coords and name not in space:
            table.insert(len(space), name, one[name].values.ravel())
    return table[table[_head("mean_storm")].notna()].reset_index(drop=True)


def _head(name: str) -> str:
    about = attributes(name)
    return f"{str(about['long_name']).lower()} [{about['units']}]"
