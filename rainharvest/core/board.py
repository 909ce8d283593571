"""How every panel is made: sliders beside the figure that matters, painted as SVG, and a sentence under each.

A guess before the sliders, and a player of days, are made here too.
"""

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
from rainharvest.core.style import BRICK, DEEP, OCHRE, keep, new_figure, svg

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

    def make(_button) -> None:
        try:
            files = figure_files(drawn()[0], name, drawn()[1])
            links.value = '<div class="rh-links">' + "".join(map(_link, files, files.values())) + "</div>"
        except Exception as error:
            links.value = stopped(error)

    def clear() -> None:
        links.value = ""

    about = "Make this figure as PNG and SVG, and what it draws as CSV, to be saved"
    return widgets.HBox(
        [_button("Save this figure", about, make), links],
        layout={"margin": "0 0 18px 0", "min_height": "34px"},
    ), clear


def _link(name: str, content: bytes) -> str:
    kind = name.rpartition(".")[2]
    data = base64.b64encode(content).decode()
    size = f"{max(len(content) / 1000, 1):.0f} kB"
    return f'<a download="{name}" href="data:{KINDS[kind]};base64,{data}">{kind.upper()} ({size})</a> '


@dataclass(frozen=True)
class Saving:
    """How a panel's choices enter the study file that all notebooks share; a panel is handed it."""

    keys: Mapping[str, str | Callable[[Mapping[str, object]], Mapping[str, object]]]
    """By control, the key of the study file that it sets; or what makes keys with values of all controls' values."""

    save: Callable[[Mapping[str, object]], Mapping[str, object]]  # Writes keys; returns what each held before
    take_back: Callable[[Sequence[str]], bool]  # Gives keys back what they held before any choice was saved
    set_aside: Callable[[], object]  # The way back of all at once; nothing if there was nothing to set aside
    copy: str  # Name of the file that is written
    aside: str  # Name that it takes when it is set aside

    def stands_for(self, name: str, values: Mapping[str, object]) -> dict[str, object]:
        """Return the keys that a control stands for, with their values."""
        key = self.keys[name]
        return {key: values[name]} if isinstance(key, str) else dict(key(values))


class Controls:
    """The controls of a panel: what they say, and whether they were moved.

    A control that was not moved says the study's own value as it stands there, whatever the steps of its slider are.
    """

    def __init__(self, controls: Mapping[str, widgets.Widget]):
        self.by_name = dict(controls)
        self.start = {name: control.value for name, control in controls.items()}

    def moved(self, name: str) -> bool:
        """Return whether a control stands elsewhere than at first; what a page's rounding did is no move."""
        control, start = self.by_name[name], self.start[name]
        if hasattr(control, "rh_exact"):
            return abs(control.value - start) > 1e-6 * control.step
        return control.value != start

    def value(self, name: str) -> object:
        """Return what a control says, in the quantity's own unit."""
        control = self.by_name[name]
        if not hasattr(control, "rh_exact"):
            return control.value
        return _plain(control.value * control.rh_scale) if self.moved(name) else control.rh_exact

    def values(self) -> dict[str, object]:
        """Return what all controls say."""
        return {name: self.value(name) for name in self.by_name}

    def words(self, name: str) -> str:
        """Return a control's name as the page has it, without its unit."""
        return _split(self.by_name[name])[0]

    def said(self, name: str) -> str:
        """Return what a control shows, in the words of the page."""
        control = self.by_name[name]
        if isinstance(control, Table):
            return control.changes(self.start[name])
        words, unit = _split(control)
        if not hasattr(control, "rh_exact"):
            return f"{words}: {getattr(control, 'label', control.value)}"
        digits = max(0, 1 - math.floor(math.log10(control.step)))  # one more than the step has
        shown = f"{self.value(name) / control.rh_scale:,.{digits}f}"
        return f"{words} {shown.rstrip('0').rstrip('.') if '.' in shown else shown} {unit}".rstrip()

    def between_steps(self) -> str:
        """Return which of the study's own values lie between the steps of their sliders."""
        off = [
            self.said(name)
            for name, control in self.by_name.items()
            if hasattr(control, "rh_exact")
            and f"{control.rh_exact / control.rh_scale:.4g}" != f"{self.start[name]:.4g}"
        ]
        return f"Until it is moved, the study's own value holds: {'; '.join(off)}." if off else ""


def _plain(value: float) -> float:
    """Return a value without the last bits that a slider's arithmetic leaves."""
    return value if isinstance(value, int) else float(f"{value:.12g}")


def _split(control: widgets.Widget) -> tuple[str, str]:
    """Return the words and the unit of a control's label."""
    words, unit = re.fullmatch(r"(.*?)(?: \(([^()]*)\))?", control.description).groups()
    return words, unit or ""


class Choices:
    """What a panel has saved of its controls: each save writes what was moved since the last, and nothing else."""

    def __init__(self, saving: Saving, controls: Controls):
        self.saving, self.controls = saving, controls
        self.last = controls.values()
        self.before: dict[str, dict[str, object]] = {}  # by control, what its keys held before its first save

    def save(self) -> str:
        """Write what was moved since the last save; a control back at its start gives its keys back."""
        values = self.controls.values()
        moved = [name for name, value in values.items() if value != self.last[name]]
        kept = [name for name in moved if name in self.saving.keys]
        if moved and not kept:
            names = ", ".join(map(self.controls.words, moved))
            return f"The study file has no place for what was moved ({names}); nothing was written."
        if not kept:
            return "Nothing was moved since the last save; nothing was written."
        write: dict[str, Mapping[str, object]] = {}
        for name in kept:
            home = name in self.before and not self.controls.moved(name)
            write[name] = self.before[name] if home else self.saving.stands_for(name, values)
        held = self.saving.save({key: value for keys in write.values() for key, value in keys.items()})
        for name in kept:
            if self.controls.moved(name):
                self.before[name] = {key: held[key] for key in write[name]} | self.before.get(name, {})
            else:
                self.before.pop(name, None)
        self.last = values
        each = "; ".join(map(self.controls.said, kept))
        return f"Saved in {self.saving.copy}: {each}. Each notebook shows it when it is run again."

    def take_back(self) -> str:
        """Give the keys of this panel's controls what they held before any choice was saved."""
        values = self.controls.values()
        keys = {key for name in self.saving.keys for key in self.saving.stands_for(name, values)}
        if not self.saving.take_back(sorted(keys)):
            return "Nothing of what this panel sets was saved."
        self._forget()
        return (
            f"What this panel sets was taken out of {self.saving.copy} again. Each notebook shows it as it was "
            "when it is run again."
        )

    def set_aside(self) -> str:
        """Set the choices of all panels aside."""
        if not self.saving.set_aside():
            return "No choices were saved."
        self._forget()
        where = f"All choices now lie in {self.saving.aside}."
        return f"{where} Each notebook shows the study as it was when it is run again."

    def _forget(self) -> None:
        self.before.clear()
        self.last = {
            name: value if not self.controls.moved(name) else None
            for name, value in self.controls.values().items()
        }


def choices_row(choices: Choices) -> tuple[list[widgets.Button], widgets.HTML]:
    """Return the buttons by which a panel's choices are saved and taken back, and where they say what they did."""
    said = widgets.HTML()
    copy, aside = choices.saving.copy, choices.saving.aside
    acts = {
        "Save these choices": (
            choices.save,
            f"Write what was moved into {copy}, your working copy of the study, which all notebooks open",
        ),
        "Take these back": (
            choices.take_back,
            f"What this panel sets goes back in {copy} to what it was before anything was saved",
        ),
        "Set saved choices aside": (
            choices.set_aside,
            f"The way back of all panels: {copy} becomes {aside}, and the notebooks open the study as it was",
        ),
    }
    buttons = []
    for words, (act, about) in acts.items():

        def press(_button, act=act) -> None:
            try:
                said.value = f'<div class="rh-note" role="status">{escape(act())}</div>'
            except Exception as error:
                said.value = stopped(error)

        buttons.append(_button(words, about, press))
    return buttons, said


class Panel(widgets.VBox):
    """A panel with two faces: sliders where a kernel runs, what they show as a still picture where none does."""

    def _repr_mimebundle_(self, **kwargs):
        return super()._repr_mimebundle_(**kwargs) | {"text/html": self.rh_still()}


NO_KERNEL = "A still picture: nothing runs yet. Run the page (menu Run, Run All Cells), and it can be moved."

NO_GUESS = '<p class="rh-before">Run the page (menu Run, Run All Cells) to set a guess.</p>'

LOST_KERNEL = (
    "This panel has lost its kernel and cannot answer. Run the page again (menu Run, Run All Cells)."
)


_NAMES = """for (const slider of document.querySelectorAll('.rh-controls .widget-slider')) {
  const name = slider.querySelector('.widget-label')?.textContent;
  for (const part of slider.querySelectorAll('.noUi-handle, .widget-readout')) part.setAttribute('aria-label', name);
}"""
"""Gives handles of sliders the names that a screen reader says; they appear some time after the page has this."""

_LOOK = f"""<style onload="for (const wait of [0, 300, 1000, 3000, 10000]) setTimeout(() => {{{_NAMES}}}, wait)">
.rh-words {{font-size:18px; line-height:1.45; color:#22303a; margin:2px 0 4px 0; max-width:62em}}
.rh-words.rh-stop {{color:#7a2417; font-weight:600; position:absolute; z-index:3; background:#fdf3ee;
  border-left:5px solid #a5402d; padding:6px 12px}}
.rh-note, .rh-between {{font-size:16px; line-height:1.45; color:#22303a; margin:2px 0 6px 0; max-width:62em}}
.rh-links a {{font-size:16px; line-height:32px; margin-left:14px; color:#10405f; text-decoration:underline}}
.rh-side {{flex:1 1 300px; max-width:360px; min-width:0}}
.rh-main {{flex:3 1 620px; max-width:1300px; min-width:0}}
.rh-controls .widget-inline-hbox {{height:auto; flex-wrap:wrap; margin-bottom:2px}}
.rh-controls .widget-label {{font-size:16px; overflow:visible; text-align:left; flex:1 0 100%; line-height:22px;
  height:auto; white-space:normal}}
.rh-controls .widget-readout {{font-size:16px; min-width:4em}}
.rh-more {{max-width:1660px}}
.rh-more .jupyter-widget-Collapse-header {{font-size:18px; font-weight:600; color:#10405f}}
.rh-picture {{contain:layout paint style}}
.rh-plain {{flex:1 1 600px; max-width:1100px; min-width:0}}
.rh-panel .jupyter-widgets-disconnected::before {{content:none}}
.rh-panel.jupyter-widgets-disconnected::before {{content:"{LOST_KERNEL}"; display:block; position:sticky; top:0;
  z-index:4; font:600 18px/1.45 sans-serif; color:#7a2417; background:#fdf3ee; border-left:5px solid #a5402d;
  padding:6px 12px}}
</style>"""


LINE = 80

"""Characters on a line of a sentence, about."""


def slider(name: str, value: float, low: float, high: float, step: float, *, unit=None, scale=1.0, about=""):
    """Return a slider labelled with the quantity's words and unit.

    It stands on the step nearest to ``value``; until it is moved the panel takes ``value`` itself.
    """
    whole = all(float(v).is_integer() for v in (low, high, step))
    kind = widgets.IntSlider if whole else widgets.FloatSlider
    if whole:
        low, high, step = (int(v) for v in (low, high, step))
    near = low + round((min(max(value, low), high) - low) / step) * step
    out = kind(
        value=_plain(min(near, high)),
        min=low,
        max=high,
        step=step,
        description=label(name, unit),
        tooltip=about or QUANTITIES[name].meaning,
        layout={"width": "98%"},
        readout_format=",d" if whole else f",.{max(0, -math.floor(math.log10(step)))}f",
    )
    out.rh_scale = scale
    out.rh_exact = value if scale == 1 else float(f"{value * scale:.15g}")
    return out


def choice(words: str, options: Mapping[str, object] | list, value, about: str = "") -> widgets.Dropdown:
    """Return a list to choose from."""
    options = list(options.items()) if isinstance(options, Mapping) else options
    return widgets.Dropdown(
        options=options, value=value, description=words, tooltip=about, layout={"width": "98%"}
    )


def board(
    name: str,
    controls: Mapping[str, widgets.Widget],
    redraw: Callable[..., Mapping[str, tuple[Figure | Callable[..., Figure], str]]],
    caution: str = "",
    saving: Saving | None = None,
) -> Panel:
    """Return a panel: controls, and for each figure its picture and a sentence that says what it shows.

    ``redraw`` takes the values of the controls by name and returns, by figure, a pair: what draws it (a call that takes
    the figure drawn before as ``figure`` and moves its artists, or a figure) and its sentence. Without a control all
    figures stand side by side.
    """
    all_controls = Controls(controls)
    words = widgets.HTML(
        layout={"height": "0px", "margin": "0", "overflow": "visible"}
    )  # over the figures: no jump
    pictures: dict[str, tuple[widgets.HTML, widgets.HTML]] = {}
    figures: dict[str, tuple[Figure, str]] = {}
    rows: dict[str, tuple[widgets.HBox, Callable[[], None]]] = {}
    row = widgets.HBox(layout={"flex_flow": "row wrap", "grid_gap": "0 24px"})
    side = widgets.VBox(layout={"overflow": "hidden"})
    more = widgets.VBox(layout={"width": "100%", "overflow": "hidden"})  # the others, one at a time
    resetting = False

    def paint(_change=None) -> None:
        if resetting:
            return
        try:
            for key, (draw, sentence) in redraw(**all_controls.values()).items():
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
            room = 26 * math.ceil(len(_unmarked(sentence)) / LINE) + 6
            if room > int((line.layout.min_height or "0px")[:-2]):  # grows only: nothing below it jumps
                line.layout.min_height = f"{room}px"
            rows[key][1]()
        if len(row.children) < 2:
            arrange()

    def arrange() -> None:
        """Put the figure that matters beside the controls and the others folded below; all in a row without."""
        boxes = [
            widgets.VBox([*pictures[key], rows[key][0]], layout={"overflow": "hidden"}) for key in pictures
        ]
        for box in boxes if not controls else boxes[:1]:
            box.add_class("rh-main" if controls else "rh-plain")
        row.children = (side, boxes[0]) if controls else boxes
        if controls and len(boxes) > 1:
            titles = [_title(figure) or key for key, (figure, _) in figures.items()]
            more.children = [widgets.Accordion(boxes[1:], titles=titles[1:])]

    def reset(_button) -> None:
        nonlocal resetting
        moved = any(map(all_controls.moved, controls))
        resetting = True
        for key, control in controls.items():
            control.value = all_controls.start[key]
        resetting = False
        if moved:
            paint()

    back = _button("Back to the start", "Set every control as it stood at first", reset)
    for control in controls.values():
        control.observe(paint, "value")
    paint()
    buttons, said = [back], []
    if saving is not None:
        its_own, answer = choices_row(Choices(saving, all_controls))
        buttons, said = [back, *its_own], [answer]
    caution_box = [widgets.HTML(f'<div class="rh-words"><b>Caution.</b> {caution}</div>')] if caution else []
    bar = widgets.HBox(buttons, layout={"flex_flow": "row wrap", "margin": "6px 0 4px 0"})
    off = all_controls.between_steps()
    between = [widgets.HTML(f'<div class="rh-between">{escape(off)}</div>')] if off else []
    players = [control.rh_play for control in controls.values() if hasattr(control, "rh_play")]
    side.children = [*players, *controls.values(), *between, bar, *said]
    for box, css in ((side, "rh-side"), (side, "rh-controls"), (more, "rh-more")):
        box.add_class(css)
    note = f'<p class="rh-before">{NO_KERNEL}</p>' if controls else ""
    panel = _panel([words, row, more, *caution_box], lambda: note + still(panel).data)
    panel.rh_controls = dict(controls)  # tests and notebooks move the controls by name
    panel.rh_words = words
    panel.rh_pictures = pictures
    panel.rh_figures = figures
    return panel


def _panel(children: Sequence[widgets.Widget], face: Callable[[], str]) -> Panel:
    """Return a panel with its look and its still face."""
    look = widgets.HTML(_LOOK, layout={"height": "0px", "margin": "0"})
    panel = Panel([look, *children], layout={"overflow": "hidden"})
    panel.add_class("rh-panel")
    panel.rh_still = face
    return panel


def _button(words: str, about: str, act: Callable) -> widgets.Button:
    button = widgets.Button(description=words, tooltip=about, layout={"width": "auto"})
    button.on_click(act)
    return button


def _unmarked(sentence: str) -> str:
    """Return a sentence without its marks of HTML."""
    return re.sub(r"<[^>]+>", "", sentence)


def predict(
    name: str, question: str, control: widgets.Widget, found: Callable[[], tuple[object, str]]
) -> Panel:
    """Return a question that is guessed at before the sliders move, and then shown beside what is so.

    ``control`` is a slider or a list to choose from; ``found`` returns, once the first guess is set, what is so in the
    control's own values and a sentence. Guesses gather in one picture, so that a trainer can type in those of a class.
    """
    asked_for = Controls({name: control})
    guesses: list[object] = []
    truth: list[tuple[object, str]] = []
    figures: list[Figure] = []
    picture, said = widgets.HTML(layout={"width": "100%"}), widgets.HTML()
    picture.add_class("rh-picture")

    def set_one(_button) -> None:
        try:
            truth[:] = truth or [found()]
            guesses.append(control.value)
            options = [str(option) for option in getattr(control, "options", ())]
            figures[:] = [guesses_figure(guesses, truth[0][0], options, control.description, *figures)]
        except Exception as error:
            said.value = stopped(error)
            return
        many = f" ({len(guesses)} guesses so far)" if len(guesses) > 1 else ""
        words = f"Your guess{many} is {asked_for.said(name)}. "
        picture.value = svg(figures[0], name, f"{words}{truth[0][1]}")
        said.value = f'<div class="rh-words">{words}{truth[0][1]}</div>'

    def clear(_button) -> None:
        guesses.clear()
        figures.clear()
        picture.value = said.value = ""

    asked = f'<p class="rh-words"><b>Guess first.</b> {question}</p>'
    buttons = [
        _button("Set this guess", "Keep the guess, and show it beside what the study finds", set_one),
        _button("Begin again", "Forget all guesses and hide the answer", clear),
    ]
    side = widgets.VBox([control, widgets.HBox(buttons, layout={"flex_flow": "row wrap"})])
    main = widgets.VBox([said, picture], layout={"overflow": "hidden"})
    for box, css in ((side, "rh-side"), (side, "rh-controls"), (side, "rh-guess"), (main, "rh-main")):
        box.add_class(css)
    row = widgets.HBox([side, main], layout={"flex_flow": "row wrap", "grid_gap": "0 24px"})
    panel = _panel([widgets.HTML(asked), row], lambda: asked + NO_GUESS)
    panel.rh_controls, panel.rh_buttons, panel.rh_words, panel.rh_figures = (
        {name: control},
        buttons,
        said,
        figures,
    )
    return panel


def guesses_figure(
    guesses: Sequence, truth: object, options: Sequence[str], words: str, figure: Figure | None = None
) -> Figure:
    """Draw guesses as dots, stacked where they are alike, and what is so as a line."""
    if figure is None:
        figure, axes = new_figure("What was guessed, and what is so", height=2.4)
        axes.set_xlabel(words)
        axes.set_yticks([])
        axes.grid(visible=False)
        axes.spines["left"].set_visible(False)
        if options:
            axes.set_xticks(range(len(options)), options)
            axes.set_xlim(-0.5, len(options) - 0.5)
    axes = figure.axes[0]
    at = [options.index(str(one)) if options else float(one) for one in (*guesses, truth)]
    heights = [at[: k + 1].count(place) for k, place in enumerate(at[:-1])]
    top = max(4, *heights) + 1
    if not options:
        room = 0.08 * (max(at) - min(at)) or 1.0
        axes.set_xlim(min(at) - room, max(at) + room)
    axes.set_ylim(0, top)
    keep(axes, "truth", lambda: axes.axvline(0, color=OCHRE, linewidth=5, zorder=1)).set_xdata([at[-1]] * 2)
    dots = keep(axes, "guesses", lambda: axes.plot([], [], "o", ms=11, color=DEEP, zorder=3)[0])
    dots.set_data(at[:-1], heights)
    last = keep(axes, "last guess", lambda: axes.plot([], [], "o", ms=11, color=BRICK, zorder=4)[0])
    last.set_data(at[-2:-1], heights[-1:])
    return figure


def day_slider(name: str, steps: int, at: int = 0) -> widgets.IntSlider:
    """Return a slider along days, with what plays, pauses and stops it above it."""
    out = slider(name, at, 0, steps - 1, 1, unit="", about="Step with the arrow keys, or play")
    out.rh_play = widgets.Play(value=at, min=0, max=steps - 1, interval=500, show_repeat=False)
    out.rh_play.rh_link = widgets.jslink((out.rh_play, "value"), (out, "value"))
    return out


def _title(figure: Figure) -> str:
    """Return the first words of a figure's title, for the bar under which it is folded."""
    first = figure.axes[0]
    title = figure.get_suptitle() or first.get_title(loc="left") or first.get_title()
    whole = re.split("[:;(]", title)[0].strip()
    return whole if len(whole) < 45 else whole.split(",")[0]


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
    from IPython.display import HTML

    picture = still_picture([figure for figure, _ in panel.rh_figures.values()])
    said = [_unmarked(sentence) for _, sentence in panel.rh_figures.values()]
    data = base64.b64encode(picture).decode()
    lines = "".join(f"<p>{escape(line, quote=False)}</p>" for line in said)
    words = escape(" ".join(said), quote=True)
    return HTML(f'<img alt="{words}" width="900" src="data:image/png;base64,{data}">{lines}')


class Table(widgets.GridBox):
    """Rows with a name and numbers to edit; ``value`` holds the numbers, a tuple a row."""

    value = traitlets.Tuple()

    def __init__(
        self, heads: Sequence[str], names: Sequence[str], rows: Sequence[Sequence[float]], most: float = 1e5
    ):
        self.rh_names, self.rh_heads = list(names), list(heads[1:])
        self.fields = [
            [
                self._field(f"{name}: {head}", number, most)
                for head, number in zip(heads[1:], row, strict=True)
            ]
            for name, row in zip(names, rows, strict=True)
        ]
        cells = [widgets.HTML(f"<b>{head}</b>") for head in heads]
        for name, row in zip(names, self.fields, strict=True):
            cells += [widgets.HTML(name), *row]
        columns = "minmax(8em, 1fr) " + "6em " * (len(heads) - 1)
        look = {"grid_gap": "0 8px", "width": "100%", "margin": "4px 0 8px 0"}
        super().__init__(cells, value=self._typed(), layout={"grid_template_columns": columns} | look)

    def _field(self, about: str, number: float, most: float) -> widgets.BoundedFloatText:
        step = 1 if float(number).is_integer() else 0.5
        look = {"layout": {"width": "5.5em"}, "tooltip": about, "continuous_update": False}
        field = widgets.BoundedFloatText(value=number, min=0, max=most, step=step, **look)
        field.observe(lambda _change: self.set_trait("value", self._typed()), "value")
        return field

    def _typed(self) -> tuple:
        return tuple(tuple(field.value for field in row) for row in self.fields)

    @traitlets.observe("value")
    def _shown(self, change) -> None:
        for row, numbers in zip(self.fields, change["new"], strict=True):
            for field, number in zip(row, numbers, strict=True):
                field.value = number

    def changes(self, since: tuple) -> str:
        """Return in words which numbers differ from others."""
        pairs = [
            f"{name}, {head}: {new:g}"
            for name, row, old_row in zip(self.rh_names, self.value, since, strict=True)
            for head, new, old in zip(self.rh_heads, row, old_row, strict=True)
            if new != old
        ]
        return "; ".join(pairs) or f"{self.rh_heads[0]}: as in the study"
