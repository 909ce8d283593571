"""The report's sections on what the study rests on and how to run it again."""

from __future__ import annotations

from rainharvest.catchment.defaults import catchment_defaults
from rainharvest.demand.uses import defaults_used
from rainharvest.drought.defaults import drought_defaults
from rainharvest.names import QUANTITIES
from rainharvest.reader import in_units, number
from rainharvest.siteworks import defaults
from rainharvest.sizing.costs_prices import costs_defaults
from rainharvest.sources import Default
from rainharvest.storage.tank import DEAD_SHARE, FREEBOARD_SHARE
from rainharvest.study.file import Study
from rainharvest.study.report import back_words
from rainharvest.study.report.blocks import Listing, Paragraph, Section, Table
from rainharvest.study.report.fixed_words import (
    ASSUMPTIONS_HEAD,
    CAPTIONS,
    COMMAND,
    COMMAND_TEXT,
    REPRODUCE,
    REPRODUCE_HEAD,
    TITLES,
)
from rainharvest.study.run import Worked

PUMPS = ("PUMP_", "MOTOR_", "SHUT_OFF_", "STARTS", "FIXTURE_", "CUT_OUT_")
SOAKAWAYS = (
    "VOIDS",
    "HALF_EMPTY_",
    "LEAST_INFILTRATION",
    "SHORTEST_STORM",
    "DAY_TO_24_HOURS",
    "RETURN_PERIOD",
)
GAPS = ("AIR_GAP_", "MAINS_")
STORMS = ("DESIGN_INTENSITY", "SOAKAWAY_", "GROUNDWATER_")
"""Beginnings of the names of defaults that count only with a pump, a trial pit, mains, or rain."""


def defaults_of(study: Study) -> dict[str, Default]:
    """Return every default that a study rests on, in words.

    Parameters
    ----------
    study : Study
        The study.

    Returns
    -------
    dict of str to Default
        In the order of the stages; numbers that the study file gives are not in it.
    """
    used: dict[str, Default] = {}
    if study.roof:
        used |= catchment_defaults(study.catchment, intensity=study.losses.intensity)
    used |= {back_words.EACH.format(use=name): default for name, default in defaults_used(study.use).items()}
    for name, share, default in (
        (back_words.DEAD, study.tank.dead_share, DEAD_SHARE),
        (back_words.FREEBOARD, study.tank.freeboard_share, FREEBOARD_SHARE),
    ):
        if share == default.value:
            used[name] = default
    used |= _of_the_site(study)
    if study.arrangement.kind != "mains reserve":
        used |= {name[0].upper() + name[1:]: default for name, default in drought_defaults().items()}
    return used | (costs_defaults(study.costs) if study.costs else {})


def _of_the_site(study: Study) -> dict[str, Default]:
    """Return the defaults of the site works that count for this study."""
    site = study.site_works
    not_used = () if site.pump else PUMPS
    not_used += () if site.trial_pit else SOAKAWAYS
    not_used += () if study.arrangement.kind != "rain only" else GAPS
    not_used += () if study.arrangement.kind != "mains reserve" else STORMS
    used = {}
    for constant, default in vars(defaults).items():
        field = constant.lower()
        if not isinstance(default, Default) or constant.startswith(not_used):
            continue
        if getattr(site, field, None) in (None, default.value):
            words = (
                QUANTITIES[field].long_name if field in QUANTITIES else field.replace("_", " ").capitalize()
            )
            used[words] = default
    return used


def assumptions_section(worked: Worked) -> Section:
    """Return every default with value, unit, source and kind.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        One table.
    """
    rows = []
    for name, default in defaults_of(worked.study).items():
        value, unit = in_units(default.value, default.unit)
        figures = 4 if value == default.value else 3  # a conversion adds no figures
        rows.append((name, number(value, figures), unit, _range(default), default.kind, default.source))
    table = Table(
        CAPTIONS["assumptions"],
        ASSUMPTIONS_HEAD,
        tuple(rows),
        frozenset({1}),
        (0.22, 0.09, 0.1, 0.13, 0.12, 0.34),
    )
    return Section("assumptions", TITLES["assumptions"], (Paragraph(back_words.ASSUMED), table))


def _range(default: Default) -> str:
    low, high = (
        None if end is None else number(in_units(end, default.unit)[0], 3)
        for end in (default.low, default.high)
    )
    return back_words.range_said(low, high)


def reproduce_section(worked: Worked) -> Section:
    """Return how to run the study again.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        Versions, digests, seed and command; the study file.
    """
    attrs = worked.done.attrs
    rows = [(words, str(attrs[key])) for key, words in REPRODUCE.items()]
    rows.append((COMMAND, COMMAND_TEXT))
    table = Table(CAPTIONS["reproduce"], REPRODUCE_HEAD, tuple(rows), widths=(0.3, 0.7))
    return Section(
        "reproduce", TITLES["reproduce"], (table, Paragraph(back_words.FILE), Listing(attrs["study"]))
    )
