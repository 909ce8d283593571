"""The one list of stages: what each reads of the study file, what it takes from others, what computes it.

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

from rainharvest.catchment.facts import study_water, with_hardness
from rainharvest.core.kept import StageData, keep, key_of, recall, table_from_dataset, table_to_dataset
from rainharvest.core.mistakes import named_files
from rainharvest.demand.facts import study_demand, study_evapotranspiration
from rainharvest.rainfall.record import StudyRecord, study_record
from rainharvest.sizing.facts import curve_facts, decision_facts
from rainharvest.storage.facts import Flows
from rainharvest.study.file import Study

if TYPE_CHECKING:
    from pydantic import BaseModel


@dataclass(frozen=True)
class Stage:
    """What one stage depends on, and what computes it."""

    reads: tuple[str, ...]  # Tables of the study file, or single keys of a table ("arrangement.kind")
    takes: tuple[str, ...]  # Stages whose results it works on
    work: Callable[[Run, str], StageData]
    group: str = ""  # Its group of the results file


@dataclass(frozen=True)
class Run:
    """One study being worked."""

    study: Study  # What is asked
    folder: Path  # The folder from which its rain files are meant
    kept: Path | None = None  # Where earlier runs left their results
    # What this run has worked or recalled already, by key: its options share it
    at_hand: dict[str, StageData] = field(default_factory=dict)
    # The stages that this run worked anew, as keys, in their order
    fresh: dict[str, None] = field(default_factory=dict)


def results_of(run: Run, stage: str) -> StageData:
    """Return the results of a stage: at hand, left by an earlier run, or worked now."""
    key = stage_key(run, stage)
    if key not in run.at_hand:
        data = recall(run.kept, stage, key)
        if data is None:
            data = STAGES[stage].work(run, stage)
            keep(run.kept, stage, key, data)
            run.fresh[stage] = None
        run.at_hand[key] = data
    return run.at_hand[key]


def stage_key(run: Run, stage: str) -> str:
    """Return the digest of everything that a stage's results depend on."""
    reads = STAGES[stage].reads
    said = {name: _section(run.study, name) for name in reads}
    named = named_files({name: said[name] for name in reads if name in Study.model_fields}, Study)
    files = [(Path(name).name, _digest(run.folder / name)) for _, name in named]
    return key_of(stage, said, files, *(stage_key(run, before) for before in STAGES[stage].takes))


def record_of(run: Run) -> StudyRecord:
    """Return the rain of a study."""
    data = results_of(run, "record")
    findings = data["findings"]
    return StudyRecord(
        data["raw"]["rain"].assign_attrs(data["raw"].attrs),
        data["filled"]["rain"].assign_attrs(data["filled"].attrs),
        table_from_dataset(findings),
        int(findings.attrs["year_start_month"]),
        str(findings.attrs["left_out"]),
        tuple(map(tuple, json.loads(findings.attrs["sources"]))),
    )


def flows_of(run: Run) -> Flows:
    """Return what enters the balance of a study."""
    data = results_of(run, "demand")
    asked, weather = data["asked"], data.get("weather")
    return Flows(
        results_of(run, "catchment")["water"],
        asked["demand"],
        tuple(json.loads(asked.attrs["not_served"])),
        None if weather is None else weather["reference_evapotranspiration"],
    )


def seen_by(study: Study, stage: str) -> Study:
    """Return a study that has only what a stage, and those before it, are said to read."""
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


def _digest(path: Path) -> str:
    digest = hashlib.sha256()
    files = sorted(path.rglob("*")) if path.is_dir() else [path]
    for file in files:
        if file.is_file():
            digest.update(file.name.encode() + b"\0")
            with file.open("rb") as handle:
                digest.update(hashlib.file_digest(handle, "sha256").digest())
    return digest.hexdigest()


@dataclass(frozen=True, eq=False)  # one is only equal to itself: what is worked out of it is kept by it
class StudyResults:
    """A study that has been run: what was asked, what entered, what came out."""

    study: Study  # What was asked
    record: StudyRecord  # Its rain
    flows: Flows  # What entered the balance
    done: xr.Dataset  # The results, as `run_study` returns them
    folder: Path = Path()  # The folder of the study file, from which its paths are meant
    # What the stages after the storage gave, and "options" where the study has some
    groups: dict[str, xr.Dataset] = field(default_factory=dict)
    fresh: tuple[str, ...] = ()  # The stages that were worked anew; the others were left by an earlier run


def _record(run: Run, stage: str) -> StageData:
    seen = seen_by(run.study, stage)
    place = {"latitude": seen.site.latitude, "elevation": seen.site.elevation}
    record = study_record(seen.rain, run.folder, place)
    findings = table_to_dataset(record.findings)
    findings.attrs |= {"year_start_month": record.year_start_month, "left_out": record.left_out}
    findings.attrs["sources"] = json.dumps(record.sources)
    rain = {"raw": record.raw, "filled": record.filled}
    return {name: values.to_dataset(name="rain").drop_encoding() for name, values in rain.items()} | {
        "findings": findings
    }


def _catchment(run: Run, stage: str) -> StageData:
    seen, record = seen_by(run.study, stage), record_of(run)
    water = with_hardness(seen, record, study_water(seen, record))
    if "lost" not in water:
        return {"water": water}
    # Every version's losses would be nine tenths of all that is kept; the first version's are shown.
    first = water[["rain_on_roof", "lost"]].isel(member=0, drop=True)
    return {"water": water[["inflow"]].merge(first).assign_attrs(water.attrs)}


def _demand(run: Run, stage: str) -> StageData:
    study, record = seen_by(run.study, stage), record_of(run)
    weather = None
    if study.weather is not None:
        weather = study_evapotranspiration(study.weather, study.site, run.folder, record)
    asked, not_served = study_demand(study, record, weather)
    out = {"asked": asked.to_dataset(name="demand").assign_attrs(not_served=json.dumps(not_served))}
    return out if weather is None else out | {"weather": weather.to_dataset()}


def _sizes(run: Run, stage: str) -> StageData:
    return {"tried": curve_facts(seen_by(run.study, stage), record_of(run), flows_of(run))}


def _decision(run: Run, stage: str) -> StageData:
    tried = results_of(run, "trade-off")["tried"]
    return {
        "done": decision_facts(seen_by(run.study, stage), record_of(run), flows_of(run), tried, run.folder)
    }


def _group(run: Run, stage: str) -> StageData:
    """Compute a stage that gives a group of the results file: a function of its room's facts."""
    done = results_of(run, "decision")["done"]
    groups = {name: results_of(run, name)["group"] for name in STAGES[stage].takes if name in _GROUPS}
    results = StudyResults(seen_by(run.study, stage), record_of(run), flows_of(run), done, run.folder, groups)
    file, _, name = _GROUPS[stage].rpartition(".")
    return {"group": getattr(importlib.import_module(f"rainharvest.{file}"), name)(results)}


_GROUPS = {
    "certainty": "sizing.facts_certainty.certainty_group",
    "costs": "sizing.facts_costs.sizing_group",
    "drought": "drought.facts.drought_group",
    "site works": "siteworks.facts.siteworks_group",
}
"""Loaded when they are wanted: most runs of a notebook stop before them."""
_DRAWING = ("use", "calendar", "garden", "pool", "weather")
_SITE = ("site.latitude", "site.elevation")  # for a weather file, and for snow
_TANK = ("tank.sizes", "tank.dead_share", "tank.freeboard_share", "tank.start_share", "tank.theta")
STAGES: dict[str, Stage] = {
    "record": Stage(("rain", *_SITE), (), _record),
    "catchment": Stage(("roof", "conveyance", "losses", "arrangement.kind"), ("record",), _catchment),
    "demand": Stage((*_DRAWING, *_SITE, "arrangement.kind", "arrangement.treated"), ("record",), _demand),
    "trade-off": Stage(
        (*_TANK, "arrangement", "rationing", "target", "confirmed"), ("catchment", "demand"), _sizes
    ),
    "decision": Stage(("tank", "catalogue", "units"), ("trade-off",), _decision),
    "certainty": Stage(("sizing", "site"), ("decision",), _group),
    "site works": Stage(("site_works", "costs"), ("decision",), _group, "siteworks"),
    "costs": Stage(("costs",), ("certainty", "site works"), _group, "sizing"),
    "drought": Stage(("drought",), ("decision",), _group, "drought"),
}
"""In their order."""
