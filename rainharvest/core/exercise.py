"""What a check of an exercise says of an answer: right, or wrong in which direction, or not an answer at all."""

from __future__ import annotations

import math
import sys
from collections.abc import Collection, Mapping

NEAR = 0.1

"""How far off, as a share, an answer read off a figure may be."""


def says(
    yours: object,
    right: float | Collection | None,
    answer: str,
    hint: str,
    *,
    near: float = NEAR,
    least: float = 0.0,
    among: Mapping[object, str] | None = None,
) -> None:
    """Print what a check found; ``...`` in the place of an answer is told the right one.

    Without an answer a notebook shows a field for it, and any other place is told what to do.

    ``right`` is a number, right within a share ``near`` of it or ``least``; or, where there is a list to choose from
    (``among``: each name or year with what is to be said of it), those of them that are right. None: none is.

    >>> says(None, 51.0, "About 51 kL.", "Read the curve again.")
    Put a number in the place of None and run this cell again.
    >>> says(49, 51.0, "About 51 kL.", "Read the curve again.")
    Right. About 51 kL.
    >>> says(20, 51.0, "About 51 kL.", "Read the curve again.")
    Not yet: 20 is too low. Read the curve again.
    >>> says("dry", {"wet"}, "It is wet.", "Look again.", among={"dry": "dry has 3", "wet": "wet has 4"})
    Not yet: dry has 3. Look again.
    >>> says(..., 51.0, "About 51 kL.", "Read the curve again.")
    Answer: About 51 kL.
    """
    compared = (right, answer, hint, near, least, among)
    if yours is None and getattr(_shell(), "kernel", None) is not None:
        _ask(compared)
    else:
        print(_said(yours, *compared))


def _shell() -> object | None:
    """Return the IPython that runs this, if one does."""
    return sys.modules["IPython"].get_ipython() if "IPython" in sys.modules else None


def _ask(compared: tuple) -> None:
    """Show a field for an answer, in which names can also be chosen, and what was found of it."""
    import ipywidgets as widgets
    from IPython.display import display

    from rainharvest.core.board import asking

    among = compared[-1]
    names = [str(name) for name in among or ()]
    look = {"placeholder": "your answer", "layout": {"width": "18em"}}
    field = widgets.Combobox(options=names, **look) if among else widgets.Text(**look)

    def check(yours: str) -> str:
        return _said(yours, *compared) if yours.strip() else f"Give {_wanted(among)} first."

    about = "Work out the right answer and compare yours with it"
    display(asking("", {"yours": field}, "Check", about, check))


def left_out(needs: str) -> None:
    """Print that an exercise needs what the study has not."""
    print(f"This exercise needs {needs}, and the study has none.")


def _said(yours, right, answer, hint, near, least, among) -> str:
    if yours is None:
        return f"Put {_wanted(among)} in the place of None and run this cell again."
    if yours is ...:
        return f"Answer: {answer}"
    if among is not None:
        chosen = _chosen(yours, list(among))
        if chosen is None:
            return f"That is none of those to choose from. Give {_wanted(among)}."
        return f"Right. {answer}" if chosen in right else f"Not yet: {among[chosen]}. {hint}"
    given = _number(yours)
    if given is None:
        return "That is not a number. Give one without its unit, with a point for decimals, such as 12.5."
    if right is None:
        return f"Not yet: there is no such number. {hint}"
    if abs(given - right) <= max(near * abs(right), least):
        return f"Right. {answer}"
    return f"Not yet: {given:g} is too {'low' if given < right else 'high'}. {hint}"


def _wanted(among: Mapping[object, str] | None) -> str:
    """Return in words what an answer looks like."""
    if among is None:
        return "a number"
    names = [f'"{name}"' if isinstance(name, str) else str(name) for name in among]
    if len(names) <= 12:
        return " or ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
    if names[0].startswith('"'):
        return f"a name as the page has it (such as {names[0]})"
    return f"a year from {names[0]} to {names[-1]}"


def _number(yours: object) -> float | None:
    """Return a finite number that was given, as one or as text; None where it is not one."""
    if isinstance(yours, bool) or not isinstance(yours, str) and not hasattr(yours, "__float__"):
        return None
    try:
        given = float(yours)
    except (TypeError, ValueError):
        return None
    return given if math.isfinite(given) else None


def _chosen(yours: object, names: list) -> object | None:
    """Return the name or year that was meant: written in full, or by its beginning where only one begins so."""
    whole = _number(yours)
    given = str(int(whole)) if whole is not None and whole.is_integer() else str(yours)
    given = " ".join(given.casefold().split())
    same = [name for name in names if str(name).casefold() == given]
    begun = [name for name in names if len(given) > 2 and str(name).casefold().startswith(given)]
    found = same or begun
    return found[0] if len(found) == 1 else None
