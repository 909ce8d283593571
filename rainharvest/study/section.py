"""The report's sections on the answer, the site, the options, and what the study rests on."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Callable

import numpy as np
import xarray as xr

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
    table_of,
)
from rainharvest.core.defaults import Default, rows_of
from rainharvest.core.quantities import QUANTITIES
from rainharvest.core.reader import date, in_units, litres, number, percent
from rainharvest.core.text import texts_of
from rainharvest.demand.tables import CROPS, METHODS, SOILS
from rainharvest.demand.tables import DEFAULTS as OF_USES
from rainharvest.demand.uses import defaults_used
from rainharvest.drought.tables import drought_defaults
from rainharvest.rainfall.facts import rainfall_defaults
from rainharvest.siteworks.facts import siteworks_defaults, siteworks_of
from rainharvest.siteworks.section import bill_said
from rainharvest.siteworks.treatment import OF_TREATMENT
from rainharvest.sizing.facts_certainty import sizing_defaults
from rainharvest.sizing.facts_costs import prices_of
from rainharvest.sizing.section import capital, confidence, headline, money, whole
from rainharvest.sizing.tables import costs_defaults
from rainharvest.storage.tables import DEFAULTS as OF_TANK
from rainharvest.study.facts import answer_facts
from rainharvest.study.file import Study
from rainharvest.study.stages import StudyResults

SAY, FIXED = texts_of("study"), rows_of("study", "fixed")


def answer_section(results: StudyResults) -> Section:
    """Return the answer: in a paragraph, in six lines for six questions, in one figure."""
    from rainharvest.sizing.figures import trade_off_figure

    done, facts = results.done, answer_facts(results)
    drawn = trade_off_figure(done, done.attrs["measure"], done.attrs["target"], float(done.described))
    answers = {
        "tank": (SAY.tank(facts), "size"),
        "serves": (SAY.serves(facts), "demand"),
        "why": (SAY.why(facts), "size"),
        "sure": (SAY.sure(facts, confidence(done)), "size"),
        "drought": (SAY.drought(facts), "drought"),
        "built": (SAY.built(facts), "siteworks"),
        "cost": (" ".join(bill_said(results)), "parts"),
        "watch": (SAY.watch(facts), "cautions"),
    }
    rows = Facts(tuple(Fact(FIXED["questions"][key], *said) for key, said in answers.items()))
    figure = picture("trade_off", drawn, SAY.trade_off_caption(facts), scale=FLAT)
    answer = Paragraph(headline(done), "answer")
    return Section("answer", FIXED["titles"]["answer"], (answer, rows, figure))


def tell_built(results: StudyResults, width: int = 100) -> None:
    """Print whether it can be built as described, in the words of page 1."""
    print(textwrap.fill(f"{FIXED['questions']['built']} {SAY.built(answer_facts(results))}", width))


def site_section(results: StudyResults) -> Section:
    """Return where the building stands and what was asked."""
    study = results.study
    said = [
        SAY.place(study.site),
        texts_of("storage").kind(study.arrangement.serves_as),
        SAY.aim(study.target),
    ]
    if study.tank.chosen:
        said.append(SAY.chosen(study.tank))
    if results.done.attrs["not_served"]:
        said.append(SAY.not_served(results.done.attrs["not_served"]))
    if study.rationing:
        said.append(SAY.rationed(study.rationing))
    if study.report.note:
        said.append(study.report.note)
    return Section("site", FIXED["titles"]["site"], tuple(Paragraph(text) for text in said))


def defaults_of(results: StudyResults) -> dict[str, Default]:
    """Return every default that a report rests on, in words; last what its options alone rest on."""
    study = results.study
    seen = balance_defaults(study)
    used = rainfall_defaults(results) | seen | siteworks_defaults(siteworks_of(results))
    used |= sizing_defaults(results)
    used |= drought_defaults(study.drought, results.groups.get("drought", xr.Dataset()))
    used |= costs_defaults(prices) if (prices := prices_of(study)) else {}
    for option in study.option:
        own = {name: d for name, d in balance_defaults(option.study).items() if seen.get(name) != d}
        used |= {FIXED["of_option"].format(option=option.name, what=name): d for name, d in own.items()}
        seen = seen | own
    return used


def balance_defaults(study: Study) -> dict[str, Default]:
    """Return the defaults that enter the balance of a study or of an option."""
    used: dict[str, Default] = {}
    if study.roof and study.arrangement.kind != "mains reserve":
        used |= catchment_defaults(study.catchment, intensity=study.losses.intensity)
    used |= {FIXED["each"].format(use=name): default for name, default in defaults_used(study.use).items()}
    used |= {
        words: OF_TANK[name]
        for name, words in FIXED["tank"].items()
        if name not in study.tank.model_fields_set
    }
    return used | drawing_defaults(study)


def drawing_defaults(study: Study) -> dict[str, Default]:
    """Return the defaults that gardens and pools rest on."""
    used: dict[str, Default] = {}
    for one in (*study.garden, *study.pool):
        own = {
            QUANTITIES[key].long_name: default
            for key, default in OF_USES.items()
            if isinstance(default, Default) and key in type(one).model_fields.keys() - one.model_fields_set
        }
        if one in study.garden:
            crop = CROPS[one.crop]
            kind = "from memory" if "from memory" in crop.source else "handbook"
            own[f"{FIXED['garden']['crop']}, {one.crop}"] = Default(crop.middle, "1", crop.source, kind)
            own[f"{FIXED['garden']['soil']}, {one.soil}"] = SOILS[one.soil]
            own[f"{FIXED['garden']['method']}, {one.method}"] = METHODS[one.method]
            own[FIXED["garden"]["small_rain"]] = OF_USES["small_rain"]
        else:
            own[FIXED["garden"]["open_water"]] = OF_USES["open_water"]
        used |= {f"{one.name}: {name[0].lower()}{name[1:]}": default for name, default in own.items()}
    return used


def treatment_defaults(results: StudyResults) -> dict[str, Default]:
    """Return the defaults of the lamp and of the chlorine, where the tank's water passes them."""
    there, names = siteworks_of(results).there, FIXED["treatment"]
    kinds = [kind for kind in names if there.issuperset(kind.split(" and "))]
    return {words: OF_TREATMENT[key] for kind in kinds for key, words in names[kind].items()}


def assumptions_section(results: StudyResults) -> Section:
    """Return every default with value, unit, source and kind."""
    rows = []
    for name, default in (defaults_of(results) | treatment_defaults(results)).items():
        value, unit = in_units(default.value, default.unit)
        figures = 4 if value == default.value else 3  # a conversion adds no figures
        rows.append((name, number(value, figures), unit, _range(default), default.kind, default.source))
    table = Table(
        FIXED["captions"]["assumptions"],
        tuple(FIXED["assumptions_head"]),
        tuple(rows),
        frozenset({1}),
        (0.22, 0.09, 0.1, 0.13, 0.12, 0.34),
    )
    return Section("assumptions", FIXED["titles"]["assumptions"], (Paragraph(FIXED["assumed"]), table))


def _range(default: Default) -> str:
    ends = (default.low, default.high)
    return SAY.range(*(None if end is None else number(in_units(end, default.unit)[0], 3) for end in ends))


def approval_section(results: StudyResults) -> Section:
    """Return who answers for the report, with room to sign."""
    words, report = FIXED["approval"], results.study.report
    rows = tuple(
        (said, getattr(report, key), date(report.date) if key == "prepared_by" and report.date else "", "")
        for key, said in words["rows"].items()
    )
    table = Table(words["caption"], tuple(words["head"]), rows, widths=(0.18, 0.36, 0.18, 0.28))
    return Section("approval", words["title"], (Paragraph(SAY.issued(report)), table))


def reproduce_section(results: StudyResults) -> Section:
    """Return how to run the study again."""
    attrs = results.done.attrs
    rows = [(words, str(attrs[key])) for key, words in FIXED["reproduce"].items() if key in attrs]
    for station, name, digest in json.loads(attrs["input_files"]):
        rows.append((SAY.input_file(station, name), digest))
    rows.append(tuple(FIXED["command"]))
    table = Table(
        FIXED["captions"]["reproduce"], tuple(FIXED["reproduce_head"]), tuple(rows), widths=(0.3, 0.7)
    )
    return Section(
        "reproduce", FIXED["titles"]["reproduce"], (table, Paragraph(FIXED["file"]), Listing(attrs["study"]))
    )


def _if_known(form: Callable[[float], str]) -> Callable[[float], str]:
    """Return a form that says so where an option has no such number."""
    return lambda value: form(value) if math.isfinite(value) else FIXED["none"]


def nominal(size: float) -> str:
    """Return a size as it is asked for in the trade, in words."""
    return SAY.nominal(size)


def options_section(results: StudyResults) -> Section | None:
    """Return the study and its options side by side."""
    from rainharvest.study.figures import options_figure

    options = results.groups.get("options")
    if options is None:
        return None
    target = results.study.target.reliability
    forms = {
        "study_option": str,
        "recommended_nominal": nominal,
        "described_nominal": nominal,
        "rain_reliability": percent,
        "delivered_a_year": litres,
        "failed_a_year": whole,
        "mains_a_year": litres,
        "capital": capital,
        "annual": money,
        "annual_with_mains": money,
    }
    mains = mains_in(options)
    shown = options if mains else options.drop_vars(["mains_a_year", "annual_with_mains"], errors="ignore")
    forms = {name: form if form is str else _if_known(form) for name, form in forms.items() if name in shown}
    words = FIXED["options_head"]
    caption = FIXED["captions"]["options"]
    if mains and "annual_with_mains" in options:
        caption += FIXED["captions"]["options_with_mains"]
    elif mains:
        words = words | {"annual": words["annual_beside_mains"]}
    head = [words[name].format(currency=options.attrs["currency"]) for name in forms]
    names, notes = options.study_option.values, options.option_note.values
    noted = tuple(f"{name}: {note}" for name, note in zip(names, notes, strict=True) if note)
    blocks = [Paragraph(text) for text in options_said(options, target)]
    blocks += [Bullets(noted)] if noted else []
    blocks += [
        picture("options", options_figure(options, target), options_caption(options), scale=WIDE),
        table_of(caption, head, shown, forms),
    ]
    return Section("options", FIXED["titles"]["options"], tuple(blocks))


def mains_in(options: xr.Dataset) -> bool:
    """Return whether some option takes mains water, which neither its cost a year nor the first page's holds."""
    return float(options.mains_a_year.max()) > 0


def options_said(options: xr.Dataset, target: float) -> list[str]:
    """Return what each option needs to reach the target, and which costs least."""
    pairs = [
        (str(n), float(s))
        for n, s in zip(options.study_option.values, options.recommended_nominal.values, strict=True)
    ]
    can = [pair for pair in pairs if math.isfinite(pair[1])]
    cannot = [name for name, size in pairs if not math.isfinite(size)]
    out = [SAY.options_reach(can, target)] if can else []
    out += [SAY.options_fail(cannot)] if cannot else []
    paid = "annual_with_mains" if "annual_with_mains" in options else "annual"
    if paid in options and np.ptp(options[paid].values) > 0:
        least = options.isel(study_option=int(options[paid].values.argmin()))
        facts = {"name": str(least.study_option.item()), "annual": float(least[paid])}
        facts |= {"currency": options.attrs["currency"], "reliability": float(least.rain_reliability)}
        facts |= {
            "mains": float(least.mains_a_year),
            "unsupplied": float(least.unsupplied_a_year),
            "some_mains": mains_in(options),
            "priced": paid != "annual",
        }
        out.append(SAY.cheapest_option(facts))
    return out


def options_caption(options: xr.Dataset) -> str:
    """Return what the picture of the options shows."""
    return SAY.options_caption(
        options.sizes["study_option"], options.nominal.values, options.rain_reliability.values
    )
