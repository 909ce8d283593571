"""A study's options side by side, in sentences."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from rainharvest.reader import number
from rainharvest.study.words import litres, percent


def options_said(options: xr.Dataset, target: float) -> list[str]:
    """Return what each option needs to reach the target.

    Parameters
    ----------
    options : Dataset
        As `rainharvest.study.options.options_group`.
    target : float [1]
        The reliability asked for.

    Returns
    -------
    list of str
        A sentence or two each.
    """
    names = [str(name) for name in options.study_option.values]
    sizes = options.recommended_nominal.values
    can = [
        f"{name}: {litres(size, up=True)}"
        for name, size in zip(names, sizes, strict=True)
        if math.isfinite(size)
    ]
    cannot = [name for name, size in zip(names, sizes, strict=True) if not math.isfinite(size)]
    out = []
    if can:
        out.append(
            f"Nominal size that reaches {percent(target)}, on rain alone where rain feeds the tank: {'; '.join(can)}."
        )
    if cannot:
        out.append(f"No size reaches it for: {', '.join(cannot)}.")
    if "annual" in options and np.ptp(options.annual.values) > 0:
        least = int(options.annual.values.argmin())
        out.append(
            f"Least a year is paid for \u201c{names[least]}\u201d: {number(float(options.annual[least]), 2)} "
            f"{options.attrs['currency']}; it supplies {percent(float(options.rain_reliability[least]))}."
        )
    return out


def options_caption(options: xr.Dataset) -> str:
    """Return what the picture of the options shows.

    Parameters
    ----------
    options : Dataset
        As `rainharvest.study.options.options_group`.

    Returns
    -------
    str
        One or two sentences.
    """
    count = options.sizes["study_option"]
    sizes = options.nominal.values
    reached = options.rain_reliability.values
    return (
        f"What {count} options supply with tanks from {litres(sizes[0])} to {litres(sizes[-1])} nominal, in the "
        f"middle of the filled versions. The marks are the tanks described: from {percent(reached.min())} to "
        f"{percent(reached.max())}. The dashed line is the target."
    )


def note_said(name: str, note: str) -> str:
    """Return an option's name and what the study file says of it.

    Parameters
    ----------
    name, note : str
        As the file has them.

    Returns
    -------
    str
        One line.

    Examples
    --------
    >>> note_said("One roof", "The other stays as it is.")
    'One roof: The other stays as it is.'
    """
    return f"{name}: {note}"


def options_at_words(options: xr.Dataset, nominal: float, target: float) -> str:
    """Return what each option supplies with a tank of one size.

    Parameters
    ----------
    options : Dataset
        As `rainharvest.study.options.options_group`.
    nominal : float [L]
        Nominal size of the tank.
    target : float [1]
        The reliability asked for.

    Returns
    -------
    str
        Two sentences.
    """
    sizes = np.log(options.nominal.values)
    reached: dict[str, float] = {}
    for name, row in zip(options.study_option.values, options.reliability.values, strict=True):
        share = float(np.interp(np.log(nominal), sizes, row))
        if share not in reached.values():  # options that differ in size only are the same at one size
            reached[str(name)] = share
    said = ", ".join(f"{name} {percent(share)}" for name, share in reached.items())
    enough = [name for name, share in reached.items() if share >= target]
    which = (
        f"{percent(target)} is reached by: {', '.join(enough)}"
        if enough
        else f"None reaches {percent(target)}"
    )
    return f"With a tank of {litres(nominal)} nominal: {said}. {which}."
