"""Whether a run of pipe can bring water to the tank at all; if not, why not and what would make it work."""

from __future__ import annotations

from rainharvest.catchment.conveyance import Conveyance
from rainharvest.catchment.hydraulics import head_available, level_margin
from rainharvest.errors import InputError


def require_working(conveyance: Conveyance) -> None:
    """Raise if the run cannot bring any water to the tank, and say what would make it work.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Raises
    ------
    InputError
        Bore of zero, or not enough level between gutter outlet and tank inlet.

    Examples
    --------
    >>> high = Conveyance(kind="dry", run=30, bore=100, outlet_level=2.5, inlet_level=2.4)
    >>> require_working(high)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    rainharvest.errors.InputError: conveyance: the dry run cannot work: the gutter outlet is 0.20 m too ...
    """
    answer = cannot_work(conveyance)
    if answer:
        raise InputError(*answer, "conveyance")


def cannot_work(conveyance: Conveyance) -> tuple[str, str] | None:
    """Say why a run cannot bring any water to the tank and what would make it work; None if it can.

    Parameters
    ----------
    conveyance : Conveyance
        A run of either kind.

    Returns
    -------
    tuple of str, or None
        The reason and the remedy.

    Examples
    --------
    >>> cannot_work(Conveyance(kind="wet", run=30, bore=0, outlet_level=3.0, inlet_level=2.4))
    ('the wet run cannot work: its bore is zero', 'give a pipe with a bore above zero')
    """
    kind = f"the {conveyance.kind} run cannot work"
    if conveyance.bore == 0:
        return f"{kind}: its bore is zero", "give a pipe with a bore above zero"
    margin = level_margin(conveyance)
    if conveyance.kind == "wet" and margin <= 0:
        return (
            f"{kind}: the tank inlet is {-margin:.2f} m above what the gutter outlet can feed",
            f"lower the tank or its inlet, or raise the outlet, by more than {-margin:.2f} m",
        )
    if conveyance.kind == "dry" and margin < 0:
        nearest = max(head_available(conveyance), 0.0) / conveyance.fall
        return (
            f"{kind}: the gutter outlet is {-margin:.2f} m too low for a run of {conveyance.run:g} m "
            f"at a fall of {conveyance.fall:g}",
            f"stand the tank within {nearest:.1f} m, or lower its inlet by {-margin:.2f} m, or use a wet run"
            if nearest
            else f"lower the inlet, or raise the outlet, by {-margin:.2f} m",
        )
    return None
