"""Standardised precipitation index: how unusual the rain of the last months is for the time of year."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes

FEWEST_WET = 10  # own choice: fewer months with rain hold no shape
# classes of McKee, Doesken and Kleist (1993) as the IRI data library prints them; an edge belongs to the
# class farther from normal
EDGES = (-2.0, -1.5, -1.0, 1.0, 1.5, 2.0)
CLASSES = (
    "extremely dry",
    "severely dry",
    "moderately dry",
    "near normal",
    "moderately wet",
    "very wet",
    "extremely wet",
)


def standardised_precipitation_index(monthly_total: xr.DataArray, scale: int = 3) -> xr.DataArray:
    """Say how unusual the rain of the last ``scale`` months is, as a standard normal number.

    For each calendar month the sums of the months up to it follow a gamma law where they are above zero
    (maximum likelihood) and are zero with the chance q seen in the record: H(x) = q + (1 - q) G(x), and the
    index is the standard normal quantile of H.

    Parameters
    ----------
    monthly_total : DataArray [mm]
        Totals on ``month``, the first day of each of consecutive months; NaN where unknown.
    scale : int [1]
        How many months are summed.

    Returns
    -------
    DataArray [1]
        The index on ``month``: NaN for the first months, where a month of the sum is unknown, and for
        calendar months with fewer than 10 sums above zero.

    Raises
    ------
    InputError
        If the months do not follow one another or the scale is not a whole number of months.

    Notes
    -----
    McKee, Doesken and Kleist (1993), from memory, checked against a library. The whole record is the
    reference: 30 years or more are advised. A dry season of zero sums has an index above its rank, because
    all of them share the same H = q.

    Examples
    --------
    >>> from rainharvest.rainfall.describe import describe_rain
    >>> from rainharvest.rainfall.invented import invent_rain
    >>> found = describe_rain(invent_rain("temperate_all_year", 30, seed=1).isel(site=0))
    >>> index = standardised_precipitation_index(found.monthly_total, scale=6)
    >>> round(float(index.mean()), 2), round(float(index.std()), 1), int(index.isnull().sum())
    (0.00, 1.0, 5)
    """
    from scipy.special import gammainc, ndtri
    from scipy.stats import gamma

    if not isinstance(scale, int | np.integer) or scale < 1:
        raise InputError(f"the scale is {scale!r}", "give a whole number of months, 1 or more", "scale")
    month = monthly_total["month"].values.astype("datetime64[M]").astype(int)
    if (np.diff(month) != 1).any():
        raise InputError("the months do not follow one another", "give every month", "monthly_total")
    total = np.asarray(monthly_total.values, float)
    sums = np.full(len(total), np.nan)
    if len(total) >= scale:
        sums[scale - 1 :] = np.lib.stride_tricks.sliding_window_view(total, scale).sum(axis=1)
    index = np.full(len(total), np.nan)
    for calendar_month in range(12):
        here = (month % 12 == calendar_month) & ~np.isnan(sums)
        wet = here & (sums > 0)
        if wet.sum() < FEWEST_WET or np.ptp(sums[wet]) == 0:
            continue
        shape, _, size = gamma.fit(sums[wet], floc=0)
        none = 1 - wet.sum() / here.sum()
        index[here] = ndtri(none + (1 - none) * gammainc(shape, sums[here] / size))
    return xr.DataArray(
        index,
        {"month": monthly_total["month"]},
        "month",
        name="spi",
        attrs=attributes("spi", months=int(scale)),
    )


def spi_class(index: float) -> str:
    """Return the words for a value of the index.

    Parameters
    ----------
    index : float [1]
        A standardised precipitation index.

    Returns
    -------
    str
        One of ``CLASSES``, "unknown" for NaN.

    Examples
    --------
    >>> [spi_class(value) for value in (-2.0, -1.99, -1.0, 0.99, 1.0, 2.0)]
    ['extremely dry', 'severely dry', 'moderately dry', 'near normal', 'moderately wet', 'extremely wet']
    """
    if np.isnan(index):
        return "unknown"
    return CLASSES[int(np.searchsorted(EDGES, index, side="left" if index < 0 else "right"))]
