"""Mistakes of a study file in the words of the project: the place, what is wrong, what to do."""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from pydantic import BaseModel, ValidationError

from rainharvest.core.errors import InputError, require, require_file
from rainharvest.core.reader import US_UNITS
from rainharvest.core.tables import known_of, models_of


@dataclass(frozen=True)
class Mistake:
    """One mistake."""

    loc: tuple[str | int, ...]  # Keys and numbers (from zero) that lead to it
    problem: str  # What is wrong and what to do, as in `rainharvest.core.errors.InputError`
    remedy: str  # What is wrong and what to do, as in `rainharvest.core.errors.InputError`
    doubt: bool = False  # Whether it may be right all the same, and be confirmed

    @property
    def option(self) -> int | None:
        """The option it lies in, from one; None for the study itself."""
        return self.loc[1] + 1 if self.loc[:1] == ("option",) and "study" in self.loc[2:3] else None

    @property
    def tail(self) -> tuple[str | int, ...]:
        """Its place within the study or the option's study."""
        return self.loc[3:] if self.option else self.loc

    @property
    def place(self) -> str:
        """Its place as the file's author counts, such as "roof[1].area"."""
        text = ""
        for part in (*self.loc[:2], *self.tail) if self.option else self.loc:
            text += f"[{part + 1}]" if isinstance(part, int) else ("." if text else "") + str(part)
        return text

    def error(self, path: Path | None) -> InputError:
        """Return it as the error that names the file, if there is one."""
        remedy = self.remedy + (f', or add confirmed = ["{self.place}"]' if self.doubt else "")
        return InputError(self.problem, remedy, self.place, path)


class StudyFileError(InputError):
    """All the mistakes of a study file, a line each."""

    def __init__(self, mistakes: list[InputError]):
        first = mistakes[0]
        super().__init__(first.problem, first.remedy, first.place, first.file)
        self.mistakes = mistakes

    def __str__(self) -> str:
        lines = [str(mistake) for mistake in self.mistakes[:MOST_LINES]]
        more = len(self.mistakes) - len(lines)
        return "\n".join([*lines, f"and {more} more"] if more else lines)


MOST_LINES = 40  # mistakes named at once; beyond, the file is another kind of file

DEEPEST, LARGEST = 20, 1e15  # tables within tables, and numbers: beyond any study's


def _refuse_absurd(data: dict, path: Path) -> None:
    """Refuse what the readers of tables, or the arithmetic after them, would break on."""
    within: list[tuple[tuple, object]] = [((), data)]
    while within:
        loc, value = within.pop()
        place = Mistake(loc, "", "").place
        if isinstance(value, dict | list):
            require(len(loc) <= DEEPEST, "it is nested too deeply", "write it as the example", place, path)
            items = value.items() if isinstance(value, dict) else enumerate(value)
            within += [((*loc, key), inner) for key, inner in items]
        elif isinstance(value, int | float) and abs(value) > LARGEST and abs(value) != float("inf"):
            digits = f"a number above {LARGEST:g}"
            require(False, f"it is {digits}, which nothing here can be", "correct it", place, path)


_PATHS = "write a path with forward slashes (C:/rain/gauge.csv), or in single quotes"


def read_toml(path: Path) -> tuple[dict, str]:
    """Read a TOML file."""
    require_file(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror})", "name a study file that exists", file=path
        ) from None
    except UnicodeDecodeError as error:
        raise InputError("it is not UTF-8 text", "save it as UTF-8", f"byte {error.start}", path) from None
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise InputError("it is nested too deeply", "write it as the example", file=path) from None
    except ValueError as error:  # besides what is no TOML, integers of thousands of digits
        line = re.search(r"at line (\d+)", str(error))
        written = text.splitlines()[int(line[1]) - 1].strip() if line and "EOF" not in str(error) else ""
        if "\\" in written:
            problem = f"a backslash stands in quotes: {written}"
            raise InputError(problem, _PATHS, f"line {line[1]}", path) from None
        raise InputError(
            f"it is not TOML: {error}", "mend that line (text in quotes, tables in [brackets])", file=path
        ) from None
    _refuse_absurd(data, path)
    return data, text


def found_by_pydantic(error: ValidationError, model: type[BaseModel], data: dict) -> list[Mistake]:
    """Return the mistakes that the model of the study found."""
    return [_mistake(one, model, data) for one in error.errors()]


def named_files(data: dict, study: type[BaseModel]) -> list[tuple[tuple, str]]:
    """Return the files that a study and its options name, each with its place."""
    named: list[tuple[tuple, object]] = []
    naming = [
        (table, key)
        for table, field in study.model_fields.items()
        for model in models_of(field.annotation)
        for key in known_of(model, "file")
    ]
    for start, tables in studies_of(data):
        for table, key in naming:
            inside = tables.get(table)
            value = inside.get(key) if isinstance(inside, dict) else None
            several = enumerate(value) if isinstance(value, list) else [(None, value)]
            named += [((*start, table, key, *((i,) if i is not None else ())), name) for i, name in several]
    return [(loc, name) for loc, name in named if isinstance(name, str) and name]


def missing_files(data: dict, folder: Path, study: type[BaseModel]) -> list[Mistake]:
    """Return the files that a study names and that are not there, or are no files."""
    out = []
    for loc, name in named_files(data, study):
        there = folder / name
        if os.path.isfile(there):
            continue
        problem, remedy = f"there is no file {there}", "name a file that exists, from the folder of this one"
        if not _nameable(name):
            problem, remedy = (
                f"the locale has no such letters: {name!a}",
                "set PYTHONUTF8=1, or rename the file",
            )
        elif any(ord(sign) < 32 for sign in name):
            # In double quotes TOML turns \t, \n, \b, \f and \r of a Windows path into signs that no name holds.
            problem, remedy = f"there is no file {str(there)!r}", _PATHS
        elif os.path.exists(there):
            problem = f"{there} is no file"
        out.append(Mistake(loc, problem, remedy))
    return out


def _nameable(name: str) -> bool:
    """Return whether the system's locale can name a file so."""
    try:
        return bool(os.fsencode(name))
    except UnicodeEncodeError:
        return False


def studies_of(data: dict) -> list[tuple[tuple[str | int, ...], dict]]:
    """Return the tables of the study and of each of its options, each with its place."""
    options = data.get("option")
    several = options if isinstance(options, list) else []
    within = [
        (("option", i, "study"), option.get("study"))
        for i, option in enumerate(several)
        if isinstance(option, dict)
    ]
    return [((), data), *(pair for pair in within if isinstance(pair[1], dict))]


def value_at(data: object, loc: tuple[str | int, ...]) -> object:
    """Return what the file says at a place, or None where it says nothing there."""
    for part in loc:
        if part == "study":
            continue
        if isinstance(data, dict):
            data = data.get(part, data.get(str(part).replace("litre", "gallon")))
        elif isinstance(data, list) and isinstance(part, int) and part < len(data):
            data = data[part]
        else:
            return None
    return data


def _mistake(error: dict, model: type[BaseModel], data: dict) -> Mistake:
    """Turn one of pydantic's errors into the words of the project."""
    loc, kind = error["loc"], error["type"]
    inner = error.get("ctx", {}).get("error")
    if isinstance(inner, InputError):
        at = tuple(inner.place.split(".")) if inner.place and loc[-1:] in ((), ("study",)) else ()
        return Mistake(loc + at, inner.problem, inner.remedy)
    if isinstance(inner, ValueError):
        problem, _, remedy = str(inner).partition("; ")
        return Mistake(loc, problem, remedy or "give a value that fits")
    if kind == "missing":
        return Mistake(loc, "it is missing", "add it")
    if kind == "extra_forbidden":
        known = list(_table_at(loc[:-1], model).model_fields)
        metric = str(loc[-1]).replace("gallon", "litre")
        if metric in known:
            return Mistake(loc, "gallons in a metric file", 'give litres, or write units = "us" at the top')
        near = get_close_matches(metric, known, 1)
        return Mistake(
            loc,
            "no such key is known",
            f"did you mean {near[0]}?" if near else f"use one of {', '.join(known)}",
        )
    value, given = error.get("input"), value_at(data, loc)
    given = value_at(data, loc[3:]) if given is None and loc[:1] == ("option",) else given
    shown = "it is not possible"
    if isinstance(value, str | int | float | bool):
        shown = f"{value!r} is not possible"
        if isinstance(given, int | float) and not isinstance(given, bool) and abs(given - value) > 0:
            shown = f"{given!r}, which is {value:g} in metric units, is not possible"
    if kind in ("too_short", "too_long"):
        few, many = _lengths(loc, model)
        asked = f"{few}" if few == many else f"{few} or more" if kind == "too_short" else f"{many} or fewer"
        return Mistake(loc, f"{error['ctx']['actual_length']} given", f"give {asked}")
    if kind in ("string_too_short", "string_too_long"):
        many = error["ctx"].get("max_length")
        asked = "some text" if kind == "string_too_short" else f"{many} characters or fewer"
        return Mistake(loc, f"it has {len(value)} characters", f"give {asked}")
    message = error["msg"].removeprefix("Input should be ").removeprefix("Input ")
    return Mistake(loc, shown, f"give {message[0].lower()}{message[1:]}")


def _lengths(loc: tuple, model: type[BaseModel]) -> tuple[int | None, int | None]:
    """Return the fewest and the most entries that a list may have; None where there is no such limit."""
    field = _table_at(loc[:-1], model).model_fields.get(str(loc[-1]))
    rules = field.metadata if field else []
    few, many = (
        next((getattr(one, name) for one in rules if hasattr(one, name)), None)
        for name in ("min_length", "max_length")
    )
    return few, many


def _table_at(loc: tuple, model: type[BaseModel]) -> type[BaseModel]:
    """Return the model of the table at that place."""
    for part in loc:
        if isinstance(part, str) and part in model.model_fields:
            model = next(iter(models_of(model.model_fields[part].annotation)), model)
    return model


def to_metric(data: dict, model: type[BaseModel]) -> tuple[dict, list[Mistake]]:
    """Return a study file's tables in metric units."""
    if data.get("units") != "us":
        return data, []
    mistakes: list[Mistake] = []
    return _table(data, model, (), mistakes), mistakes


def metric_factor(unit: str) -> float:
    """Return how many of a metric unit make one of the US unit that stands for it.

    >>> metric_factor("mm"), metric_factor("day"), round(1 / metric_factor("currency/L"), 4)
    (25.4, 1.0, 3.7854)
    """
    return US_UNITS[unit][1] if unit in US_UNITS else 1.0


def _table(data: object, model: type[BaseModel], loc: tuple, mistakes: list[Mistake]) -> object:
    """Return a table, and the tables within it, in metric units."""
    if isinstance(data, list):
        return [_table(item, model, (*loc, i), mistakes) for i, item in enumerate(data)]
    if not isinstance(data, dict):
        return data
    units, out = known_of(model, "unit"), {}
    for key, value in data.items():
        name = key.replace("gallon", "litre")
        name = name if name in model.model_fields else key  # an unknown key is named as it is written
        if "litre" in key and key in model.model_fields:
            us = key.replace("litre", "gallon")
            mistakes.append(Mistake((*loc, key), 'litres in a file with units = "us"', f"give {us}"))
        field = model.model_fields.get(name)
        # An option is not a table of its own: it changes the study's.
        inner = models_of(field.annotation) if field and name != "option" else []
        if name == "option" and not loc and isinstance(value, list):
            out[name] = [_table(one, model, ("option", i, "study"), mistakes) for i, one in enumerate(value)]
        elif inner:
            out[name] = _table(value, inner[0], (*loc, key), mistakes)
        else:
            out[name] = _times(value, metric_factor(units.get(name, "")))
    return out


def _times(value: object, factor: float) -> object:
    """Return a number, or the numbers of a list, times a factor; anything else as it is."""
    if factor == 1.0 or isinstance(value, bool):
        return value
    if isinstance(value, list):
        return [_times(item, factor) for item in value]
    return value * factor if isinstance(value, int | float) else value
