"""The controls of a panel: what can be moved, what each says, and which of their choices enter the study file."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import ipywidgets as widgets
import traitlets

from rainharvest.core.quantities import QUANTITIES, label


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


def day_slider(name: str, steps: int, at: int = 0) -> widgets.IntSlider:
    """Return a slider along days, with what plays, pauses and stops it above it."""
    out = slider(name, at, 0, steps - 1, 1, unit="", about="Step with the arrow keys, or play")
    out.rh_play = widgets.Play(value=at, min=0, max=steps - 1, interval=500, show_repeat=False)
    out.rh_play.rh_link = widgets.jslink((out.rh_play, "value"), (out, "value"))
    return out


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
        if isinstance(control, widgets.FileUpload):
            return f"{words}: {control.value[0]['name'] if control.value else 'none'}"
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
