"""The stages of a study: what each reads of the study file, what it takes from others, how it is worked.

A stage is shown only the parts of the study file that it is said to read: reading another is an error and
not a result that an earlier run may have left under the same key.
"""

from __future__ import annotations

import hashlib
import importlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import xarray as xr

from rainharvest.study.decide import decided, sized
from rainharvest.study.file import Study
from rainharvest.study.flows import Flows, study_demand, study_water
from rainharvest.study.kept import Parcel, keep, key_of, recall, table_from_dataset, table_to_dataset
from rainharvest.study.record import StudyRecord, study_record

if TYPE_CHECKING:
    from pydantic import BaseModel


@dataclass(frozen=True)
class Stage:
    """What one stage depends on.

    Parameters
    ----------
    reads : tuple of str
        Tables of the study file, or single keys of a table ("arrangement.kind").
    takes : tuple of str
        Stages whose results it works on.
    files : tuple of str
        Keys that name files that it reads.
    """

    reads: tuple[str, ...]
    takes: tuple[str, ...] = ()
    files: tuple[str, ...] = ()


_TANK = ("tank.sizes", "tank.dead_share", "tank.freeboard_share", "tank.start_share", "tank.theta")
STAGES: dict[str, Stage] = {
    "record": Stage(("rain",), files=("rain.file", "rain.neighbours")),
    "catchment": Stage(("roof", "conveyance", "losses", "arrangement.kind"), ("record",)),
    "demand": Stage(("use", "calendar", "garden", "pool", "weather", "arrangement.kind"), ("record",)),
    "tank sizes": Stage((*_TANK, "arrangement", "rationing", "target"), ("catchment", "demand")),
    "storage": Stage(("tank",), ("tank sizes",)),
    "certainty": Stage(("sizing", "site"), ("storage",), ("sizing.finer_rain",)),
    "sizing": Stage(("catalogue", "costs"), ("certainty",), ("catalogue.file",)),
    "drought": Stage(("drought",), ("storage",)),
    "siteworks": Stage(("site_works",), ("storage",)),
}
"""In their order."""
GROUPS = ("sizing", "drought", "siteworks")
"""Those that give a group of the results file each."""
_AFTER = tuple(STAGES)[tuple(STAGES).index("storage") + 1 :]
_HOMES = {"certainty": "sizing"}


@dataclass(frozen=True)
class Run:
    """One study being worked.

    Parameters
    ----------
    study : Study
        What is asked.
    folder : Path
        The folder from which its rain files are meant.
    kept : Path or None
        Where earlier runs left their results.
    at_hand : dict
        What this run has worked or recalled already, by key: its options share it.
    fresh : dict
        The stages that this run worked anew, as keys, in their order.
    """

    study: Study
    folder: Path
    kept: Path | None = None
    at_hand: dict[str, Parcel] = field(default_factory=dict)
    fresh: dict[str, None] = field(default_factory=dict)


def parcel_of(run: Run, stage: str) -> Parcel:
    """Return the results of a stage: at hand, left by an earlier run, or worked now.

    Parameters
    ----------
    run : Run
        The study being worked.
    stage : str
        One of `STAGES`.

    Returns
    -------
    dict of str to Dataset
        The same bits whichever way they came.
    """
    key = stage_key(run, stage)
    if key not in run.at_hand:
        parcel = recall(run.kept, stage, key)
        if parcel is None:
            parcel = _WORK.get(stage, _group)(run, stage)
            keep(run.kept, stage, key, parcel)
            run.fresh[stage] = None
        run.at_hand[key] = parcel
    return run.at_hand[key]


def stage_key(run: Run, stage: str) -> str:
    """Return the digest of everything that a stage's results depend on.

    Parameters
    ----------
    run : Run
        The study.
    stage : str
        One of `STAGES`.

    Returns
    -------
    str
        See `rainharvest.study.kept.key_of`.
    """
    said = {name: _section(run.study, name) for name in STAGES[stage].reads}
    files = [(path.name, _digest(path)) for key in STAGES[stage].files for path in _named(run, key)]
    return key_of(stage, said, files, *(stage_key(run, before) for before in STAGES[stage].takes))


def record_of(run: Run) -> StudyRecord:
    """Return the rain of a study.

    Parameters
    ----------
    run : Run
        The study.

    Returns
    -------
    StudyRecord
        As `rainharvest.study.record.study_record`.
    """
    parcel = parcel_of(run, "record")
    findings = parcel["findings"]
    return StudyRecord(
        parcel["raw"]["rain"].assign_attrs(parcel["raw"].attrs),
        parcel["filled"]["rain"].assign_attrs(parcel["filled"].attrs),
        table_from_dataset(findings),
        int(findings.attrs["year_start_month"]),
        str(findings.attrs["left_out"]),
    )


def flows_of(run: Run) -> Flows:
    """Return what enters the balance of a study.

    Parameters
    ----------
    run : Run
        The study.

    Returns
    -------
    Flows
        Inflow, and demand of the uses that the arrangement may serve.
    """
    asked = parcel_of(run, "demand")["asked"]
    return Flows(
        parcel_of(run, "catchment")["water"], asked["demand"], tuple(json.loads(asked.attrs["not_served"]))
    )


def seen_by(study: Study, stage: str) -> Study:
    """Return a study that has only what a stage, and those before it, are said to read.

    Parameters
    ----------
    study : Study
        The whole study.
    stage : str
        One of `STAGES`.

    Returns
    -------
    Study
        Reading anything else of it raises AttributeError.
    """
    names = {name for one in (stage, *_before(stage)) for name in STAGES[one].reads}
    return _only(study, names)


def _before(stage: str) -> list[str]:
    return [name for one in STAGES[stage].takes for name in (one, *_before(one))]


def _only(model: BaseModel, names: set[str]) -> BaseModel:
    """Return a model with these fields alone; "table.key" keeps one key of a table."""
    whole = {name for name in names if "." not in name}
    parts: dict[str, set[str]] = {}
    for name in names:
        table, _, key = name.partition(".")
        if key and table not in whole:
            parts.setdefault(table, set()).add(key)
    kept = {name: getattr(model, name) for name in whole}
    kept |= {table: _only(getattr(model, table), keys) for table, keys in parts.items()}
    out = type(model).model_construct(**kept)
    for name in type(model).model_fields:
        if name not in kept:
            out.__dict__.pop(name, None)
    return out


def _section(study: Study, name: str) -> object:
    """Return a table, or one key of it, as JSON has it."""
    table, _, key = name.partition(".")
    said = study.model_dump(mode="json", include={table})[table]
    return said[key] if key else said


def _named(run: Run, key: str) -> list[Path]:
    """Return the files that a key of the study file names."""
    named: object = run.study
    for part in key.split("."):
        named = getattr(named, part, None)
    several = named if isinstance(named, tuple) else (named,)
    return [run.folder / name for name in several if name]


def _digest(path: Path) -> str:
    digest = hashlib.sha256()
    files = sorted(path.rglob("*")) if path.is_dir() else [path]
    for file in files:
        if file.is_file():
            digest.update(file.name.encode() + b"\0")
            with file.open("rb") as handle:
                digest.update(hashlib.file_digest(handle, "sha256").digest())
    return digest.hexdigest()


def _record(run: Run, stage: str) -> Parcel:
    record = study_record(seen_by(run.study, stage).rain, run.folder)
    findings = table_to_dataset(record.findings)
    findings.attrs |= {"year_start_month": record.year_start_month, "left_out": record.left_out}
    rain = {"raw": record.raw, "filled": record.filled}
    return {name: values.to_dataset(name="rain").drop_encoding() for name, values in rain.items()} | {
        "findings": findings
    }


def _catchment(run: Run, stage: str) -> Parcel:
    water = study_water(seen_by(run.study, stage), record_of(run))
    if "lost" not in water:
        return {"water": water}
    # Every version's losses would be nine tenths of all that is kept; the first version's are shown.
    first = water[["rain_on_roof", "lost"]].isel(member=0, drop=True)
    return {"water": water[["inflow"]].merge(first).assign_attrs(water.attrs)}


def _demand(run: Run, stage: str) -> Parcel:
    asked, not_served = study_demand(seen_by(run.study, stage), record_of(run))
    return {"asked": asked.to_dataset(name="demand").assign_attrs(not_served=json.dumps(not_served))}


def _sizes(run: Run, stage: str) -> Parcel:
    return {"tried": sized(seen_by(run.study, stage), record_of(run), flows_of(run))}


def _storage(run: Run, stage: str) -> Parcel:
    tried = parcel_of(run, "tank sizes")["tried"]
    return {"done": decided(seen_by(run.study, stage), record_of(run), flows_of(run), tried)}


def _group(run: Run, stage: str) -> Parcel:
    """Work a stage that gives a group of its own: ``<stage>_group`` of the module of its name (see `_HOMES`)."""
    from rainharvest.study.run import Worked

    done = parcel_of(run, "storage")["done"]
    groups = {name: parcel_of(run, name)["group"] for name in STAGES[stage].takes if name in _AFTER}
    worked = Worked(seen_by(run.study, stage), record_of(run), flows_of(run), done, run.folder, groups)
    home = importlib.import_module(f"rainharvest.study.{_HOMES.get(stage, stage)}")
    work: Callable[[Worked], xr.Dataset] = getattr(home, f"{stage}_group")
    return {"group": work(worked)}


_WORK: dict[str, Callable[[Run, str], Parcel]] = {
    "record": _record,
    "catchment": _catchment,
    "demand": _demand,
    "tank sizes": _sizes,
    "storage": _storage,
}
