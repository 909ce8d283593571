"""The caretaker's card as a page to print and pin beside the tank."""

from __future__ import annotations

from html import escape

import xarray as xr

from rainharvest.reader import large_volume, number
from rainharvest.study.supply_words import MONTHS

_LOOK = """
@page { size: A4 portrait; margin: 14mm }
body { font: 15px/1.4 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 0 auto; padding: 4mm }
h1 { font-size: 24px; margin: 0 0 2mm } p { margin: 1mm 0 3mm }
svg { width: 100%; height: auto } table { border-collapse: collapse; width: 100%; font-size: 13px }
th, td { border: 1px solid #000; padding: 1px 6px; text-align: right }
th:first-child, td:first-child { text-align: left }
.line { border-bottom: 1px solid #000; display: inline-block; min-width: 60mm }
@media print { body { padding: 0; max-width: none } }
"""


def card_rows(plan: xr.Dataset) -> list[list[str]]:
    """Return the card as a table: a row a month, for each thing to do the level below which it is done.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.study.drought_plan.plan_dataset`.

    Returns
    -------
    list of list of str
        The head, then twelve rows; levels in per cent of the tank and in the reader's volume.
    """
    size = float(plan.attrs["plan_capacity"])
    per, unit = large_volume()
    head = ["Month", *(f"stage {s} below" for s in plan.stage.values), "call for help below"]

    def shown(level: float) -> str:
        if level > 1:
            return "always"
        if level <= 0:
            return "never"
        return f"{number(round(100 * level))} % ({number(level * size / per, 2)} {unit})"

    rows = [
        [
            MONTHS[m],
            *(shown(float(v)) for v in plan.stage_level.values[:, m]),
            shown(float(plan.help_level[m])),
        ]
        for m in range(12)
    ]
    return [head, *rows]


def card_html(plan: xr.Dataset, picture: str, place: str, essential: str) -> str:
    """Return the card as one page of HTML that prints in black and white.

    Parameters
    ----------
    plan : Dataset
        As `rainharvest.study.drought_plan.plan_dataset`.
    picture : str
        The card's figure as SVG text.
    place : str
        Whose tank it is.
    essential : str
        What counts as essential, in words.

    Returns
    -------
    str
        A whole HTML document; nothing is fetched.
    """
    head, *rows = card_rows(plan)
    table = "".join(f"<th>{escape(cell)}</th>" for cell in head)
    body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>When the gauge falls: {escape(place)}</title><style>{_LOOK}</style></head><body>\n"
        f"<h1>When the gauge falls</h1><p>{escape(place)}</p>\n"
        "<p><b>Each morning: read the gauge, find the month, do what its pattern says.</b></p>\n"
        f"{picture}\n<p>{escape(essential[0].upper() + essential[1:])}.</p>\n"
        f"<table><tr>{table}</tr>{body}</table>\n"
        '<p>Who to call: <span class="line">&nbsp;</span> &nbsp; Telephone: <span class="line">&nbsp;</span></p>\n'
        "<p>Water from the tank is not for drinking unless it is treated and tested.</p>\n</body></html>\n"
    )
