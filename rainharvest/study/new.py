"""A study file begun from a rain record: what the record says is in it, what its author must fill in is marked."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from rainharvest.core.errors import require
from rainharvest.core.outputs import check_folder, whole_files
from rainharvest.core.text import templates
from rainharvest.rainfall.describe import one_version, rains_begin
from rainharvest.rainfall.record import make_record
from rainharvest.study.file import Study
from rainharvest.study.reference import schema_text, toml

FILE, TO_FILL_IN = "study.toml", "FILL IN"


def new_study(
    record: str | os.PathLike, out: str | os.PathLike, hints: Mapping[str, object] | None = None
) -> Path:
    """Write the study file that a rain record begins with, and the schema beside it; return where it stands.

    ``hints`` are those of `rainharvest.rainfall.record.make_record`, for a file that leaves doubt.
    """
    out, path = Path(out), Path(record)
    check_folder(out)
    there = out / FILE
    require(not there.exists(), "a study file is there already", "name another folder", "--out", there)
    made = make_record([path], members=1, hints=hints)
    rain, month = made.read, int(made.description.suggested_start) or 1
    days = rain.indexes["time"]
    known = {key: rain.attrs.get(key) for key in ("site", "latitude", "longitude", "elevation")}
    found = known | {
        "name": path.name,
        "file": _from(path, out),
        "days": days.size,
        "first": f"{days[0]:%Y-%m-%d}",
        "last": f"{days[-1]:%Y-%m-%d}",
        "missing": int(rain.isnull().sum()),
        "assumptions": rain.attrs.get("assumptions", ""),
        "month": month,
        "rains_begin": rains_begin(one_version(made.filled)),
        "hints": dict(hints or {}),
    }
    title = f"Rain for {known['site'] or 'the site'}"
    environment = templates(Path(__file__).parent, keep_trailing_newline=True)
    environment.filters["toml"] = toml
    page = environment.get_template("new.toml.j2")
    text = page.render(record=found, title=title, command=command(there, out))
    with whole_files(out) as folder:
        (folder / FILE).write_text(text, encoding="utf-8", newline="\n")
        (folder / "study.schema.json").write_text(schema_text(Study), encoding="utf-8", newline="\n")
    return there


def command(study: Path, out: str | os.PathLike) -> str:
    """Return the command that runs a study, a name with a space in quotes."""
    names = [name if " " not in name else f'"{name}"' for name in (study.as_posix(), Path(out).as_posix())]
    return "python -m rainharvest study {} --out {}".format(*names)


def left_to_fill_in(study: Path) -> list[str]:
    """Return the lines of a study file that still hold an example, each with its number."""
    lines = study.read_text(encoding="utf-8").splitlines()
    marked = [(n, line) for n, line in enumerate(lines, 1) if TO_FILL_IN in line and not line.startswith("#")]
    return [f"line {n}: {line.partition('#')[0].strip()}" for n, line in marked]


def _from(path: Path, folder: Path) -> str:
    """Return how the study file names a file: from its own folder, with forward slashes."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()
