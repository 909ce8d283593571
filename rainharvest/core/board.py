"""How every panel is made: sliders beside the figure that matters, painted as SVG, and a sentence under each.

A guess before the sliders and a question with a field for its answer are made here too.
"""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING

import ipywidgets as widgets

from rainharvest.core.controls import Choices, Controls, Saving
from rainharvest.core.defaults import CAUTIONS
from rainharvest.core.errors import InputError
from rainharvest.core.save import figure_files, still_picture
from rainharvest.core.style import BRICK, DEEP, OCHRE, keep, new_figure, svg

if TYPE_CHECKING:
    from matplotlib.figure import Figure


KINDS = {"png": "image/png", "svg": "image/svg+xml", "csv": "text/csv"}


def fault(error: Exception) -> str:
    """Return an error in words."""
    if isinstance(error, InputError):
        return f"{error}."
    return (
        f"This panel failed, which is a defect: {type(error).__name__}: {error}. Report the settings shown."
    )


def stopped(error: Exception) -> str:
    """Return what the panel says of an error."""
    return f'<div class="rh-words rh-stop" role="alert">{escape(fault(error))}</div>'


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
        layout={"flex_flow": "row wrap", "margin": "0 0 18px 0", "min_height": "34px"},  # on a phone
    ), clear


def _link(name: str, content: bytes) -> str:
    kind = name.rpartition(".")[2]
    data = base64.b64encode(content).decode()
    size = f"{max(len(content) / 1000, 1):.0f} kB"
    return f'<a download="{name}" href="data:{KINDS[kind]};base64,{data}">{kind.upper()} ({size})</a> '


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

    @property
    def rh_figures(self):
        """The figures as they stand, each drawn by now."""
        return self.rh_drawn()

    def _repr_mimebundle_(self, **kwargs):
        return super()._repr_mimebundle_(**kwargs) | {"text/html": self.rh_still()}


NO_KERNEL = "A still picture: nothing runs yet. Run the page (menu Run, Run All Cells), and it can be moved."

NO_GUESS = '<p class="rh-before">Run the page (menu Run, Run All Cells) to set a guess.</p>'

LOST_KERNEL = (
    "This panel has lost its kernel and cannot answer. Run the page again (menu Run, Run All Cells)."
)


_NAMES = """for (const slider of document.querySelectorAll('.rh-controls .widget-slider')) {
  const [name, readout] = ['.widget-label', '.widget-readout'].map(part => slider.querySelector(part));
  const handle = () => slider.querySelector('.noUi-handle');
  for (const part of [handle(), readout]) part?.setAttribute('aria-label', name?.textContent);
  const say = () => handle()?.setAttribute('aria-valuetext', readout.textContent);
  if (readout && !slider.rhSays) (slider.rhSays = new MutationObserver(say)).observe(readout, {childList: true});
  if (readout) say();
}"""
"""Gives handles of sliders the names that a screen reader says, and their values as the page shows them: the slider
itself says 1.0000000000000002. They appear some time after the page has this."""

_LOOK = f"""<style onload="for (const wait of [0, 300, 1000, 3000, 10000]) setTimeout(() => {{{_NAMES}}}, wait)">
.rh-words {{font-size:18px; line-height:1.45; color:#22303a; margin:2px 0 4px 0; max-width:62em}}
.rh-words.rh-stop {{color:#7a2417; font-weight:600; position:absolute; z-index:3; background:#fdf3ee;
  border-left:5px solid #a5402d; padding:6px 12px; left:min(384px, 25%); pointer-events:none}}
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
.rh-plain {{flex:1 1 480px; max-width:860px; min-width:0}}
.rh-panel .jupyter-widgets-disconnected::before {{content:none}}
.rh-panel.jupyter-widgets-disconnected::before {{content:"{LOST_KERNEL}"; display:block; position:sticky; top:0;
  z-index:4; font:600 18px/1.45 sans-serif; color:#7a2417; background:#fdf3ee; border-left:5px solid #a5402d;
  padding:6px 12px}}
</style>"""


LINE = 80

"""Characters on a line of a sentence, about."""


Shown = tuple["Figure | Callable[..., Figure]", str]

"""What draws a figure, and its sentence."""


def board(
    name: str,
    controls: Mapping[str, widgets.Widget],
    redraw: Callable[..., Mapping[str, Shown | Callable[[], Shown]]],
    caution: str = "",
    saving: Saving | None = None,
) -> Panel:
    """Return a panel: controls, and for each figure its picture and a sentence that says what it shows.

    ``redraw`` takes the values of the controls by name and returns, by figure, a pair: what draws it (a call that takes
    the figure drawn before as ``figure`` and moves its artists, or a figure) and its sentence; or a call that gives the
    pair, where it takes work. Without a control all figures stand side by side; with one, those but the first fold away
    and are worked and drawn again when they are unfolded.
    """
    all_controls = Controls(controls)
    words = widgets.HTML(
        layout={"height": "0px", "margin": "0", "overflow": "visible"}
    )  # over the figures: no jump
    pictures: dict[str, tuple[widgets.HTML, widgets.HTML]] = {}
    asked: dict[str, Shown | Callable[[], Shown]] = {}
    figures: dict[str, Figure] = {}  # as last drawn
    drawn: set[str] = set()  # those that show what was asked last
    painted: set[str] = set()
    rows: dict[str, tuple[widgets.HBox, Callable[[], None]]] = {}
    row = widgets.HBox(layout={"flex_flow": "row wrap", "grid_gap": "0 24px"})
    side = widgets.VBox(layout={"overflow": "hidden"})
    folded = widgets.Accordion()  # all but the first, one at a time
    more = widgets.VBox(layout={"width": "100%", "overflow": "hidden"})
    resetting, said = False, []

    def shown(key: str) -> Shown:
        """Return what draws a figure, and its sentence."""
        if callable(asked[key]):
            asked[key] = asked[key]()
        return asked[key]

    def figure_of(key: str) -> tuple[Figure, str]:
        """Return a figure that shows what was asked last, with its sentence."""
        draw, sentence = shown(key)
        if key not in drawn:
            figures[key] = draw(figure=figures.get(key)) if callable(draw) else draw
            drawn.add(key)
        return figures[key], sentence

    def paint(_change=None) -> None:
        if resetting:
            return
        for answer in said:  # it spoke of what stood there before
            answer.value = ""
        try:
            asked.update(redraw(**all_controls.values()))
            drawn.clear()
            painted.clear()
            look()
        except Exception as error:
            words.value = stopped(error)
            return
        words.value = ""
        for _, hide in rows.values():
            hide()
        if len(row.children) < 2:
            arrange()

    def unfold(_change) -> None:
        try:
            look()
        except Exception as error:
            words.value = stopped(error)

    def look() -> None:
        """Paint what is seen or never was painted, where it does not show yet what was asked last."""
        unfolded = folded.selected_index
        seen = [key for k, key in enumerate(asked) if key not in pictures or k == 0 or k - 1 == unfolded]
        for key, (figure, sentence) in {key: figure_of(key) for key in seen if key not in painted}.items():
            if key not in pictures:
                pictures[key] = widgets.HTML(layout={"width": "100%"}), widgets.HTML()
                pictures[key][0].add_class("rh-picture")
                rows[key] = figure_row(f"{name}-{key}", lambda key=key: figure_of(key))
            picture, line = pictures[key]
            picture.value = svg(figure, f"{name}-{key}", sentence)
            line.value = f'<div class="rh-words">{sentence}</div>'
            room = 26 * math.ceil(len(_unmarked(sentence)) / LINE) + 6
            if room > int((line.layout.min_height or "0px")[:-2]):  # grows only: nothing below it jumps
                line.layout.min_height = f"{room}px"
            painted.add(key)

    def arrange() -> None:
        """Put the figure that matters beside the controls and the others folded below; all in a row without."""
        boxes = [
            widgets.VBox([*pictures[key], rows[key][0]], layout={"overflow": "hidden"}) for key in pictures
        ]
        for box in boxes if not controls else boxes[:1]:
            box.add_class("rh-main" if controls else "rh-plain")
        row.children = (side, boxes[0]) if controls else boxes
        if controls and len(boxes) > 1:
            folded.children = boxes[1:]
            folded.titles = [_title(figures[key]) or key for key in list(pictures)[1:]]
            folded.observe(unfold, "selected_index")
            more.children = [folded]

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
    buttons = [back]
    if saving is not None:
        its_own, answer = choices_row(Choices(saving, all_controls))
        buttons.extend(its_own)
        said.append(answer)
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
    panel.rh_said = lambda: {key: shown(key)[1] for key in asked}
    panel.rh_drawn = lambda: {key: figure_of(key) for key in asked}
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


def asking(
    question: str, controls: Mapping[str, widgets.Widget], words: str, about: str, act: Callable[..., str]
) -> Panel:
    """Return fields and a button; pressed, it says what ``act`` says of the fields' values."""
    said = widgets.HTML()

    def press(_button) -> None:
        try:
            said.value = (
                f'<div class="rh-note" role="status">{escape(act(**Controls(controls).values()))}</div>'
            )
        except Exception as error:
            said.value = f'<div class="rh-note" role="status">{escape(fault(error))}</div>'

    row = widgets.HBox(
        [*controls.values(), _button(words, about, press)],
        layout={"flex_flow": "row wrap", "grid_gap": "4px 12px"},
    )
    row.add_class("rh-controls")
    row.add_class("rh-fields")
    asked = [widgets.HTML(f'<p class="rh-words">{question}</p>')] if question else []
    panel = _panel([*asked, row, said], lambda: f'<p class="rh-before">{NO_KERNEL}</p>')
    panel.rh_controls, panel.rh_words = dict(controls), said
    return panel


def nothing_to_show(error: InputError) -> Panel:
    """Return what stands in the place of a panel for which a study lacks something."""
    words = f'<p class="rh-words">{escape(f"The study has nothing to show here: {error}.")}</p>'
    return _panel([widgets.HTML(words)], lambda: words)


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
        mine = asked_for.said(name).removeprefix(asked_for.words(name)).lstrip(": ")
        words = f"Your guess{many} is {mine}. "
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
    panel.rh_controls, panel.rh_buttons, panel.rh_words = {name: control}, buttons, said
    panel.rh_drawn = lambda: figures
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


def _title(figure: Figure) -> str:
    """Return a figure's label, or the first words of its title, for the bar under which it is folded."""
    first = figure.axes[0]
    title = figure.get_label() or figure.get_suptitle() or first.get_title(loc="left") or first.get_title()
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
