"""The stages of a study: what each reads of the study file, what it takes from others, how it is worked.

A stage is shown only the parts of the study file that it is said to read: reading another is an error and
not a result that an earlier run may have left under the same key.
"""

from __future__ import annotations

import dataclasses
import hashlib
import importlib
import json
import math
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

import rainharvest
from rainharvest.catchment.facts import study_water
from rainharvest.core.errors import InputError
from rainharvest.core.kept import (
    Parcel,
    keep,
    kept_folder,
    key_of,
    recall,
    table_from_dataset,
    table_to_dataset,
)
from rainharvest.core.quantities import attributes
from rainharvest.demand.facts import study_demand
from rainharvest.rainfall.record import StudyRecord, study_record
from rainharvest.sizing.costs import life_cycle
from rainharvest.sizing.facts import decided, sized
from rainharvest.storage.facts import Flows
from rainharvest.study.file import Study, read_study

if TYPE_CHECKING:
    from pydantic import BaseModel


@dataclass(frozen=True)
class Stage:
    """What one stage depends on."""

    reads: tuple[str, ...]  # Tables of the study file, or single keys of a table ("arrangement.kind")
    takes: tuple[str, ...] = ()  # Stages whose results it works on
    files: tuple[str, ...] = ()  # Keys that name files that it reads


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
    """One study being worked."""

    study: Study  # What is asked
    folder: Path  # The folder from which its rain files are meant
    kept: Path | None = None  # Where earlier runs left their results
    # What this run has worked or recalled already, by key: its options share it
    at_hand: dict[str, Parcel] = field(default_factory=dict)
    # The stages that this run worked anew, as keys, in their order
    fresh: dict[str, None] = field(default_factory=dict)


def parcel_of(run: Run, stage: str) -> Parcel:
    """Return the results of a stage: at hand, left by an earlier run, or worked now."""
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
    """Return the digest of everything that a stage's results depend on."""
    said = {name: _section(run.study, name) for name in STAGES[stage].reads}
    files = [(path.name, _digest(path)) for key in STAGES[stage].files for path in _named(run, key)]
    return key_of(stage, said, files, *(stage_key(run, before) for before in STAGES[stage].takes))


def record_of(run: Run) -> StudyRecord:
    """Return the rain of a study."""
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
    """Return what enters the balance of a study."""
    asked = parcel_of(run, "demand")["asked"]
    return Flows(
        parcel_of(run, "catchment")["water"], asked["demand"], tuple(json.loads(asked.attrs["not_served"]))
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
    done = parcel_of(run, "storage")["done"]
    groups = {name: parcel_of(run, name)["group"] for name in STAGES[stage].takes if name in _AFTER}
    worked = Worked(seen_by(run.study, stage), record_of(run), flows_of(run), done, run.folder, groups)
    home = importlib.import_module(f"rainharvest.{_HOMES.get(stage, stage)}.facts")
    work: Callable[[Worked], xr.Dataset] = getattr(home, f"{stage}_group")
    return {"group": work(worked)}


_WORK: dict[str, Callable[[Run, str], Parcel]] = {
    "record": _record,
    "catchment": _catchment,
    "demand": _demand,
    "tank sizes": _sizes,
    "storage": _storage,
}


AS_DESCRIBED = "as described"

"""Name of the study itself among its options."""


def options_group(run: Run) -> xr.Dataset:
    """Return the study and its options side by side."""
    first = parcel_of(run, "storage")["done"]
    sizes = tuple(float(v) for v in first.nominal.values)
    rows = [_row(run.study, first)]
    for i, option in enumerate(run.study.option):
        study = option.study
        if not _same_sizes(run, study):  # what is compared is not the list of sizes
            study = _with_tank(study, sizes=sizes)
        try:
            if study.target.measure != run.study.target.measure:
                raise InputError("it has another measure than the study", "compare by one", "target.measure")
            done = parcel_of(dataclasses.replace(run, study=study), "storage")["done"]
            if study.tank.chosen is None and math.isnan(done.recommended):  # then beside the study's own tank
                study = _with_tank(study, chosen=float(first.described_nominal))
                done = parcel_of(dataclasses.replace(run, study=study), "storage")["done"]
        except InputError as error:
            place = f"option[{i + 1}].{error.place}".rstrip(".")
            raise InputError(error.problem, error.remedy, place, error.file) from None
        rows.append(_row(study, done))
    names = [AS_DESCRIBED, *(option.name for option in run.study.option)]
    notes = ["", *(option.note for option in run.study.option)]
    coords = {
        "study_option": ("study_option", np.array(names), attributes("study_option")),
        "option_note": ("study_option", np.array(notes), attributes("option_note")),
        "nominal": ("nominal", np.array(sizes), attributes("nominal")),
    }
    values = {
        name: (
            ("study_option", "nominal") if np.ndim(rows[0][name]) else "study_option",
            np.array([row[name] for row in rows]),
        )
        for name in rows[0]
    }
    named = {"reliability": run.study.target.measure}
    out = xr.Dataset(
        {name: (*value, attributes(named.get(name, name))) for name, value in values.items()}, coords
    )
    costs = run.study.costs
    return out.assign_attrs(
        title="Options side by side",
        currency=costs.currency if costs else "",
        measure=run.study.target.measure,
    )


def _same_sizes(run: Run, study: Study) -> bool:
    """Return whether an option tries the study's own sizes as it is."""
    alike = all(
        getattr(study.tank, name) == getattr(run.study.tank, name)
        for name in ("sizes", "dead_share", "freeboard_share")
    )
    return alike and stage_key(run, "demand") == stage_key(dataclasses.replace(run, study=study), "demand")


def _with_tank(study: Study, **changes: object) -> Study:
    return study.model_copy(update={"tank": study.tank.model_copy(update=changes)})


def _row(study: Study, done: xr.Dataset) -> dict[str, object]:
    """Return what one option comes to."""
    years = float(done.days_in_year.sum()) / 365.25
    middle = {name: float(np.median(done[name].values)) for name in _MIDDLE}
    recommended, share = float(done.recommended), study.tank.usable_share
    found = done.smallest.values
    nominal = float(done.described_nominal)
    row: dict[str, object] = {
        "recommended": recommended,
        "recommended_nominal": recommended / share,
        "smallest_low": float(np.min(found)) if np.isfinite(found).all() else math.nan,
        "smallest_high": float(np.max(found)) if np.isfinite(found).all() else math.nan,
        "described": float(done.described),
        "described_nominal": nominal,
        "rain_reliability": middle["described_rain_reliability"],
        "delivered_a_year": middle["described_delivered"] / years,
        "failed_a_year": middle["described_days_failed"] / years,
        "longest_failure": middle["described_longest_failure"],
        "mains_a_year": (middle["described_topped_up"] + middle["described_changed_over"]) / years,
        "inflow_a_year": middle["inflow_total"] / years,
        "demand_a_year": float(np.median(done.demand_total.values)) / years,
        "area": sum(roof.area for roof in study.roof) if study.arrangement.kind != "mains reserve" else 0.0,
        "reliability": _median(done[study.target.measure]),
    }
    if study.costs is not None:
        paid = life_cycle(study.costs, nominal, row["delivered_a_year"], saved_bill=0.0)
        row |= {name: float(paid[name]) for name in ("capital", "annual")}
    return row


_MIDDLE = (
    "described_rain_reliability",
    "described_delivered",
    "described_days_failed",
    "described_longest_failure",
    "described_topped_up",
    "described_changed_over",
    "inflow_total",
)


def _median(values: xr.DataArray) -> np.ndarray:
    return (values.median("member") if "member" in values.dims else values).values


PROGRESS = (*STAGES, "options")

"""The names that progress is told by."""


@dataclass(frozen=True)
class Worked:
    """A study that has been run: what was asked, what entered, what came out."""

    study: Study  # What was asked
    record: StudyRecord  # Its rain
    flows: Flows  # What entered the balance
    done: xr.Dataset  # The results, as `run_study` returns them
    folder: Path = Path()  # The folder of the study file, from which its paths are meant
    # What the stages after the storage gave, and "options" where the study has some
    groups: dict[str, xr.Dataset] = field(default_factory=dict)
    fresh: tuple[str, ...] = ()  # The stages that were worked anew; the others were left by an earlier run


def run_study(
    path: str | os.PathLike,
    *,
    progress: Callable[[str], None] | None = None,
    cache: str | os.PathLike | None = None,
) -> xr.Dataset:
    """Run a study from its file.

    Parameters
    ----------
    path : str or path
        The study file (TOML).
    progress : callable, optional
        Called with the name of each stage when it begins, up to the storage.
    cache : str or path, optional
        Folder where results of earlier runs are found and left; "off" for none. The environment variable
        RAINHARVEST_CACHE or the user's cache folder by default.

    Returns
    -------
    Dataset
        The measures of every size on (member, capacity); ``smallest`` by member and ``recommended``; the
        daily balance of the tank described, on ``time``, in the first filled version; what was lost on
        the way by ``loss``; rain, flags, inflow and demand. Attributes hold the study file's text, its
        digest and that of the rain file, the version, the seed and every assumption.

    Raises
    ------
    InputError
        If the study file or a rain file cannot be used.
    """
    return work_study(path, progress=progress, cache=cache, last="storage").done


def work_study(
    path: str | os.PathLike,
    *,
    progress: Callable[[str], None] | None = None,
    cache: str | os.PathLike | None = None,
    last: str | None = None,
) -> Worked:
    """Run a study from its file, and return what it was run on and what every stage gave.

    Parameters
    ----------
    path : str or path
        The study file (TOML).
    progress : callable, optional
        Called with each name of `PROGRESS` when that stage begins.
    cache : str or path, optional
        As for `run_study`.
    last : str, optional
        The stage of `STAGES` after which to stop; all stages and options are worked by default.

    Returns
    -------
    Worked
        What was asked, its rain, what entered the balance, the results of `run_study`, the stages' groups.

    Raises
    ------
    InputError
        As `run_study`.
    """
    path, tell = Path(path), progress or (lambda stage: None)
    study, text = read_study(path)
    run = Run(study, path.parent, kept_folder(cache))
    try:
        worked = list(STAGES)[: list(STAGES).index(last) + 1] if last else list(STAGES)
        for stage in worked:
            tell(stage)
            parcel_of(run, stage)
        groups = {stage: parcel_of(run, stage)["group"] for stage in GROUPS if stage in worked}
        if not last:
            tell("options")
        if study.option and not last:
            groups["options"] = options_group(run)
        record = record_of(run)
        done = _signed(parcel_of(run, "storage")["done"], study, record, text)
        return Worked(study, record, flows_of(run), done, path.parent, groups, tuple(run.fresh))
    except InputError as error:
        raise error.at(path) from None


def _signed(done: xr.Dataset, study: Study, record: StudyRecord, text: str) -> xr.Dataset:
    """Return the results with what says where they come from."""
    return done.assign_attrs(
        title=study.title,
        study=text,
        study_sha256=hashlib.sha256(text.encode()).hexdigest(),
        rain_sha256=record.raw.attrs.get("sha256", ""),
        rain_file=Path(record.raw.attrs.get("source_file", study.rain.file)).name,
        rainharvest_version=rainharvest.__version__,
        seed=study.rain.seed,
        Conventions="CF-1.11",
    )
