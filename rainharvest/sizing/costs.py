"""What a tank costs a year, and a kilolitre: capital spread over its life, upkeep, mains water saved."""

from __future__ import annotations

from rainharvest.errors import InputError


def present_worth_factor(rate: float, life: float) -> float:
    """Return the present worth of one unit paid at the end of each year (P/A).

    P/A = (1 - (1 + i)^-n) / i, and n where the rate is zero.

    Parameters
    ----------
    rate : float [1/year]
        Discount rate; real where the amounts are of today.
    life : float [year]
        Years over which it is paid.

    Returns
    -------
    float [year]
        The factor; its inverse (A/P) spreads a capital over the years.

    Raises
    ------
    InputError
        If the rate is below zero or the life is not above zero.

    Examples
    --------
    >>> round(present_worth_factor(0.035, 20), 4)
    14.2124
    """
    if not rate >= 0:
        raise InputError(f"a discount rate of {rate}", "give a rate of zero or more", "rate")
    if not life > 0:
        raise InputError(f"a life of {life} years", "give a life above zero", "life")
    return life if rate == 0 else (1.0 - (1.0 + rate) ** -life) / rate


def annual_cost(capital, upkeep: float, rate: float, life: float):
    """Return what a capital and its yearly upkeep come to in a year.

    Parameters
    ----------
    capital : float or DataArray
        Paid at the beginning, in any currency.
    upkeep : float
        Paid every year, in the same currency.
    rate : float [1/year]
        Discount rate.
    life : float [year]
        Years over which the capital serves; nothing is left at their end.

    Returns
    -------
    float or DataArray
        Currency a year.

    Raises
    ------
    InputError
        As `present_worth_factor`.

    Examples
    --------
    Davis, Water and Wastewater Engineering, chapter 1, problem 2 (with the factor rounded, 430,800):

    >>> round(annual_cost(1_500_000, 300_000, 0.06, 20))
    430777
    """
    return capital / present_worth_factor(rate, life) + upkeep
