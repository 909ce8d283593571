"""The report's sections on the answer, the site, the options, and what the study rests on."""

from __future__ import annotations

import math

from rainharvest.catchment.facts import catchment_defaults
from rainharvest.core.blocks import (
    FLAT,
    WIDE,
    Bullets,
    Fact,
    Facts,
    Listing,
    Paragraph,
    Section,
    Table,
    picture,
)
from rainharvest.core.defaults import Default
from rainharvest.core.quantities import QUANTITIES
from rainharvest.core.reader import in_units, litres, number, percent
from rainharvest.demand.uses import defaults_used
from rainharvest.drought.tables import drought_defaults
from rainharvest.siteworks import tables as defaults
from rainharvest.sizing.figure_words import cost_said
from rainharvest.sizing.section import cost_of_described
from rainharvest.sizing.tables import costs_defaults
from rainharvest.sizing.words import headline
from rainharvest.storage.tables import DEAD_SHARE, FREEBOARD_SHARE
from rainharvest.storage.words import KINDS
from rainharvest.study.file import Study
from rainharvest.study.stages import Worked
from rainharvest.study.words import (
    ASSUMED,
    ASSUMPTIONS_HEAD,
    CAPTIONS,
    COMMAND,
    COMMAND_TEXT,
    DEAD,
    EACH,
    FILE,
    FREEBOARD,
    NONE,
    OPTIONS_HEAD,
    QUESTIONS,
    REPRODUCE,
    REPRODUCE_HEAD,
    TITLES,
    asked,
    drought_said,
    note_said,
    options_caption,
    options_said,
    place,
    range_said,
    sure_said,
    tank_said,
    trade_off_caption,
    watch_said,
    why_said,
)


def answer_section(worked: Worked) -> Section:
    """Return the answer: in a paragraph, in six lines for six questions, in one figure."""
    from rainharvest.sizing.figures import trade_off_figure

    study, done = worked.study, worked.done
    drawn = trade_off_figure(done, done.attrs["measure"], done.attrs["target"], float(done.described))
    costs = cost_of_described(worked)
    answers = {
        "tank": (tank_said(study, done), "size"),
        "why": (why_said(done), "size"),
        "sure": (sure_said(worked), "size"),
        "drought": (drought_said(worked), "drought"),
        "cost": (cost_said(study, costs), "site" if costs is None else "costs"),
        "watch": (watch_said(study, done), "supply"),
    }
    facts = Facts(tuple(Fact(QUESTIONS[key], *said) for key, said in answers.items()))
    figure = picture("trade_off", drawn, trade_off_caption(done), scale=FLAT)
    answer = Paragraph(headline(done), "answer")
    return Section("answer", TITLES["answer"], (answer, facts, figure))


def site_section(worked: Worked) -> Section:
    """Return where the building stands and what was asked."""
    study = worked.study
    blocks = [Paragraph(place(study)), Paragraph(KINDS[study.arrangement.kind])]
    blocks += [Paragraph(text) for text in asked(study, worked.done)]
    if study.report.note:
        blocks.append(Paragraph(study.report.note))
    return Section("site", TITLES["site"], tuple(blocks))


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
    """Return every default that a study rests on, in words."""
    used: dict[str, Default] = {}
    if study.roof:
        used |= catchment_defaults(study.catchment, intensity=study.losses.intensity)
    used |= {EACH.format(use=name): default for name, default in defaults_used(study.use).items()}
    for name, share, default in (
        (DEAD, study.tank.dead_share, DEAD_SHARE),
        (FREEBOARD, study.tank.freeboard_share, FREEBOARD_SHARE),
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
    """Return every default with value, unit, source and kind."""
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
    return Section("assumptions", TITLES["assumptions"], (Paragraph(ASSUMED), table))


def _range(default: Default) -> str:
    low, high = (
        None if end is None else number(in_units(end, default.unit)[0], 3)
        for end in (default.low, default.high)
    )
    return range_said(low, high)


def reproduce_section(worked: Worked) -> Section:
    """Return how to run the study again."""
    attrs = worked.done.attrs
    rows = [(words, str(attrs[key])) for key, words in REPRODUCE.items()]
    rows.append((COMMAND, COMMAND_TEXT))
    table = Table(CAPTIONS["reproduce"], REPRODUCE_HEAD, tuple(rows), widths=(0.3, 0.7))
    return Section("reproduce", TITLES["reproduce"], (table, Paragraph(FILE), Listing(attrs["study"])))


def options_section(worked: Worked) -> Section | None:
    """Return the study and its options side by side."""
    from rainharvest.study.figures import options_figure

    options = worked.groups.get("options")
    if options is None:
        return None
    target = worked.study.target.reliability
    columns = [
        "recommended_nominal",
        "described_nominal",
        "rain_reliability",
        "delivered_a_year",
        "failed_a_year",
    ]
    columns += ["mains_a_year"] if float(options.mains_a_year.max()) > 0 else []
    columns += [name for name in ("capital", "annual") if name in options]
    head = tuple(
        text.format(currency=options.attrs["currency"])
        for text in (OPTIONS_HEAD[c] for c in ("study_option", *columns))
    )
    rows = tuple(
        (str(name), *(_cell(column, float(options[column][i])) for column in columns))
        for i, name in enumerate(options.study_option.values)
    )
    notes = [
        note_said(str(name), str(note))
        for name, note in zip(options.study_option.values, options.option_note.values, strict=True)
        if note
    ]
    blocks = [Paragraph(text) for text in options_said(options, target)]
    blocks += [Bullets(tuple(notes))] if notes else []
    blocks += [
        picture("options", options_figure(options, target), options_caption(options), scale=WIDE),
        Table(CAPTIONS["options"], head, rows, frozenset(range(1, len(head)))),
    ]
    return Section("options", TITLES["options"], tuple(blocks))


def _cell(column: str, value: float) -> str:
    if not math.isfinite(value):
        return NONE
    if column == "rain_reliability":
        return percent(value)
    if column == "failed_a_year":
        return number(round(value))
    if column in ("capital", "annual"):
        return number(value, 2)
    return litres(value, up=column.endswith("nominal"))
