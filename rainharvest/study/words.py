"""The report's fixed words: titles, heads of tables, names of things."""

from __future__ import annotations

from rainharvest.core.defaults import rows_of

ASSUMED = (
    "Every default value that this study rests on, with its source. What the study file gives itself is not here. "
    '"From memory" marks a published value that was not read in the original: check your edition.'
)

EACH = "{use}: drawn by each"

DEAD = "Share of the tank below the outlet"

FREEBOARD = "Share of the tank above the overflow"

FILE = "The study file, with which anyone who has the rain files can run the study again:"


CONTENTS = "Contents"

FIGURE = "Figure"

TABLE = "Table"

CAUTION = "Caution"

NONE = "none"

INVENTED = "Invented example: no such place, building or rain gauge exists."


SIZING_TITLES = rows_of("sizing", "fixed")["titles"]

TITLES = {
    "answer": "The answer",
    "site": "The site and what was asked",
    "record": "The rain record and its faults",
    "size": SIZING_TITLES["size"],
    "options": "Options compared",
    "costs": SIZING_TITLES["costs"],
    "assumptions": "Assumptions",
    "reproduce": "How to reproduce this report",
}

"""By section, in the order of the report."""


QUESTIONS = {
    "tank": "What tank?",
    "why": "Why this one?",
    "sure": "How sure is it?",
    "drought": "What happens in a drought?",
    "cost": "What does it cost?",
    "watch": "What to watch?",
}



OPTIONS_HEAD = {
    "study_option": "option",
    "recommended_nominal": "smallest that reaches the target, nominal",
    "described_nominal": "tank described, nominal",
    "rain_reliability": "reached",
    "delivered_a_year": "yield a year",
    "failed_a_year": "days short a year",
    "mains_a_year": "mains water a year",
    "capital": "capital ({currency})",
    "annual": "a year ({currency})",
}


ASSUMPTIONS_HEAD = ("what", "value", "unit", "range", "kind", "source")

REPRODUCE_HEAD = ("what", "value")

REPRODUCE = {
    "rainharvest_version": "rainharvest version",
    "study_sha256": "SHA-256 of the study file",
    "rain_file": "rain file",
    "rain_sha256": "SHA-256 of the rain file",
    "weather_file": "weather file",
    "weather_sha256": "SHA-256 of the weather file",
    "seed": "seed",
}

COMMAND, COMMAND_TEXT = "command", "python -m rainharvest study STUDY.toml --out FOLDER"


CAPTIONS = {
    "options": "Options side by side, each with its own tank. Reached: on rain alone, where rain feeds it.",
    "assumptions": "Every default value that the study rests on.",
    "reproduce": "What the study was run on.",
}
