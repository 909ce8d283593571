"""The air gap between the mains and the tank."""

from __future__ import annotations

from rainharvest.errors import InputError
from rainharvest.siteworks.defaults import AIR_GAP_LEAST, AIR_GAP_LEAST_ELSEWHERE

RULES = {"United Kingdom": AIR_GAP_LEAST, "elsewhere": AIR_GAP_LEAST_ELSEWHERE}
"""Least gap by practice; where none is known, the larger one is safe."""


def air_gap(*bores: float, rule: str = "elsewhere") -> float:
    """Return the air gap under the mains inlets of a tank: the larger of the least gap and twice the bores.

    Parameters
    ----------
    *bores : float
        Bore of each inlet that discharges there, mm.
    rule : str
        "United Kingdom" (20 mm) or "elsewhere" (25 mm).

    Returns
    -------
    float [mm]
        From the lowest point of the inlet down to the highest water: what stands over the sill of the overflow
        while it runs in the design storm counts. The jet points down within 15 degrees. Source:
        Water Regulations guidance (United Kingdom); Plumbing Africa, June 2019; what counts as the highest water
        is common practice, no source.

    Raises
    ------
    InputError
        If there is no inlet, a bore is not above zero, or the rule is unknown.

    Examples
    --------
    >>> air_gap(20, rule="United Kingdom"), air_gap(20, 20, rule="United Kingdom"), air_gap(10)
    (40.0, 80.0, 25.0)
    """
    if rule not in RULES:
        raise InputError(f'no rule is called "{rule}"', f"choose one of {', '.join(RULES)}", "rule")
    if not bores or not all(bore > 0 for bore in bores):
        raise InputError("an inlet without a bore", "give the bore of each inlet, above zero", "bores")
    return max(RULES[rule].value, 2.0 * sum(bores))
