"""From a study file to its results, and to the files that it leaves behind, written whole or not at all."""

from __future__ import annotations

import hashlib
import json
import os
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

import rainharvest
from rainharvest.core.errors import InputError
from rainharvest.core.kept import kept_folder
from rainharvest.core.mistakes import StudyFileError, named_files
from rainharvest.core.outputs import check_folder, whole_files, write_csv
from rainharvest.core.reader import reading
from rainharvest.rainfall.flags import MEANINGS, Flag
from rainharvest.rainfall.record import StudyRecord
from rainharvest.storage.facts import Flows
from rainharvest.study.file import Study, read_study, reader_of
from rainharvest.study.options import options_group
from rainharvest.study.stages import STAGES, Run, StudyResults, flows_of, record_of, results_of

PROGRESS = (*STAGES, "options")

"""The names that progress is told by."""


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
        Called with the name of each stage when it begins, up to the decision.
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
    return study_results(path, progress=progress, cache=cache, last="decision").done


def study_results(
    path: str | os.PathLike,
    *,
    progress: Callable[[str], None] | None = None,
    cache: str | os.PathLike | None = None,
    last: str | None = None,
) -> StudyResults:
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
    StudyResults
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
        results = list(STAGES)[: list(STAGES).index(last) + 1] if last else list(STAGES)
        for stage in results:
            tell(stage)
            results_of(run, stage)
        groups = {
            STAGES[stage].group: results_of(run, stage)["group"] for stage in results if STAGES[stage].group
        }
        if not last:
            tell("options")
        if study.option and not last:
            groups["options"] = options_group(run)
        record, flows = record_of(run), flows_of(run)
        done = _signed(results_of(run, "decision")["done"], study, record, flows, text, path.parent)
        return StudyResults(study, record, flows, done, path.parent, groups, tuple(run.fresh))
    except InputError as error:
        raise error.at(path) from None


def _signed(
    done: xr.Dataset, study: Study, record: StudyRecord, flows: Flows, text: str, folder: Path
) -> xr.Dataset:
    """Return the results with what says where they come from."""
    weather = {} if flows.evapotranspiration is None else flows.evapotranspiration.attrs
    named = {"weather_file": "source_file", "weather_sha256": "sha256"}
    return done.assign_attrs(
        {name: weather[key] for name, key in named.items() if key in weather},
        title=study.title,
        study=text,
        study_sha256=hashlib.sha256(text.encode()).hexdigest(),
        rain_sha256=record.raw.attrs.get("sha256", ""),
        rain_file=Path(record.raw.attrs.get("source_file", study.rain.file)).name,
        rainharvest_version=rainharvest.__version__,
        input_files=json.dumps(_inputs(text, record, folder)),
        seed=study.rain.seed,
        Conventions="CF-1.11",
    )


def _inputs(text: str, record: StudyRecord, folder: Path) -> list[tuple[str, str, str]]:
    """Return every input file of a study: station where it is one's, name, SHA-256."""
    data = tomllib.loads(text)
    names = [name for loc, name in named_files(data, Study) if loc[0] != "rain"]
    intensity = data.get("losses", {}).get("intensity")
    names += [intensity["hourly_rain"]] if isinstance(intensity, dict) and "hourly_rain" in intensity else []
    others = []
    for name in dict.fromkeys(names):
        with (folder / name).open("rb") as file:
            others.append(("", Path(name).name, hashlib.file_digest(file, "sha256").hexdigest()))
    return [*record.sources, *others]


CURVE = (
    "volume_reliability",
    "time_reliability",
    "yearly_yield",
    "failed_a_year",
    "longest_failure",
    "worst_shortfall",
    "failure_events",
    "spilled_share",
    "marginal_yield",
)

"""Columns of trade_off.csv."""


def write_study(
    path: str | os.PathLike,
    out: str | os.PathLike,
    *,
    progress: Callable[[str], None] | None = None,
    cache: str | os.PathLike | None = None,
) -> xr.Dataset:
    """Run a study and write its report, results and tables, all of them or none.

    Parameters
    ----------
    path : str or path
        The study file (TOML).
    out : str or path
        Folder for report.html, report.docx, results.nc, trade_off.csv and record.csv. ``results.nc`` opens whole
        with `xarray.open_datatree`; a dimension that a group labels otherwise bears its name ("drought_year"). A name
        that a spreadsheet would take for a formula bears an apostrophe before it in the tables.
    progress : callable, optional
        Called with each name of `PROGRESS` when that stage begins, then with "report".
    cache : str or path, optional
        As for `run_study`.

    Returns
    -------
    Dataset
        As `run_study`.

    Raises
    ------
    InputError
        As `run_study`, or if the folder cannot be written.
    """
    from rainharvest.study.report import report_files, study_report

    check_inputs(path, out)
    results = study_results(path, progress=progress, cache=cache)
    done = results.done
    if progress:
        progress("report")
    with whole_files(out) as folder, reading(reader_of(results.study)):
        done.to_netcdf(folder / "results.nc")
        for name, group in results.groups.items():
            group.rename(_own_labels(name, group, done)).to_netcdf(
                folder / "results.nc", mode="a", group=name
            )
        write_csv(trade_off_table(done), folder / "trade_off.csv")
        write_csv(record_table(results.record.filled), folder / "record.csv")
        report_files(study_report(results), folder)
    return done


def _own_labels(name: str, group: xr.Dataset, root: xr.Dataset) -> dict[str, str]:
    """Return new names for the dimensions whose labels are the group's own: no tree may hold one name for two."""
    shared = [str(dim) for dim in group.dims if dim in root.dims]
    differ = [dim for dim in shared if not group[dim].to_index().equals(root[dim].to_index())]
    return {dim: f"{name}_{dim}" for dim in shared if dim in (*differ, "year", "quantile")}


def check_inputs(path: str | os.PathLike, out: str | os.PathLike) -> None:
    """Raise every mistake of the study file and of the folder for its results, before any work."""
    mistakes: list[InputError] = []
    for check in (lambda: read_study(path), lambda: check_folder(out)):
        try:
            check()
        except InputError as error:
            mistakes += getattr(error, "mistakes", [error])
    if mistakes:
        raise StudyFileError(mistakes)


def trade_off_table(done: xr.Dataset) -> pd.DataFrame:
    """Return the trade-off curve as a table, a size a row, units in the column names."""
    columns: dict[str, np.ndarray] = {"nominal [L]": done.nominal.values}
    for name in CURVE:
        values = done[name]
        unit = values.attrs["units"]
        columns[f"{name} [{unit}]"] = values.median("member").values
        if name.endswith("reliability"):
            for share in (0.05, 0.95):
                of = values.quantile(share, dim="member", method="weibull").values
                columns[f"{name}_{100 * share:02.0f} [{unit}]"] = of
    table = pd.DataFrame(columns, index=pd.Index(done.capacity.values, name="usable [L]"))
    return table.round(6)


def record_table(filled: xr.DataArray) -> pd.DataFrame:
    """Return the filled record as a table: date, rain of the first version, its spread, origin, donor."""
    days = pd.Index(filled.indexes["time"].strftime("%Y-%m-%d"), name="date")
    values = filled.values
    table = {
        "rain [mm]": values[0].round(2),
        "lowest version [mm]": values.min(axis=0).round(2),
        "highest version [mm]": values.max(axis=0).round(2),
        "origin": [MEANINGS[Flag(int(flag))] for flag in filled.flag.values],
        "donor": filled.donor.values,
    }
    return pd.DataFrame(table, index=days)
