"""What earlier runs left behind, so that a study whose file changed a little is not computed anew."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.errors import InputError

LARGEST = 1_000_000_000

"""Bytes that the folder may hold; what has not been used for longest goes first (own choice)."""

_LIBRARIES = "numpy numba pandas scipy xarray netCDF4 matplotlib pillow jinja2 python-docx".split()


StageData = dict[str, xr.Dataset]

"""What a stage gives: named Datasets."""


def kept_folder(folder: str | os.PathLike | None) -> Path | None:
    """Return the folder in which results are kept, or None where they are not."""
    named = folder if folder is not None else os.environ.get("RAINHARVEST_CACHE")
    if named == "off":
        return None
    if named:
        path = Path(named)
    else:
        from platformdirs import user_cache_path

        path = user_cache_path("rainharvest", appauthor=False)
    try:
        path.mkdir(parents=True, exist_ok=True)
        if not os.access(path, os.W_OK):
            raise OSError(13, "Permission denied")
    except OSError as error:
        if not named:
            return None
        raise InputError(
            f"cannot write there ({error.strerror})",
            'name a folder that you may write to, or "off"',
            "--cache" if folder is not None else "RAINHARVEST_CACHE",
            path,
        ) from None
    return path


@cache
def program_digest() -> str:
    """Return a digest of this package's source and of the libraries that its numbers rest on."""
    digest = hashlib.sha256()
    package = Path(__file__).parents[1]
    for file in sorted(p for kind in ("*.py", "*.toml", "*.j2", "*.docx") for p in package.rglob(kind)):
        digest.update(file.relative_to(package).as_posix().encode() + b"\0" + file.read_bytes())
    for library in _LIBRARIES:
        digest.update(f"{library} {version(library)}\0".encode())
    return digest.hexdigest()


def key_of(stage: str, *depends: object) -> str:
    """Return the key of a stage's results: a digest of all that they depend on.

    >>> key_of("record", {"seed": 1}) == key_of("record", {"seed": 1})
    True
    >>> key_of("record", {"seed": 1}) == key_of("record", {"seed": 2})
    False
    """
    said = json.dumps([program_digest(), stage, *depends], sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(said.encode()).hexdigest()


def recall(folder: Path | None, stage: str, key: str) -> StageData | None:
    """Return what an earlier run kept, or None."""
    if folder is None:
        return None
    path = _entry(folder, stage, key)
    try:
        with np.load(path, allow_pickle=False) as arrays:
            plan = json.loads(str(arrays["plan"]), object_hook=_as_it_was)
            data = {name: _from_plan(name, part, arrays) for name, part in plan.items()}
        os.utime(path)
    except Exception:  # damage has many names, and whatever it is the remedy is to work the stage out anew
        return None
    return data


def keep(folder: Path | None, stage: str, key: str, data: StageData) -> None:
    """Keep a stage's results for later runs; without room for them the study goes on all the same."""
    if folder is None:
        return
    plan, arrays = {}, {}
    for name, part in data.items():
        plan[name] = _to_plan(name, part, arrays)
    arrays["plan"] = np.array(json.dumps(plan, default=_plain))
    try:
        handle, scratch = tempfile.mkstemp(prefix=".unfinished-", dir=folder)
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, **arrays)
            os.replace(scratch, _entry(folder, stage, key))
        finally:
            Path(scratch).unlink(missing_ok=True)
        _make_room(folder)
    except OSError:
        return


def table_to_dataset(table: pd.DataFrame) -> xr.Dataset:
    """Return a table, without its index, as a Dataset that can be kept.

    >>> table = pd.DataFrame({"a": [1, 2], "b": ["x", ""]})
    >>> table_from_dataset(table_to_dataset(table)).equals(table)
    True
    """
    types = json.dumps({name: str(kind) for name, kind in table.dtypes.items()})
    return xr.Dataset({name: ("row", table[name].to_numpy()) for name in table}, attrs={"types": types})


def table_from_dataset(kept: xr.Dataset) -> pd.DataFrame:
    """Return the table that `table_to_dataset` took."""
    types = json.loads(kept.attrs["types"])
    return pd.DataFrame({name: pd.Series(kept[name].values).astype(kind) for name, kind in types.items()})


def _entry(folder: Path, stage: str, key: str) -> Path:
    return folder / f"{stage.replace(' ', '_')}-{key}.npz"


def _make_room(folder: Path) -> None:
    """Remove what has not been used for longest, beyond the bytes that the folder may hold."""
    entries = sorted(((f.stat().st_mtime_ns, f) for f in folder.glob("*-*.npz")), reverse=True)
    held = 0
    for _, file in entries:
        held += file.stat().st_size
        if held > LARGEST:
            file.unlink(missing_ok=True)


def _to_plan(name: str, part: xr.Dataset, arrays: dict[str, np.ndarray]) -> dict[str, object]:
    """Return how a Dataset is put together again, and put its arrays beside the others."""
    variables = {}
    for key, variable in part.variables.items():
        values = variable.values
        text = values.dtype == object
        if text:
            if not all(isinstance(v, str) for v in values.flat):
                raise TypeError(f"{name}/{key}: only numbers, dates and text can be kept")
            values = values.astype(str)
        arrays[f"{name}/{key}"] = values
        variables[key] = {"dims": variable.dims, "attrs": variable.attrs, "text": text}
    return {"variables": variables, "coords": [str(c) for c in part.coords], "attrs": part.attrs}


def _from_plan(name: str, plan: dict, arrays) -> xr.Dataset:
    variables = {}
    for key, how in plan["variables"].items():
        values = arrays[f"{name}/{key}"]
        variables[key] = (tuple(how["dims"]), values.astype(object) if how["text"] else values, how["attrs"])
    # Coordinates in their places among the rest: the order of the variables is that of the results file.
    return xr.Dataset(variables, attrs=plan["attrs"]).set_coords(plan["coords"])


def _plain(value: object) -> object:
    """Return a number or a row of numbers of NumPy's in a form that JSON has, with its type."""
    if isinstance(value, np.generic | np.ndarray):
        return {"numpy": str(value.dtype), "value": value.tolist()}
    raise TypeError(f"{value!r} cannot be kept as an attribute")


def _as_it_was(found: dict) -> object:
    """Return what `_plain` took."""
    if found.keys() != {"numpy", "value"}:
        return found
    values = np.array(found["value"], dtype=found["numpy"])
    return values if values.ndim else values[()]
