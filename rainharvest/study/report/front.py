"""The report's sections on the answer, the site, the record and the demand."""

from __future__ import annotations

from rainharvest.reader import date, in_units, number
from rainharvest.study.report import answer_words, money_words, record_words
from rainharvest.study.report.blocks import FLAT, WIDE, Fact, Facts, Paragraph, Section, Table, picture
from rainharvest.study.report.fixed_words import (
    CAPTIONS,
    FINDINGS_HEAD,
    NO,
    NOT_SERVED,
    ORIGINS,
    QUESTIONS,
    RECORD_HEAD,
    TITLES,
    USES_HEAD,
    YES,
)
from rainharvest.study.report.money import cost_of_described
from rainharvest.study.run import Worked
from rainharvest.study.supply_words import months_words
from rainharvest.study.words import headline, percent

FINDINGS_SHOWN = 12


def answer_section(worked: Worked) -> Section:
    """Return the answer: in a paragraph, in six lines for six questions, in one figure.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        The first of the report.
    """
    from rainharvest.plots.sizing import trade_off_figure

    study, done = worked.study, worked.done
    drawn = trade_off_figure(done, done.attrs["measure"], done.attrs["target"], float(done.described))
    costs = cost_of_described(worked)
    answers = {
        "tank": (answer_words.tank_said(study, done), "size"),
        "why": (answer_words.why_said(done), "size"),
        "sure": (answer_words.sure_said(worked), "size"),
        "drought": (answer_words.drought_said(worked), "drought"),
        "cost": (money_words.cost_said(study, costs), "site" if costs is None else "costs"),
        "watch": (answer_words.watch_said(study, done), "supply"),
    }
    facts = Facts(tuple(Fact(QUESTIONS[key], *said) for key, said in answers.items()))
    figure = picture("trade_off", drawn, answer_words.trade_off_caption(done), scale=FLAT)
    answer = Paragraph(headline(done), "answer")
    return Section("answer", TITLES["answer"], (answer, facts, figure))


def site_section(worked: Worked) -> Section:
    """Return where the building stands and what was asked.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        Sentences.
    """
    study = worked.study
    blocks = [Paragraph(record_words.place(study)), Paragraph(record_words.KINDS[study.arrangement.kind])]
    blocks += [Paragraph(text) for text in record_words.asked(study, worked.done)]
    if study.report.note:
        blocks.append(Paragraph(study.report.note))
    return Section("site", TITLES["site"], tuple(blocks))


def record_section(worked: Worked) -> Section:
    """Return the record, the origin of its days, its years and its faults.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        Two pictures and two tables.
    """
    from rainharvest.plots.rainfall import annual_figure, origin_figure
    from rainharvest.rainfall.versions import version_totals

    record, done = worked.record, worked.done
    annual = version_totals(record.filled, record.year_start_month)
    flags = done.flag.values
    origins = [
        (words, number(int((flags == int(flag)).sum())), percent(float((flags == int(flag)).mean())))
        for flag, words in ORIGINS.items()
        if (flags == int(flag)).any()
    ]
    rows = [
        (
            str(f.severity),
            record_words.days_said(date(f.first_day), date(f.last_day)),
            str(f.reason),
            str(f.action),
        )
        for f in record.findings.head(FINDINGS_SHOWN).itertuples()
    ]
    blocks = [Paragraph(text) for text in record_words.record_read(done)]
    blocks += [
        Table(CAPTIONS["origins"], RECORD_HEAD, tuple(origins), frozenset({1, 2}), (0.6, 0.2, 0.2)),
        picture("origin", origin_figure(record.filled), record_words.origins_caption(flags), scale=WIDE),
        picture("annual", annual_figure(annual), record_words.annual_caption(annual)),
        Paragraph(record_words.findings_said(record.findings, len(rows))),
    ]
    if rows:
        blocks.append(
            Table(CAPTIONS["findings"], FINDINGS_HEAD, tuple(rows), widths=(0.11, 0.19, 0.45, 0.25))
        )
    blocks += [Paragraph(text) for text in record_words.told(done)]
    return Section("record", TITLES["record"], tuple(blocks))


def demand_section(worked: Worked) -> Section:
    """Return what is asked for, by use and by month.

    Parameters
    ----------
    worked : Worked
        The study that was run.

    Returns
    -------
    Section
        A picture and a table.
    """
    from rainharvest.demand.picture import months_of
    from rainharvest.plots.demand import months_figure

    study, done = worked.study, worked.done
    served = set(done.use.values)
    rows = tuple(
        (
            use.name if use.name in served else NOT_SERVED.format(use=use.name),
            number(use.count),
            number(in_units(use.litres, "L/day")[0], 3),
            use.days if isinstance(use.days, str) else ", ".join(use.days),
            use.quality,
            NO if use.essential else YES,
            use.origin,
        )
        for use in study.use
    )
    head = tuple(text.format(unit=in_units(1.0, "L/day")[1]) for text in USES_HEAD)
    months = months_of(done.demand)
    blocks = (
        Paragraph(record_words.demand_said(done)),
        picture("months", months_figure(months), months_words(months)),
        Table(CAPTIONS["uses"], head, rows, frozenset({1, 2})),
    )
    return Section("demand", TITLES["demand"], blocks)
