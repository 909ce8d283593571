"""How long a dry spell to expect: exact for independent days, fitted for a record."""

from __future__ import annotations

import numpy as np
import xarray as xr

from rainharvest.errors import InputError
from rainharvest.names import attributes

EULER = 0.5772156649015329
FEWEST_YEARS = 10  # own choice: fewer yearly values hold no law
LONG_SPELL = 10.0  # [day] own choice, where none is given


def longest_run_chances(days: int, dry_share: float, longest: int | None = None) -> xr.DataArray:
    """Return the chance that the longest dry spell of independent days is no longer than each length.

    With a chance p of a dry day and q = 1 - p, the chance a_n that n days hold no run of k dry days is
    a_n = 1 for n < k, a_k = 1 - p^k, a_n = a_(n-1) - p^k q a_(n-k-1). "No longer than d" is "no run of d + 1".

    Parameters
    ----------
    days : int [day]
        How many days.
    dry_share : float [1]
        Chance that a day is dry, whatever the others were.
    longest : int [day], optional
        The longest length asked for; where the chance of a longer one falls below 1e-9 if not given.

    Returns
    -------
    DataArray [1]
        On ``spell_days``, from 0; the expected longest is the sum of one less each value.

    Raises
    ------
    InputError
        If there is no day or the chance does not lie between 0 and 1.

    Notes
    -----
    Feller (1968), An Introduction to Probability Theory and Its Applications, volume 1, chapter XIII, from
    memory; tested by counting every sequence of 12 days. Real dry days follow one another more often than
    independent ones: this is a yardstick, not a forecast.

    Examples
    --------
    >>> chances = longest_run_chances(3, 0.5)
    >>> chances.values
    array([0.125, 0.625, 0.875, 1.   ])
    """
    if days < 1 or days != int(days):
        raise InputError(f"{days} days", "give a whole number, 1 or more", "days")
    if not 0 < dry_share < 1:
        raise InputError(f"a chance of {dry_share:g}", "give one between 0 and 1", "dry_share")
    days = int(days)
    out = []
    for length in range(min(days, days if longest is None else longest) + 1):
        out.append(_no_run(days, length + 1, dry_share))
        if longest is None and 1 - out[-1] < 1e-9:
            break
    names = {"spell_days": ("spell_days", np.arange(len(out)), attributes("spell_days"))}
    return xr.DataArray(out, names, "spell_days", attrs=attributes("longest_chance"))


def _no_run(days: int, k: int, p: float) -> float:
    """Return the chance that so many days hold no run of k dry ones."""
    if k > days:
        return 1.0
    none = np.ones(days + 1)
    step = p**k * (1 - p)
    none[k] = 1 - p**k
    for n in range(k + 1, days + 1):
        none[n] = none[n - 1] - step * none[n - k - 1]
    return float(none[days])


def longest_in_years(longest_dry_spell, years=(1, 2, 5, 10, 20, 50, 100)) -> xr.Dataset:
    """Return the longest dry spell to expect in so many years, from the longest of each year of a record.

    The yearly longest follow a Gumbel law, F(x) = exp(-exp(-(x - u)/b)), fitted by L-moments:
    b = l2 / ln 2, u = l1 - 0.5772 b. The longest of n years is then expected at u + b (ln n + 0.5772), and
    a share s of such stretches stays below u + b (ln n - ln(-ln s)).

    Parameters
    ----------
    longest_dry_spell : array_like [day]
        The longest of each year; NaN where it is not known.
    years : sequence of float [year]
        Lengths of time.

    Returns
    -------
    Dataset
        On ``return_period``: ``longest_expected``, ``longest_low`` and ``longest_high`` [day], between which
        8 of 10 stretches of that length lie.

    Raises
    ------
    InputError
        If fewer than 10 years are known.

    Notes
    -----
    Gumbel (1958) and Hosking (1990), from memory. The years count as independent and alike; beyond the
    record's own length the answer is extrapolated.

    Examples
    --------
    >>> found = longest_in_years([20.0, 25, 31, 18, 22, 40, 27, 24, 29, 21], years=[10])
    >>> found.longest_low.item() < found.longest_expected.item() < found.longest_high.item()
    True
    """
    x = np.sort(np.asarray(longest_dry_spell, dtype=float).ravel())
    x = x[~np.isnan(x)]
    if x.size < FEWEST_YEARS:
        raise InputError(
            f"the longest dry spell is known of {x.size} years", f"give {FEWEST_YEARS} or more", "rain"
        )
    rank = np.arange(x.size)
    second = 2 * (rank / (x.size - 1) * x).mean() - x.mean()
    scale = second / np.log(2)
    place = x.mean() - EULER * scale
    years = np.asarray(years, dtype=float)

    def below(share: float) -> np.ndarray:
        return place + scale * (np.log(years) - np.log(-np.log(share)))

    curves = {
        "longest_expected": place + scale * (np.log(years) + EULER),
        "longest_low": below(0.1),
        "longest_high": below(0.9),
    }
    return xr.Dataset(
        {name: ("return_period", values, attributes(name)) for name, values in curves.items()},
        coords={"return_period": ("return_period", years, attributes("return_period"))},
    )


def spells_by_month(spells: xr.Dataset, years: float, long_spell: float = LONG_SPELL) -> xr.DataArray:
    """Count the long dry spells that begin in each month.

    Parameters
    ----------
    spells : Dataset
        As `rainharvest.rainfall.spells.dry_spells`.
    years : float [year]
        How many years the record knows.
    long_spell : float [day]
        Days from which a spell counts as long.

    Returns
    -------
    DataArray [1/year]
        On ``calendar_month``.

    Raises
    ------
    InputError
        If the length is below one day, or the record knows no day.

    Examples
    --------
    >>> import pandas as pd
    >>> from rainharvest.rainfall.spells import dry_spells
    >>> days = pd.date_range("2001-01-01", "2001-12-31")
    >>> found = dry_spells(pd.Series(1.0 * (days.month != 7), days))
    >>> spells_by_month(found, 1.0).sel(calendar_month=[6, 7]).values
    array([0., 1.])
    """
    if not long_spell >= 1:
        raise InputError(f"a long spell from {long_spell:g} days", "give 1 or more", "long_spell")
    if not years > 0:
        raise InputError("the record knows no day", "give a record with rain", "rain")
    begun = spells.spell_start.dt.month.values[spells.dry_spell.values >= long_spell]
    count = np.bincount(begun, minlength=13)[1:] / years
    names = {"calendar_month": ("calendar_month", np.arange(1, 13), attributes("calendar_month"))}
    return xr.DataArray(count, names, "calendar_month", attrs=attributes("spells_by_month"))
