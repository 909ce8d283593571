"""Factors of present worth: a payment of a later year in money of today, and a capital spread over years."""

from __future__ import annotations

import math

import numpy as np

from rainharvest.errors import InputError


def present_worth_factor(rate: float, life: float, growth: float = 0.0) -> float:
    """Return the present worth of a payment made at the end of each year (P/A).

    P/A = (1 - ((1 + g) / (1 + i))^n) / (i - g), and n / (1 + i) where i = g. The payment is one unit at the
    end of the first year and grows by g from each year to the next; with g = 0 it is the (P/A, i, n) of
    the tables.

    Parameters
    ----------
    rate : float [1/year]
        Discount rate; real where the amounts are of today.
    life : float [year]
        Years over which it is paid.
    growth : float [1/year]
        Growth of the payment, above inflation where the rate is real.

    Returns
    -------
    float [year]
        The factor; its inverse (A/P) spreads a capital over the years.

    Raises
    ------
    InputError
        If the rate is below zero, the growth is -1 or less, or the life is not above zero.

    Examples
    --------
    >>> round(present_worth_factor(0.035, 20), 4)
    14.2124
    >>> present_worth_factor(0.0, 20), round(present_worth_factor(0.04, 20, growth=0.04), 4)
    (20.0, 19.2308)
    """
    if not rate >= 0:
        raise InputError(f"a discount rate of {rate}", "give a rate of zero or more", "rate")
    if not life > 0:
        raise InputError(f"a life of {life} years", "give a life above zero", "life")
    if not growth > -1:
        raise InputError(f"a growth of {growth} a year", "give a growth above -1", "growth")
    if rate == growth:
        return float(life) / (1.0 + rate)
    # Written with expm1 and log1p: rate and growth may differ by next to nothing.
    return -math.expm1(life * math.log1p((growth - rate) / (1.0 + rate))) / (rate - growth)


def real_rate(nominal_rate: float, inflation: float) -> float:
    """Return the real rate that a nominal rate and inflation leave (Fisher relation).

    1 + i = (1 + r)(1 + f), r the real and i the nominal rate, f inflation. The difference i - f is close to
    r only where both are small.

    Parameters
    ----------
    nominal_rate : float [1/year]
        Rate in money of each year.
    inflation : float [1/year]
        Yearly rise of prices.

    Returns
    -------
    float [1/year]
        Rate in money of today.

    Raises
    ------
    InputError
        If either is -1 or less, or the real rate is below zero.

    Notes
    -----
    Fisher, The Theory of Interest, 1930 (from memory, not verified).

    Examples
    --------
    >>> round(real_rate(0.08, 0.05), 5)
    0.02857
    """
    for name, value in (("nominal_rate", nominal_rate), ("inflation", inflation)):
        if not value > -1:
            raise InputError(f"{value} a year is not possible", "give a share above -1", name)
    rate = (1.0 + nominal_rate) / (1.0 + inflation) - 1.0
    if rate < -1e-12:
        raise InputError(
            f"a nominal rate of {nominal_rate:g} below inflation of {inflation:g}",
            "give a nominal rate no lower than inflation",
            "rate",
        )
    return max(rate, 0.0)


def replacement_years(part_life: float, life: int) -> np.ndarray:
    """Return the years at whose end a part is bought again.

    Parameters
    ----------
    part_life : float [year]
        How long the part serves.
    life : int [year]
        Years of the study; nothing is bought at their end.

    Returns
    -------
    ndarray of float [year]
        Multiples of the part's life below the life of the study.

    Raises
    ------
    InputError
        If either is not above zero.

    Examples
    --------
    >>> replacement_years(8, 25), replacement_years(25, 25)
    (array([ 8., 16., 24.]), array([], dtype=float64))
    """
    for name, value in (("part_life", part_life), ("life", life)):
        if not value > 0:
            raise InputError(f"a life of {value} years", "give a life above zero", name)
    return np.arange(1, int(np.ceil(life / part_life - 1e-9))) * float(part_life)
