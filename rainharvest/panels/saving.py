"""What can be kept from a panel: its figures as files, and its choices in the study file."""

from __future__ import annotations

import base64
import os
from collections.abc import Callable, Mapping
from html import escape

import ipywidgets as widgets

from rainharvest.errors import InputError
from rainharvest.plots.save import figure_files
from rainharvest.study.choices import ASIDE, COPY, save_choices, set_aside

KINDS = {"png": "image/png", "svg": "image/svg+xml", "csv": "text/csv"}


def stopped(error: Exception) -> str:
    """Return what the panel says of an error.

    Parameters
    ----------
    error : Exception
        What was raised.

    Returns
    -------
    str
        HTML: an `InputError` in its own words, any other as a defect of ours, since a traceback inside an observer
        would show nowhere on the page.
    """
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

    Parameters
    ----------
    name : str
        Stem of the files' names.
    drawn : callable
        Returns the figure and its sentence.

    Returns
    -------
    tuple of HBox and callable
        The row, and what takes the links away.
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


def choices_row(
    study: str | os.PathLike, chosen: Callable[[], Mapping[str, object]]
) -> tuple[list[widgets.Button], widgets.HTML]:
    """Return the buttons by which a panel's choices enter the study file that all notebooks share.

    Parameters
    ----------
    study : str or path
        The study that the panel shows.
    chosen : callable
        Returns the keys of the study file that the controls stand for, with their values.

    Returns
    -------
    tuple of list of Button and HTML
        Save, set aside; and what they say.
    """
    said = widgets.HTML()
    save = widgets.Button(
        description="Save these choices",
        tooltip=f"Write these settings into {COPY}, your working copy of the study, which all notebooks open",
        layout={"width": "14em"},
    )
    aside = widgets.Button(
        description="Set saved choices aside",
        tooltip=f"The way back: {COPY} becomes {ASIDE}, and the notebooks open the study as it was",
        layout={"width": "15em"},
    )

    def saving(_button) -> None:
        try:
            changed = save_choices(study, chosen())
        except Exception as error:
            said.value = stopped(error)
            return
        each = ", ".join(f"{key} = {value}" for key, value in changed.items())
        said.value = _note(
            f"Saved in {COPY}: {each}. Each notebook shows it when it is run again."
            if changed
            else "Nothing differs from the study; nothing was written."
        )

    def setting_aside(_button) -> None:
        try:
            gone = set_aside()
        except Exception as error:
            said.value = stopped(error)
            return
        said.value = _note(
            f"Your choices now lie in {ASIDE}. Each notebook shows the study as it was when it is run again."
            if gone
            else "No choices were saved."
        )

    save.on_click(saving)
    aside.on_click(setting_aside)
    return [save, aside], said


def _note(words: str) -> str:
    return f'<div class="rh-note" role="status">{escape(words)}</div>'
