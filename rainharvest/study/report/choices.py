"""The report's section on the options compared."""

from __future__ import annotations

import math

from rainharvest.reader import number
from rainharvest.study.report import options_words
from rainharvest.study.report.blocks import WIDE, Bullets, Paragraph, Section, Table, picture
from rainharvest.study.report.fixed_words import CAPTIONS, NONE, OPTIONS_HEAD, TITLES
from rainharvest.study.run import Worked
from rainharvest.study.words import litres, percent


def options_section(worked: Worked) -> Section | None:
    """Return the study and its options side by side.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section or None
        None where the study names no options.
    """
    from rainharvest.plots.options import options_figure

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
        options_words.note_said(str(name), str(note))
        for name, note in zip(options.study_option.values, options.option_note.values, strict=True)
        if note
    ]
    blocks = [Paragraph(text) for text in options_words.options_said(options, target)]
    blocks += [Bullets(tuple(notes))] if notes else []
    blocks += [
        picture(
            "options", options_figure(options, target), options_words.options_caption(options), scale=WIDE
        ),
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
