"""The recommendation in words: what was chosen, why, what would change it, and how sure it is."""

from __future__ import annotations

import textwrap

import numpy as np
import xarray as xr

from rainharvest.reader import gallons, number
from rainharvest.sizing.ranges import RANGE_WORDS
from rainharvest.sizing.record_length import record_length
from rainharvest.study.sizing_words import bought_words, option_for, record_words, sizing_headline
from rainharvest.study.words import litres, percent, rounded


def recommendation(group: xr.Dataset) -> list[str]:
    """Return the recommendation: what, why, what would change it, how sure.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.

    Returns
    -------
    list of str
        Four sentences or so each, no more than two figures to a number.
    """
    if "sure_size" not in group:
        return [sizing_headline(group)]
    return [
        " ".join(part)
        for part in (_chosen(group), _why(group), _what_would_change(group), _how_sure(group))
        if part
    ]


def tell_recommendation(group: xr.Dataset, width: int = 100) -> None:
    """Print the recommendation, broken into lines.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.
    width : int
        Characters on a line.
    """
    print("\n\n".join(textwrap.fill(text, width) for text in recommendation(group)))


def _chosen(group: xr.Dataset) -> list[str]:
    out = [sizing_headline(group)]
    sure, own = float(group.sure_size), float(group.size_on_record)
    picked = [option_for(group, size) for size in (own, sure)]
    if picked[0] is not None:
        out.append(
            f"Of the tanks on offer the cheapest that holds the first is {bought_words(group, picked[0])}"
        )
        if picked[1] is not None and picked[1] != picked[0]:
            out[-1] += f"; the second takes {bought_words(group, picked[1])}"
        out[-1] += "."
    elif "option_capacity" in group and not np.isnan(own):
        out.append("No combination of the tanks on offer holds it.")
    return out


def _why(group: xr.Dataset) -> list[str]:
    knee, own = float(group.knee_size), float(group.size_on_record)
    out = []
    if not np.isnan(own):
        side = "beyond" if own > knee * 1.05 else "before" if own < knee / 1.05 else "at"
        gain = marginal_at(group, own)
        out.append(
            f"At the first size, {side} the knee of the curve ({litres(knee)}), one more "
            f"{'gallon' if gallons() else 'litre'} of tank brings {number(rounded(gain, 2))} "
            f"{'gal' if gallons() else 'L'} a year."
        )
    ladder = group.size_for_target.to_series()
    steps = [f"{litres(size, up=True)} for {percent(t)}" for t, size in ladder.items() if size == size]
    if steps:
        out.append("On the record: " + ", ".join(steps) + ".")
    held = {int(days): percent(float(share)) for days, share in group.in_hand.to_series().items()}
    out.append(
        f"The tank described holds water for three days to come on {held[3]} of mornings, for a week on {held[7]}."
    )
    never = float(group.no_failure_size)
    out.append(
        f"No failure in the record would take {litres(never, up=True)}; a longer record holds a worse drought."
        if never == never
        else "No tank is free of failure when the record repeats: more is asked than comes in."
    )
    return out


def marginal_at(group: xr.Dataset, size: float) -> float:
    """Return the litres a year that one more litre of tank brings at a size, on the record.

    Parameters
    ----------
    group : Dataset
        As `rainharvest.study.sizing.sizing_group`.
    size : float [L]
        Usable size.

    Returns
    -------
    float [1/year]
        Slope of the yearly yield.
    """
    at, yearly = group.capacity.values, group.yearly_yield_on_record.values
    k = int(np.clip(np.searchsorted(at, size), 1, at.size - 1))
    return float((yearly[k] - yearly[k - 1]) / (at[k] - at[k - 1]))


def _what_would_change(group: xr.Dataset) -> list[str]:
    width = (group.response_high - group.response_low).values
    order = np.argsort(-abs(width))
    best = float(group.response_best)
    first = group.isel(input=int(order[0]))
    low, high = sorted((float(first.response_low), float(first.response_high)))
    out = [
        f"What would change it most: {RANGE_WORDS[first.input.item()]}. Between its ends the tank described reaches "
        f"{percent(low)} to {percent(high)}, with all at their likeliest {percent(best)}."
    ]
    rest = [RANGE_WORDS[str(group.input.values[k])] for k in order[1:3] if abs(width[k]) > 0.005]
    if rest:
        out.append(f"Next: {', then '.join(rest)}. Measure what can be measured before the size is settled.")
    return out


def _how_sure(group: xr.Dataset) -> list[str]:
    own = float(group.size_on_record)
    out = (
        [] if record_length(float(group.record_years)).short else [record_words(group)]
    )  # the headline has it
    if not np.isnan(own):
        at = np.log(group.capacity.values)
        low, high, by = (
            float(np.interp(np.log(own), at, group[name].values))
            for name in ("reliability_low", "reliability_high", "draws_reaching")
        )
        out.append(
            f"Nine of ten versions put the tank for the record as it stands at {percent(low)} to {percent(high)}; it "
            f"reaches the target in {_of_100(by)} of 100."
        )
    return out


def _of_100(share: float) -> int:
    """Return a share of the draws to the nearest ten of a hundred; neither all nor none where some differ."""
    near = 10 * round(10 * share)
    return near if 0 < near < 100 or share in (0.0, 1.0) else round(100 * share)
