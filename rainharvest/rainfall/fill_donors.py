"""Neighbours as donors: which may serve, and what a day's rain there says of a day's rain here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rainharvest.errors import InputError
from rainharvest.rainfall.fill_input import Neighbour
from rainharvest.sources import Default

COMMON_DAYS = Default(365, "day", "working rule: three years wished for, one the least", "own choice")
CORRELATION = Default(0.4, "1", "daily Spearman rank correlation; below 0.6 with a warning", "own choice")
CORRELATION_WARN = Default(0.6, "1", "as above", "own choice")
DISTANCE = Default(
    150.0, "km", "Duarte et al. 2022 used 100 and 150 km (as reported in a summary)", "open data"
)
ELEVATION_WARN = Default(300.0, "m", "working rule", "own choice")
SHIFT_GAIN = Default(0.1, "1", "correlation gained by moving a day, taken as a shift", "own choice")


@dataclass(frozen=True)
class Donor:
    """A neighbour that may serve as donor.

    Parameters
    ----------
    name : str
        Its name.
    values : ndarray [mm/day]
        Its rain on the target's days.
    correlation : float [1]
        Daily Spearman rank correlation with the target.
    distance : float [km]
        Distance to the target, NaN where a position is not known.
    doubts : tuple of str
        What the report says of it.
    """

    name: str
    values: np.ndarray
    correlation: float
    distance: float
    doubts: tuple[str, ...] = ()


def distance_km(one: dict, other: dict) -> float:
    """Return the great-circle distance [km] between two records' positions, NaN where one is unknown.

    Examples
    --------
    >>> distance_km({"latitude": 0.0, "longitude": 0.0}, {"latitude": 0.0, "longitude": 1.0})
    111.19
    """
    try:
        places = [float(x[key]) for x in (one, other) for key in ("latitude", "longitude")]
    except (KeyError, TypeError, ValueError):
        return float("nan")
    lat1, lon1, lat2, lon2 = np.radians(places)
    half = np.sin((lat2 - lat1) / 2) ** 2 + np.cos(lat1) * np.cos(lat2) * np.sin((lon2 - lon1) / 2) ** 2
    return float(2 * 6371.0 * np.arcsin(np.sqrt(np.clip(half, 0, 1))))


def rank_correlation(one: np.ndarray, other: np.ndarray) -> tuple[float, int]:
    """Return the Spearman rank correlation of two daily series and the days that both know.

    Examples
    --------
    >>> rank_correlation(np.array([0.0, 1.0, 5.0, np.nan]), np.array([0.0, 2.0, 3.0, 1.0]))
    (1.0, 3)
    """
    both = np.isfinite(one) & np.isfinite(other)
    if both.sum() < 3:
        return float("nan"), int(both.sum())
    ranks = pd.DataFrame({"one": one[both], "other": other[both]}).rank().to_numpy()
    if (ranks.std(axis=0) == 0).any():
        return float("nan"), int(both.sum())
    return float(np.corrcoef(ranks.T)[0, 1]), int(both.sum())


def choose_donors(
    sound: np.ndarray, attrs: dict, neighbours: Sequence[Neighbour]
) -> tuple[list[Donor], list[str]]:
    """Return the neighbours that may serve, best correlated first, and why the others may not.

    A donor has at least 365 days in common with the target, a daily Spearman rank correlation of at least
    0.4 (below 0.6 it is used with a warning), stands no more than 150 km off where both positions are
    known, and is not out of step: if moving it by a day raises the correlation by more than 0.1, its days
    are reckoned otherwise and it is refused.

    Parameters
    ----------
    sound : ndarray (time,) [mm/day]
        The sound days of the record to fill, NaN elsewhere.
    attrs : dict
        Its attributes.
    neighbours : list of Neighbour

    Returns
    -------
    donors : list of Donor
    refused : list of str
    """
    donors, refused = [], []
    for item in neighbours:
        correlation, common = rank_correlation(sound, item.values)
        distance = distance_km(attrs, item.attrs)
        if common < COMMON_DAYS.value:
            refused.append(f"{item.name} has only {common} days in common with the record")
            continue
        shifted = {step: rank_correlation(sound, np.roll(item.values, step))[0] for step in (-1, 1)}
        step = max(shifted, key=lambda s: np.nan_to_num(shifted[s], nan=-1))
        if shifted[step] > np.nan_to_num(correlation) + SHIFT_GAIN.value:
            refused.append(
                f"{item.name} stands one day {'early' if step == 1 else 'late'} (correlation "
                f"{shifted[step]:.2f} when moved, {correlation:.2f} as it is): move it by {step:+d} day "
                "and fill again"
            )
            continue
        if not correlation >= CORRELATION.value:
            refused.append(f"{item.name} agrees too little (rank correlation {correlation:.2f}, least 0.40)")
            continue
        if distance > DISTANCE.value:
            refused.append(f"{item.name} is {distance:.0f} km away (at most {DISTANCE.value:.0f})")
            continue
        doubts = []
        if correlation < CORRELATION_WARN.value:
            doubts.append(f"{item.name} is a weak donor (rank correlation {correlation:.2f})")
        try:
            climb = abs(float(attrs["elevation"]) - float(item.attrs["elevation"]))
        except (KeyError, TypeError, ValueError):
            climb = 0.0
        if climb > ELEVATION_WARN.value:
            doubts.append(f"{item.name} stands {climb:.0f} m higher or lower")
        donors.append(Donor(item.name, item.values, correlation, distance, tuple(doubts)))
    return sorted(donors, key=lambda d: -d.correlation), refused


def best_donor(donors: Sequence[Donor], days: np.ndarray) -> np.ndarray:
    """Return, for each of some days, the place in ``donors`` of the best that has a value, or -1."""
    best = np.full(len(days), -1)
    for place in range(len(donors) - 1, -1, -1):
        best[np.isfinite(donors[place].values[days])] = place
    return best


def normal_ratio(values: np.ndarray, normals: np.ndarray, normal: float) -> np.ndarray:
    """Return the normal-ratio estimate: the mean of the neighbours' rain, each scaled by the normals.

    P = (N / n) sum(P_i / N_i), over the neighbours that have a value.

    Parameters
    ----------
    values : ndarray (neighbour, ...) [mm/day]
        Rain at the neighbours, NaN where unknown.
    normals : ndarray (neighbour,)
        Their normal rain, in any one unit.
    normal : float
        The site's own normal, in the same unit.

    Returns
    -------
    ndarray [mm/day]
        The estimate; NaN where no neighbour has a value. A mean is never dry unless all are: it makes too
        many wet days and is offered for comparison.

    Examples
    --------
    >>> float(normal_ratio(np.array([110.0, 90.0, 70.0]), np.array([1100.0, 1200.0, 1250.0]), 1000.0))
    77.0
    """
    values = np.asarray(values, dtype=float)
    normals = np.asarray(normals, dtype=float).reshape((-1,) + (1,) * (values.ndim - 1))
    if not (np.all(normals > 0) and normal > 0):
        raise InputError("a normal is not above zero", "give the normals of wet stations", "normals")
    return _weighted_mean(values * normal / normals, np.ones(values.shape[0]))


def inverse_distance(values: np.ndarray, distances: np.ndarray, power: float = 2.0) -> np.ndarray:
    """Return the mean of the neighbours' rain weighted by an inverse power of their distances.

    P = sum(P_i / d_i^p) / sum(1 / d_i^p), over the neighbours that have a value; a dry neighbour counts.

    Parameters
    ----------
    values : ndarray (neighbour, ...) [mm/day]
        Rain at the neighbours, NaN where unknown.
    distances : ndarray (neighbour,)
        Their distances from the site, in any one unit.
    power : float [1]
        The exponent; Moeletsi et al. 2016 found 2 to 2.5 best for daily rain.

    Returns
    -------
    ndarray [mm/day]
        The estimate; NaN where no neighbour has a value.

    Examples
    --------
    >>> float(inverse_distance(np.array([98.0, 80.0, 110.0]), np.array([15.0, 73.0, 36.0])))
    99.088
    """
    values, distances = np.asarray(values, dtype=float), np.asarray(distances, dtype=float)
    if not np.all(distances > 0):
        raise InputError("a distance is not above zero", "give each neighbour's distance", "distances")
    return _weighted_mean(values, distances**-power)


def _weighted_mean(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    known = np.isfinite(values)
    weights = weights.reshape((-1,) + (1,) * (values.ndim - 1)) * known
    total = weights.sum(axis=0)
    summed = (np.where(known, values, 0.0) * weights).sum(axis=0)
    return np.where(total > 0, summed / np.where(total > 0, total, 1.0), np.nan)[()]
