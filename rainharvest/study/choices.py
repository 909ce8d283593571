"""The one study file of the workbook: the demo, or the reader's working copy of it with the choices saved so far."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import tomlkit

from rainharvest.core.controls import Saving
from rainharvest.core.errors import InputError
from rainharvest.core.mistakes import StudyFileError, metric_factor
from rainharvest.core.tables import known_of, models_of
from rainharvest.rainfall.record import HINTS
from rainharvest.study.file import Study, read_study

COPY = "my_study.toml"

"""Name of the working copy, in the folder in which the notebooks run."""

ASIDE = "my_study-before.toml"

"""Where a working copy goes that is set aside."""

_HEAD = "# Working copy of "


VISITOR = "RAINHARVEST_VISITOR"

"""The variable that names, to a kernel of the class pages, the folder of whoever looks at the page."""


def own_folder() -> Path:
    """Return the folder in which a reader's own files lie: that of the notebooks, or a visitor's own in it.

    Returns
    -------
    Path
        From where the notebooks run; it is made where it was not.
    """
    folder = Path(os.environ.get(VISITOR, ""))
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def own_copy() -> Path:
    """Return where a reader's working copy lies."""
    return own_folder() / COPY


def study_in_use(path: str | os.PathLike, copy: str | os.PathLike | None = None) -> Path:
    """Return the study file that the workbook works on.

    Parameters
    ----------
    path : str or path
        The study file as long as no choices were saved.
    copy : str or path, optional
        The working copy; the reader's own if not given.

    Returns
    -------
    Path
        The working copy if there is one, else ``path``.

    Raises
    ------
    InputError
        If there is neither.
    """
    for one in (Path(copy or own_copy()), Path(path)):
        if one.is_file():
            return one
    raise InputError("there is no such study file", "name a study file that exists", file=path)


def use_study(path: str | os.PathLike, copy: str | os.PathLike | None = None) -> Path:
    """Make a study the one that all notebooks open: its working copy is made."""
    read_study(path)
    copy = Path(copy or own_copy())
    _write(_moved(Path(path), copy).as_string(), copy, aside=True)
    return copy


@dataclass(frozen=True)
class OwnFile:
    """A file that a reader put in: it is kept beside the working copy, whose key names it."""

    name: str
    content: bytes

    def keep(self, folder: Path) -> Path:
        """Write the file into a folder; its name bears a mark, so that it is known for a reader's own."""
        plain = re.sub(r"[^\w.-]+", "_", Path(self.name.replace("\\", "/")).name)
        path = folder / f"my_{plain}"
        path.write_bytes(self.content)
        return path


@dataclass(frozen=True)
class AsItWas:
    """What a key of a study file held, in the file's own units; None where the file had no such key."""

    value: object


def save_choices(
    path: str | os.PathLike, choices: Mapping[str, object], copy: str | os.PathLike | None = None
) -> dict[str, AsItWas]:
    """Write choices into the working copy, whole or not at all; everything else of it stays, comments too.

    Returns what each key held before.
    """
    path, copy = Path(path), Path(copy or own_copy())
    if copy.is_file() and not _same(path, copy) and not _same(path, _origin(copy)):
        raise InputError(
            f"the choices saved there are those of another study ({_origin(copy) or 'unknown'})",
            "set them aside first, or open the study that they belong to",
            file=copy,
        )
    document = _moved(copy if copy.is_file() else path, copy)
    us = document.get("units") == "us"
    before = document.as_string()
    choices = {key: _named(value, copy.parent) for key, value in choices.items()}
    held = {key: _put(document, key, value, us) for key, value in choices.items()}
    if document.as_string() != before:
        _write(document.as_string(), copy)
    return held


def take_back(keys: Sequence[str], copy: str | os.PathLike | None = None) -> bool:
    """Give keys of the working copy what the study that it was made from holds; return whether any differed."""
    copy = Path(copy or own_copy())
    origin = _origin(copy) if copy.is_file() else None
    if origin is None:
        return False
    study = _moved(origin, copy)
    us = study.get("units") == "us"
    own = {key: _put(study, key, None, us) for key in keys}
    held = save_choices(copy, own, copy)
    return any(held[key] != own[key] for key in keys)


def _put(document, key: str, value: object, us: bool) -> AsItWas:
    """Set a key of a document, or do away with it, and return what it held."""
    *tables, last = key.split(".")
    if us:
        last, factor = _in_us_units(tables, last)
        if not isinstance(value, AsItWas | None) and factor != 1.0:
            value = value / factor
    trail = [document]
    for name in tables:
        inside = trail[-1]
        if isinstance(inside, list):
            trail.append(inside[int(name)])
        else:
            trail.append(inside.setdefault(name, {}))
    last = int(last) if isinstance(trail[-1], list) else last
    try:
        before = trail[-1][last]
    except KeyError:
        before = None
    value = value.value if isinstance(value, AsItWas) else None if value is None else _plain(value)
    if value is not None:
        if before != value:
            trail[-1][last] = value
        return AsItWas(before)
    if before is not None:
        del trail[-1][last]
    for name, outer, inner in reversed(list(zip(tables, trail, trail[1:], strict=False))):
        if not inner and not isinstance(outer, list):
            del outer[name]
    return AsItWas(before)


def saving(path: str | os.PathLike | None, **keys: str | Callable) -> Saving | None:
    """Return how a panel on a study saves: by control, the key of the file, or what makes keys of all values."""
    if path is None:
        return None
    return Saving(keys, lambda choices: save_choices(path, choices), take_back, set_aside, COPY, ASIDE)


def set_aside(copy: str | os.PathLike | None = None) -> Path | None:
    """Set the working copy aside: the notebooks open the study that it was made from again."""
    copy = Path(copy or own_copy())
    if not copy.is_file():
        return None
    return copy.replace(copy.with_name(ASIDE))


def _named(value: object, folder: Path) -> object:
    """Return a value as a file in a folder has it: another file by its name from there, a reader's own kept there."""
    if isinstance(value, OwnFile):
        value = value.keep(folder)
    if isinstance(value, Path):
        return Path(os.path.relpath(value, folder)).as_posix()
    return [_named(one, folder) for one in value] if isinstance(value, list) else value


def _same(one: Path, other: Path | None) -> bool:
    return other is not None and one.resolve() == other.resolve()


def _origin(copy: Path) -> Path | None:
    """Return the file that a working copy was made from, which its first line names."""
    first = copy.read_text(encoding="utf-8").partition("\n")[0]
    return copy.parent / first.removeprefix(_HEAD).rstrip(".") if first.startswith(_HEAD) else None


def _in_us_units(tables: list[str], last: str) -> tuple[str, float]:
    """Return a key as a study file in US units has it, and the metric value of one of its units."""
    model: type = Study
    for name in tables:
        if not name.isdecimal():
            model = models_of(model.model_fields[name].annotation)[0]
    factor = metric_factor(known_of(model, "unit").get(last, ""))
    return last.replace("litre", "gallon"), factor


def _plain(value: object) -> object:
    """Return a value as a study file has it: enough figures to come back the same, whole numbers without a point."""
    if isinstance(value, bool | str | list | tuple) or not hasattr(value, "__float__"):
        return list(value) if isinstance(value, tuple) else value
    near = float(f"{float(value):.9g}")
    return int(near) if near.is_integer() else near


def _moved(path: Path, copy: Path):
    """Return a study file's document as it must read in the place of the copy: paths in it lead to the same files."""
    _, text = read_study(path)
    if not _same(path, copy):
        origin = Path(os.path.relpath(path, copy.parent)).as_posix()
        text = f"{_HEAD}{origin}.\n{text}"
    document = tomlkit.parse(text)

    def lead(inside) -> None:
        for key, value in list(inside.items() if hasattr(inside, "items") else enumerate(inside)):
            if isinstance(value, str):
                there = path.parent / value
                if not Path(value).is_absolute() and there.is_file():
                    inside[key] = _named(there, copy.parent)
            elif isinstance(value, dict | list):
                lead(value)

    if path.parent.resolve() != copy.parent.resolve():
        lead(document)
    return document


def _write(text: str, copy: Path, aside: bool = False) -> None:
    """Write the copy whole or not at all: beside its place first, where its paths lead where they will."""
    try:
        handle, name = tempfile.mkstemp(prefix=".unfinished-", suffix=".toml", dir=copy.parent)
    except OSError as error:
        raise InputError(
            f"cannot write there ({error.strerror})", "make the folder writable", file=copy
        ) from None
    trial = Path(name)
    try:
        with open(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        read_study(trial)
        if aside and copy.is_file():
            copy.replace(copy.with_name(ASIDE))
        trial.replace(copy)
    except InputError as error:
        mistakes = getattr(error, "mistakes", [error])
        raise StudyFileError([InputError(m.problem, m.remedy, m.place, copy) for m in mistakes]) from None
    finally:
        trial.unlink(missing_ok=True)


def rain_files(path: str | os.PathLike) -> list[Path]:
    """Return the rain files of a study: the site's own, then its neighbours'.

    Parameters
    ----------
    path : str or path
        The study file.

    Returns
    -------
    list of Path
        From where the caller stands.

    Raises
    ------
    InputError
        If the study file cannot be used.
    """
    study, _ = read_study(path)
    return [Path(path).parent / name for name in (study.rain.file, *study.rain.neighbours)]


def rain_hints(path: str | os.PathLike) -> dict[str, object]:
    """Return what settles the doubts that a study's rain files leave.

    Parameters
    ----------
    path : str or path
        The study file.

    Returns
    -------
    dict
        Arguments of `rainharvest.read_rain`, each to be used only where a file leaves that doubt.

    Raises
    ------
    InputError
        If the study file cannot be used.
    """
    return read_study(path)[0].rain.model_dump(include=set(HINTS), exclude_none=True)
