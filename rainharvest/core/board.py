"""How every panel is made: sliders on the left, figures painted as SVG, a sentence under each."""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import ipywidgets as widgets
import traitlets

from rainharvest.core.defaults import CAUTIONS
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import QUANTITIES, label
from rainharvest.core.save import figure_files, still_picture
from rainharvest.core.style import svg

if TYPE_CHECKING:
    from matplotlib.figure import Figure


KINDS = {"png": "image/png", "svg": "image/svg+xml", "csv": "text/csv"}


def stopped(error: Exception) -> str:
    """Return what the panel says of an error."""
    said = (
        f"{error}."
        if isinstance(error, InputError)
        else f"This panel failed, which is a defect: {type(error).__name__}: {error}. Report the settings shown."
    )
    return f'<div class="rh-words rh-stop" role="alert">{escape(said)}</div>'


def figure_row(name: str, drawn: Callable[[], tuple]) -> tuple[widgets.HBox, Callable[[], None]]:
    """Return the row below a figure by which it is saved.

    The files are made when they are asked for, so that the page stays light, and offered as links that the browser
    saves; a figure that changes takes its links away.
    """
    links = widgets.HTML()
    button = widgets.Button(
        description="Save this figure",
        tooltip="Make this figure as PNG and SVG, and what it draws as CSV, to be saved",
        layout={"width": "11em"},
    )

    def make(_button) -> None:
        try:
            files = figure_files(drawn()[0], name, drawn()[1])
            links.value = '<div class="rh-links">' + "".join(map(_link, files, files.values())) + "</div>"
        except Exception as error:
            links.value = stopped(error)

    def clear() -> None:
        links.value = ""

    button.on_click(make)
    return widgets.HBox([button, links], layout={"margin": "0 0 18px 0", "min_height": "34px"}), clear


def _link(name: str, content: bytes) -> str:
    kind = name.rpartition(".")[2]
    data = base64.b64encode(content).decode()
    size = f"{max(len(content) / 1000, 1):.0f} kB"
    return f'<a download="{name}" href="data:{KINDS[kind]};base64,{data}">{kind.upper()} ({size})</a> '


@dataclass(frozen=True)
class Saving:
    """How a panel's choices enter the study file that all notebooks share; a panel is handed it."""

    save: Callable[
        ..., Mapping[str, object]
    ]  # Called with the values of the controls; returns what changed, by key
    set_aside: Callable[[], object]  # The way back; nothing if there was nothing to set aside
    copy: str  # Name of the file that is written
    aside: str  # Name that it takes when it is set aside


def choices_row(
    saving: Saving, values: Callable[[], Mapping[str, object]]
) -> tuple[list[widgets.Button], widgets.HTML]:
    """Return the buttons by which a panel's choices are saved and set aside, and where they say what they did."""
    said = widgets.HTML()
    save = widgets.Button(
        description="Save these choices",
        tooltip=f"Write these settings into {saving.copy}, your working copy of the study, which all notebooks open",
        layout={"width": "14em"},
    )
    aside = widgets.Button(
        description="Set saved choices aside",
        tooltip=f"The way back: {saving.copy} becomes {saving.aside}, and the notebooks open the study as it was",
        layout={"width": "15em"},
    )

    def saved() -> str:
        changed = saving.save(**values())
        if not changed:
            return "Nothing differs from the study; nothing was written."
        each = ", ".join(f"{key} = {value}" for key, value in changed.items())
        return f"Saved in {saving.copy}: {each}. Each notebook shows it when it is run again."

    def set_aside() -> str:
        if not saving.set_aside():
            return "No choices were saved."
        return f"Your choices now lie in {saving.aside}. Each notebook shows the study as it was when it is run again."

    for button, act in ((save, saved), (aside, set_aside)):

        def press(_button, act=act) -> None:
            try:
                said.value = f'<div class="rh-note" role="status">{escape(act())}</div>'
            except Exception as error:
                said.value = stopped(error)

        button.on_click(press)
    return [save, aside], said


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
    """Return a slider labelled with the quantity's words and unit."""
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
    """Return a list to choose from."""
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
    redraw: Callable[..., Mapping[str, tuple[Figure | Callable[..., Figure], str]]],
    caution: str = "",
    saving: Saving | None = None,
) -> widgets.VBox:
    """Return a panel: controls, and for each figure its picture and a sentence that says what it shows.

    ``redraw`` takes the values of the controls by name and returns, by figure, a pair: what draws it (a call that takes
    the figure drawn before as ``figure`` and moves its artists, or a figure) and its sentence.
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
            for key, (draw, sentence) in redraw(**values()).items():
                before = figures[key][0] if key in figures else None
                figures[key] = draw(figure=before) if callable(draw) else draw, sentence
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
    if saving is not None:
        more, answer = choices_row(saving, values)
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
    """Return the cautions that belong beside a panel."""
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


class Table(widgets.GridBox):
    """Rows with a name and numbers; ``value`` holds the numbers, a tuple a row."""

    value = traitlets.Tuple()


def table(
    heads: Sequence[str], names: Sequence[str], rows: Sequence[Sequence[float]], most: float = 1e5
) -> Table:
    """Return a small editable table of numbers."""
    fields = [
        [
            widgets.BoundedFloatText(
                value=number,
                min=0,
                max=most,
                step=1 if float(number).is_integer() else 0.5,
                layout={"width": "8em"},
                continuous_update=False,
                tooltip=f"{name}: {head}",
            )
            for head, number in zip(heads[1:], row, strict=True)
        ]
        for name, row in zip(names, rows, strict=True)
    ]
    cells = [widgets.HTML(f"<b>{head}</b>") for head in heads]
    for name, row in zip(names, fields, strict=True):
        cells += [widgets.HTML(name), *row]
    out = Table(
        cells,
        value=tuple(tuple(f.value for f in row) for row in fields),
        layout={
            "grid_template_columns": "minmax(12em, max-content) " + "9em " * (len(heads) - 1),
            "grid_gap": "0 14px",
            "width": "100%",
            "margin": "4px 0 8px 1em",
        },
    )

    def typed(_change) -> None:
        out.value = tuple(tuple(f.value for f in row) for row in fields)

    def shown(change) -> None:
        for row, numbers in zip(fields, change["new"], strict=True):
            for field, number in zip(row, numbers, strict=True):
                if field.value != number:
                    field.value = number

    for row in fields:
        for field in row:
            field.observe(typed, "value")
    out.observe(shown, "value")
    return out


def says(yours: object, right: bool, answer: str, hint: str) -> None:
    """Print what a check found.

    >>> says(51, True, "About 51 kL.", "Read the curve again.")
    Right. About 51 kL.
    >>> says(20, False, "About 51 kL.", "Read the curve again.")
    Not yet. Read the curve again.
    >>> says(None, False, "About 51 kL.", "Read the curve again.")
    Answer: About 51 kL.
    """
    if yours is None:
        print(f"Answer: {answer}")
    else:
        print(f"Right. {answer}" if right else f"Not yet. {hint}")
