"""Roofs and conveyance in the report's sentences."""

from __future__ import annotations

from rainharvest.reader import measure
from rainharvest.study.conveyance import DryAndWet
from rainharvest.study.file import Conveyance, Study


def run_said(run: Conveyance) -> str:
    """Return what the study's run of pipe is.

    Parameters
    ----------
    run : Conveyance
        The run.

    Returns
    -------
    str
        One sentence.
    """
    return (
        f"{run.kind.capitalize()} conveyance: {measure(run.run, 'm')} of pipe of {measure(run.bore, 'mm', 3)} bore, "
        f"from gutter outlets at {measure(run.outlet_level, 'm', 3)} to an inlet at "
        f"{measure(run.inlet_level, 'm', 3)} above the base of the tank."
    )


def roofs_said(study: Study) -> str:
    """Return how much roof there is.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    str
        One sentence.
    """
    if not study.roof:
        return "No roof feeds this tank."
    if study.arrangement.kind == "mains reserve":
        return "No roof feeds the tank described; the roofs below count only where an option uses them."
    count = len(study.roof)
    total = measure(sum(roof.area for roof in study.roof), "m2", 3)
    return f"{count} roof{'s' if count > 1 else ''} of {total} in plan."


def levels_caption(done: DryAndWet, design_intensity: float) -> str:
    """Return what the picture of the levels shows.

    Parameters
    ----------
    done : DryAndWet
        As `rainharvest.study.conveyance.dry_and_wet`.
    design_intensity : float [mm/h]
        Rain of the design storm.

    Returns
    -------
    str
        One or two sentences.
    """
    words = []
    for name in ("dry run", "wet run"):
        one = done.levels[name]
        if one.answer:
            words.append(f"the {name} cannot work")
        else:
            left = "leaves" if one.margin >= 0 else "is short by"
            words.append(f"the {name} {left} {measure(abs(one.margin), 'm', 2)}")
    return (
        f"Levels of the two runs between the same points in a storm of {measure(design_intensity, 'mm/h', 2)}: "
        f"{'; '.join(words)}."
    )


def storm_said(design_intensity: float, given: bool) -> str:
    """Return what the design storm is for.

    Parameters
    ----------
    design_intensity : float [mm/h]
        Rain of the design storm.
    given : bool
        Whether the study file gives it.

    Returns
    -------
    str
        One or two sentences.
    """
    whose = "given by the study file" if given else "assumed: take that of your local rules"
    return (
        f"The runs are compared in a design storm of {measure(design_intensity, 'mm/h', 2)}, {whose}. Pipe and gutter "
        "sizes follow local rules and that storm, not this daily study."
    )
