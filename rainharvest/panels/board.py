"""How every panel is made: sliders on the left, figures painted as SVG, a sentence under each.

A slider's move calls ``redraw`` with the values of all controls; the figures' artists are moved, the
figures painted as SVG text into HTML widgets of fixed shape. No Output widget and no ``interact``:
measured, they flicker, jump or lose pictures; this does not.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Mapping
from html import escape
from typing import TYPE_CHECKING

import ipywidgets as widgets

from rainharvest.names import QUANTITIES, label
from rainharvest.panels.saving import choices_row, figure_row, stopped
from rainharvest.plots.save import still_picture
from rainharvest.plots.style import svg
from rainharvest.study.cautions import CAUTIONS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_LOOK = """<style>
.rh-words {font-size:18px; line-height:1.45; color:#22303a; margin:2px 0 4px 0; max-width:62em}
.rh-words.rh-stop {color:#7a2417; font-weight:600; position:absolute; z-index:3; background:#fdf3ee;
  border-left:5px solid #a5402d; padding:6px 12px}
.rh-note {font-size:16px; line-height:1.45; color:#22303a; margin:2px 0 6px 0; max-width:62em}
.rh-links a {font-size:16px; line-height:32px; margin-left:14px; color:#10405f; text-decoration:underline}
.rh-controls .widget-label {font-size:16px; overflow:visible}
.rh-controls .widget-readout {font-size:16px; min-width:5em}
.rh-controls .widget-inline-hbox {height:36px}
.rh-picture {contain:layout paint style}
</style>"""


LINE = 105
"""Characters on a line of a sentence, about."""


def slider(name: str, value: float, low: float, high: float, step: float, *, unit=None, scale=1.0, about=""):
    """Return a slider labelled with the quantity's words and unit.

    Parameters
    ----------
    name : str
        A quantity of `rainharvest.names`.
    value, low, high, step : float
        Where it stands, its ends and its step, in the unit shown.
    unit : str, optional
        The unit shown where it is not the table's (kL for L).
    scale : float
        How many of the table's units one of the shown units is (1000 for kL).
    about : str
        What it does, shown on hover; the table's meaning by default.

    Returns
    -------
    FloatSlider or IntSlider
        With ``rh_scale``, by which the board turns its value into the table's unit.
    """
    whole = all(float(v).is_integer() for v in (value, low, high, step))
    kind = widgets.IntSlider if whole else widgets.FloatSlider
    if whole:
        value, low, high, step = (int(v) for v in (value, low, high, step))
    out = kind(
        value=min(max(value, low), high),
        min=low,
        max=high,
        step=step,
        description=label(name, unit),
        tooltip=about or QUANTITIES[name].meaning,
        style=_wide_enough(label(name, unit)),
        layout={"width": "37em", "max_width": "100%"},
        readout_format=",d" if whole else f",.{max(0, -math.floor(math.log10(step)))}f",
    )
    out.rh_scale = scale
    return out


def choice(words: str, options: Mapping[str, object] | list, value, about: str = "") -> widgets.Dropdown:
    """Return a list to choose from.

    Parameters
    ----------
    words : str
        What is chosen.
    options : list or mapping
        What there is to choose from.
    value : object
        What is chosen at first.
    about : str
        What it does, shown on hover.

    Returns
    -------
    Dropdown
        The control.
    """
    options = list(options.items()) if isinstance(options, Mapping) else options
    return widgets.Dropdown(
        options=options,
        value=value,
        description=words,
        tooltip=about,
        style=_wide_enough(words),
        layout={"width": "37em", "max_width": "100%"},
    )


def _wide_enough(words: str) -> dict[str, str]:
    """Return the style of a label: labels stand in one column, but for the few that are longer than it."""
    return {"description_width": f"{max(13, math.ceil(0.56 * len(words)))}em"}


def board(
    name: str,
    controls: Mapping[str, widgets.Widget],
    redraw: Callable[..., Mapping[str, tuple[Figure, str]]],
    caution: str = "",
    study: str | os.PathLike | None = None,
    choices: Callable[..., Mapping[str, object]] | None = None,
) -> widgets.VBox:
    """Return a panel: controls, and for each figure its picture and a sentence that says what it shows.

    Parameters
    ----------
    name : str
        The panel's name: salt for the figures' ids, stem of the files they are saved in.
    controls : mapping of str to widget
        By the name under which ``redraw`` takes their values.
    redraw : callable
        Called with every control's value by name, in the units of `rainharvest.names`; returns, by name
        and always in one order, the figure and its sentence. It calls a stage and a plot.
    caution : str
        The caution that belongs beside the panel, where the work can hurt someone.
    study : str or path, optional
        The study file that the panel shows, where its choices can be saved.
    choices : callable, optional
        Called like ``redraw``; returns the study file's keys that the controls stand for, with their values,
        as `rainharvest.study.choices.save_choices` takes them.

    Returns
    -------
    VBox
        The panel, already painted.
    """
    start = {key: control.value for key, control in controls.items()}
    words = widgets.HTML(
        layout={"height": "0px", "margin": "0", "overflow": "visible"}
    )  # over the figures: no jump
    pictures: dict[str, tuple[widgets.HTML, widgets.HTML]] = {}
    figures: dict[str, tuple[Figure, str]] = {}
    rows: dict[str, tuple[widgets.HBox, Callable[[], None]]] = {}
    place = widgets.VBox(layout={"width": "100%", "max_width": "1040px", "overflow": "hidden"})
    resetting = False

    def values() -> dict[str, object]:
        out = {}
        for key, control in controls.items():
            scale = getattr(control, "rh_scale", None)
            out[key] = control.value if scale is None else control.value * scale
        return out

    def paint(_change=None) -> None:
        if resetting:
            return
        try:
            figures.update(redraw(**values()))
        except Exception as error:
            words.value = stopped(error)
            return
        words.value = ""
        for key, (figure, sentence) in figures.items():
            if key not in pictures:
                pictures[key] = widgets.HTML(layout={"width": "100%"}), widgets.HTML()
                pictures[key][0].add_class("rh-picture")
                rows[key] = figure_row(f"{name}-{key}", lambda key=key: figures[key])
            picture, line = pictures[key]
            picture.value = svg(figure, f"{name}-{key}", sentence)
            line.value = f'<div class="rh-words">{sentence}</div>'
            room = f"{26 * math.ceil(len(re.sub('<[^>]+>', '', sentence)) / LINE) + 6}px"
            if int(room[:-2]) > int(
                (line.layout.min_height or "0px")[:-2]
            ):  # grows only: nothing below it jumps
                line.layout.min_height = room
            rows[key][1]()
        if not place.children:
            place.children = [w for key in pictures for w in (*pictures[key], rows[key][0])]

    def reset(_button) -> None:
        nonlocal resetting
        moved = any(control.value != start[key] for key, control in controls.items())
        resetting = True
        for key, control in controls.items():
            control.value = start[key]
        resetting = False
        if moved:
            paint()

    back = widgets.Button(
        description="Back to the start",
        tooltip="Set every control as it stood at first",
        layout={"width": "12em"},
    )
    back.on_click(reset)
    for control in controls.values():
        control.observe(paint, "value")
    paint()
    buttons, said = [back] if controls else [], []
    if study is not None and choices is not None:
        more, answer = choices_row(study, lambda: choices(**values()))
        buttons, said = [*buttons, *more], [answer]
    caution_box = [widgets.HTML(f'<div class="rh-words"><b>Caution.</b> {caution}</div>')] if caution else []
    bar = widgets.HBox(buttons, layout={"flex_flow": "row wrap", "margin": "4px 0 4px 13em"})
    box = widgets.HBox(list(controls.values()), layout={"flex_flow": "row wrap", "overflow": "hidden"})
    box.add_class("rh-controls")
    look = widgets.HTML(_LOOK, layout={"height": "0px", "margin": "0"})
    panel = widgets.VBox([look, box, bar, *said, words, place, *caution_box], layout={"overflow": "hidden"})
    panel.rh_controls = dict(controls)  # tests and notebooks move the controls by name
    panel.rh_words = words
    panel.rh_pictures = pictures
    panel.rh_figures = figures
    return panel


def cautions(*keys: str) -> str:
    """Return the cautions that belong beside a panel.

    Parameters
    ----------
    *keys : str
        Names in `rainharvest.study.cautions.CAUTIONS`.

    Returns
    -------
    str
        Each with what it is about.
    """
    return " ".join(f"{CAUTIONS[key].title}: {CAUTIONS[key].text}" for key in keys)


def still(panel: widgets.VBox):
    """Return the figures of a panel as they stand, as one picture, for a reader without a kernel.

    The first figure at full width, the others below it in pairs; their sentences follow and are the alternative text.

    Parameters
    ----------
    panel : VBox
        A panel of `board`.

    Returns
    -------
    IPython.display.HTML
        The same bytes for the same panel, below 100 kB.
    """
    import base64

    from IPython.display import HTML

    picture = still_picture([figure for figure, _ in panel.rh_figures.values()])
    said = [re.sub(r"<[^>]+>", "", sentence) for _, sentence in panel.rh_figures.values()]
    data = base64.b64encode(picture).decode()
    lines = "".join(f"<p>{escape(line, quote=False)}</p>" for line in said)
    words = escape(" ".join(said), quote=True)
    return HTML(f'<img alt="{words}" width="900" src="data:image/png;base64,{data}">{lines}')
