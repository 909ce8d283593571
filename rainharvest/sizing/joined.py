"""The balance of many sizes in a few versions with as little around it as can be; dry days joined into one step."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from rainharvest.errors import InputError
from rainharvest.storage.balance import BY_YEAR, LANES, TOTALS, balance


def join_dry_days(inflow, *others) -> tuple[np.ndarray, ...]:
    """Return series in which the dry days between two wet ones are one step.

    While nothing flows in, a tank delivers min(what is asked, what it holds), whether that is asked on one
    day or over several: so volumes delivered, spilled and stored at the ends of the steps stay the same
    for every rule of spillage. Days that fail are no longer counted, and rationing no longer sees each
    morning: use the days themselves there.

    Parameters
    ----------
    inflow : ndarray [L/day]
        Water at the tank inlet, time last; a day is dry where no row has any.
    *others : ndarray [L/day]
        Further series, time last, summed over the same steps.

    Returns
    -------
    tuple of ndarray [L]
        All of them by steps.

    Raises
    ------
    InputError
        If the lengths differ.

    Examples
    --------
    >>> join_dry_days(np.array([5.0, 0, 0, 0, 2, 3, 0]), np.ones(7))
    (array([5., 0., 2., 3., 0.]), array([1., 3., 1., 1., 1.]))
    """
    days = inflow.shape[-1]
    if any(series.shape[-1] != days for series in others):
        raise InputError("the series differ in length", "give one value a day in each", "others")
    wet = (inflow > 0).reshape(-1, days).any(axis=0)
    # A step begins on each wet day, and on a dry day that follows a wet one.
    begins = wet.copy()
    begins[1:] |= wet[:-1]
    begins[:1] = True
    starts = np.flatnonzero(begins)
    return tuple(np.add.reduceat(series, starts, axis=-1) for series in (inflow, *others))


def padded(rows: list[np.ndarray]) -> np.ndarray:
    """Return rows of different lengths as one array; the steps added ask for nothing and bring nothing.

    Parameters
    ----------
    rows : list of ndarray
        Each with time last, alike in their other dimensions.

    Returns
    -------
    ndarray
        (row, ..., step).

    Examples
    --------
    >>> padded([np.array([1.0, 2.0]), np.array([3.0])])
    array([[1., 2.],
           [3., 0.]])
    """
    longest = max(row.shape[-1] for row in rows)
    out = np.zeros((len(rows), *rows[0].shape[:-1], longest))
    for k, row in enumerate(rows):
        out[k, ..., : row.shape[-1]] = row
    return out


def run_versions(
    inflow: np.ndarray,
    demand: np.ndarray,
    capacity: np.ndarray,
    *,
    theta: float = 0.0,
    start_share: float = 0.0,
    essential: np.ndarray | None = None,
    ration_level_share: np.ndarray | None = None,
    ration_share: np.ndarray | None = None,
    threads: int = 1,
) -> dict[str, np.ndarray]:
    """Simulate every size in every version, and return the totals: what `rainharvest.simulate` does, unlabelled.

    Nothing is checked: give what has been through `rainharvest.simulate` before.

    Parameters
    ----------
    inflow, demand : ndarray [L/day]
        (version, step), contiguous.
    capacity : ndarray [L]
        Usable sizes.
    theta : float [1]
        Storage operating parameter.
    start_share : float [1]
        Share of the tank that is full at first.
    essential : ndarray [L/day], optional
        (version, step): what rationing spares.
    ration_level_share, ration_share : ndarray [1], optional
        For each stage: share of the tank below which it begins, share still served.
    threads : int [1]
        Blocks of tanks simulated side by side.

    Returns
    -------
    dict of str to ndarray
        Each of `rainharvest.storage.balance.TOTALS` on (version, capacity).

    Examples
    --------
    >>> done = run_versions(np.array([[0.0, 3, 8, 0, 2, 0, 0]]), np.full((1, 7), 2.0), np.array([2.0, 5.0]))
    >>> done["drawn"], done["days_failed"]
    (array([[5., 7.]]), array([[5., 4.]]))
    """
    versions, steps = inflow.shape
    years = np.array([0, steps])
    out = np.empty((len(TOTALS), versions, capacity.size))

    def block(job: tuple[int, int]) -> None:
        version, first = job
        size = capacity[np.minimum(np.arange(first, first + LANES), capacity.size - 1)]
        tank = np.array([size, np.full(LANES, theta), start_share * size])
        rationed = ration_level_share is not None
        total, by_year = np.empty((len(TOTALS), LANES)), np.empty((len(BY_YEAR), 1, LANES))
        balance(
            inflow[version],
            demand[version],
            essential[version] if rationed else None,
            None,
            tank,
            ration_level_share[:, None] * size if rationed else None,
            np.repeat(ration_share[:, None], LANES, axis=1) if rationed else None,
            None,
            years,
            total,
            by_year,
            None,
        )
        out[:, version, first : first + LANES] = total[:, : capacity.size - first]

    jobs = [(v, first) for v in range(versions) for first in range(0, capacity.size, LANES)]
    if threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(block, jobs))
    else:
        for job in jobs:
            block(job)
    return dict(zip(TOTALS, out, strict=True))
