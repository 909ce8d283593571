"""What the analyst asks of the results: dry against wet, the places, which statistics explain a cost."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.climates.cells import STATISTICS
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes

EXPLAINING = ("mean_storm", "mean_dry_spell", "seasonality", "mean_intensity")

"""Statistics that are tried where no others are named."""


MOST = 4000

"""Places that are grouped directly; of more, so many evenly chosen ones, and the rest go to the nearest group."""


def explain(outcome: xr.DataArray, climate: xr.Dataset, statistics: Sequence[str] = EXPLAINING) -> xr.Dataset:
    """Return how an outcome goes with each statistic of the climate over the places.

    ``rank_correlation`` is Spearman's. ``rank_slope`` is that of a regression of the outcome's ranks on the ranks
    of all statistics at once, standardised; ``explained`` is the share of variance that it explains, and
    ``explained_without`` the same with one statistic left out: a statistic whose leaving out costs nothing tells
    nothing that the others do not. ``between`` holds the rank correlations among the statistics.

    No chance of error is given: neighbouring places share their weather, so that a grid has far fewer independent
    places than cells, and a correlation over places does not say what would change if a statistic did.

    Parameters
    ----------
    outcome : DataArray
        One value a place.
    climate : Dataset
        The statistics at the same places.
    statistics : list of str
        Which of them.

    Returns
    -------
    Dataset
        On ``statistic``; attribute ``places``: how many entered.

    Raises
    ------
    InputError
        If fewer than five places are known, or the outcome is the same everywhere.

    Examples
    --------
    >>> x = xr.DataArray([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], dims="site")
    >>> found = explain(x**2, xr.Dataset({"mean_storm": x, "seasonality": -x % 3}), ["mean_storm", "seasonality"])
    >>> found.rank_correlation.round(2).values, float(found.explained)
    (array([ 1.  , -0.48]), 1.0)
    """
    from scipy.stats import rankdata, spearmanr

    names = list(statistics)
    columns = np.stack([climate[name].transpose(*outcome.dims).values.ravel() for name in names])
    values = outcome.values.ravel().astype(float)
    known = np.isfinite(values) & np.isfinite(columns).all(axis=0)
    if known.sum() < len(names) + 2:
        raise InputError(
            f"only {int(known.sum())} places are known", f"give at least {len(names) + 2}", "outcome"
        )
    if np.ptp(values[known]) == 0:
        raise InputError("the outcome is the same everywhere", "there is nothing to explain", "outcome")
    ranks = np.stack([rankdata(row[known]) for row in (values, *columns)])
    ranks -= ranks.mean(axis=1, keepdims=True)
    spread = ranks.std(axis=1, keepdims=True)
    ranks = np.divide(ranks, spread, out=np.zeros_like(ranks), where=spread > 0)
    rho = np.array(
        [spearmanr(values[known], row[known])[0] if np.ptp(row[known]) else np.nan for row in columns]
    )
    slopes, explained = _regression(ranks[0], ranks[1:])
    without = [_regression(ranks[0], np.delete(ranks[1:], k, axis=0))[1] for k in range(len(names))]
    between = ranks[1:] @ ranks[1:].T / known.sum()
    out = xr.Dataset(
        {
            "rank_correlation": ("statistic", rho, attributes("rank_correlation")),
            "rank_slope": ("statistic", slopes, attributes("rank_slope")),
            "explained": ((), explained, attributes("explained")),
            "explained_without": ("statistic", without, attributes("explained")),
            "between": (("statistic", "other"), between, attributes("rank_correlation")),
        },
        {"statistic": names, "other": names},
    )
    out.attrs = {"places": int(known.sum()), "outcome": str(outcome.name or "")}
    return out


def _regression(ranks: np.ndarray, on: np.ndarray) -> tuple[np.ndarray, float]:
    """Return the slopes of standardised ranks on others, and the share explained."""
    from scipy.linalg import lstsq

    if not on.shape[0]:
        return np.empty(0), 0.0
    slopes = lstsq(on.T, ranks)[0]
    return slopes, float(1 - ((ranks - slopes @ on) ** 2).sum() / (ranks**2).sum())


def group_climates(climate: xr.Dataset, groups: int = 4, statistics: Sequence[str] = ()) -> xr.Dataset:
    """Return groups of places whose climates are alike.

    The statistics are standardised over the places and joined from the bottom up by Ward's criterion: at each step
    the two groups whose union adds least to the spread within groups. The number of groups is the reader's choice;
    climates change gradually, so that a border between two groups is where the method cut, and no wall.

    >>> rain = xr.DataArray([1400.0, 1380.0, 300.0, 310.0], dims="site")
    >>> group_climates(xr.Dataset({"rain_year": rain}), 2, ["rain_year"]).group.values
    array([1., 1., 2., 2.])
    """
    from scipy.cluster.hierarchy import fcluster, linkage

    names = list(statistics) or ["rain_year", "mean_storm", "mean_dry_spell", "seasonality", "annual_cv"]
    first = climate["rain_year" if "rain_year" in climate else names[0]]
    columns = np.stack([climate[name].transpose(*first.dims).values.ravel() for name in names], axis=1)
    known = np.flatnonzero(np.isfinite(columns).all(axis=1))
    if not 1 <= groups <= known.size:
        raise InputError(f"{groups} groups of {known.size} places", "ask for fewer groups", "groups")
    mean, spread = columns[known].mean(axis=0), columns[known].std(axis=0)
    scaled = (columns[known] - mean) / np.where(spread > 0, spread, 1.0)
    chosen = np.unique(np.linspace(0, known.size - 1, min(known.size, MOST)).astype(int))
    if chosen.size == 1:
        of_chosen = np.array([1])
    else:
        of_chosen = fcluster(linkage(scaled[chosen], "ward"), groups, "maxclust")
    labels = np.unique(of_chosen)
    middles = np.stack([scaled[chosen][of_chosen == k].mean(axis=0) for k in labels])
    nearest = ((scaled[:, None] - middles[None]) ** 2).sum(axis=2).argmin(axis=1)
    nearest[chosen] = np.searchsorted(labels, of_chosen)
    order = np.argsort([-first.values.ravel()[known][nearest == k].mean() for k in range(labels.size)])
    number = np.empty(labels.size)
    number[order] = np.arange(1, labels.size + 1)
    out = np.full(first.size, np.nan)
    out[known] = number[nearest]
    means = {
        name: ("of_group", [columns[out == k, i].mean() for k in range(1, labels.size + 1)], attributes(name))
        for i, name in enumerate(names)
    }
    data = {
        "group": (first.dims, out.reshape(first.shape), attributes("group")),
        "places": (
            "of_group",
            [int((out == k).sum()) for k in range(1, labels.size + 1)],
            {"long_name": "Places"},
        ),
    }
    coords = {n: c.variable for n, c in first.coords.items() if set(c.dims) <= set(first.dims)}
    return xr.Dataset(data | means, coords | {"of_group": np.arange(1, labels.size + 1)})


CLIMATE = (*STATISTICS, "mean_intensity")

"""The climate of a place in numbers."""


def at_size(results: xr.Dataset, capacity: float) -> xr.Dataset:
    """Return what one tank does at every place."""
    return results.drop_vars("done", errors="ignore").sel(capacity=capacity, method="nearest")


def dry_against_wet(results: xr.Dataset, dry: str = "dry run", wet: str = "wet run") -> xr.Dataset:
    """Return what the wet run costs at every place, and how its water stands.

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
    """Return a row for every place: its climate, and what one tank does there by each run of pipe."""
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
