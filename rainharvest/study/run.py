"""From a study file to its results, and to the files that it leaves behind, written whole or not at all."""

from __future__ import annotations

import hashlib
import json
import os
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

import rainharvest
from rainharvest.core.beside import second_process
from rainharvest.core.errors import InputError
from rainharvest.core.kept import keep, kept_folder, key_of, recall
from rainharvest.core.mistakes import StudyFileError, named_files, studies_of
from rainharvest.core.outputs import check_folder, whole_files, write_csv
from rainharvest.core.reader import reading
from rainharvest.rainfall.flags import MEANINGS, Flag
from rainharvest.rainfall.record import StudyRecord
from rainharvest.storage.facts import Flows
from rainharvest.study.file import Study, read_study, reader_of, with_options
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
    study, text = read_study(path)
    return _worked(Run(study, Path(path).parent, kept_folder(cache)), Path(path), text, progress, last)


def _worked(
    run: Run,
    path: Path,
    text: str,
    progress: Callable[[str], None] | None = None,
    last: str | None = None,
    first: str = "record",
) -> StudyResults:
    """Return what every stage, up to the last asked for, gives; those before the first are said to be worked."""
    study, tell = run.study, progress or (lambda stage: None)
    try:
        results = list(STAGES)[: list(STAGES).index(last) + 1] if last else list(STAGES)
        for stage in results[results.index(first) :]:
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
    # station where it is one's, name, SHA-256
    others = [("", Path(name).name, _digest(folder / name)) for name in _named(text, rain=False)]
    return done.assign_attrs(
        {name: weather[key] for name, key in named.items() if key in weather},
        title=study.title,
        study=text,
        study_sha256=hashlib.sha256(text.encode()).hexdigest(),
        rain_sha256=record.raw.attrs.get("sha256", ""),
        rain_file=Path(record.raw.attrs.get("source_file", study.rain.file)).name,
        rainharvest_version=rainharvest.__version__,
        input_files=json.dumps([*record.sources, *others]),
        seed=study.rain.seed,
        Conventions="CF-1.11",
    )


def _named(text: str, rain: bool = True) -> list[str]:
    """Return the files that a study and its options name, once each, with or without those of rain."""
    whole, _ = with_options(tomllib.loads(text))
    names = [name for loc, name in named_files(whole, Study) if rain or "rain" not in loc]
    for _, tables in studies_of(whole):
        intensity = tables.get("losses", {}).get("intensity")
        names += (
            [intensity["hourly_rain"]] if isinstance(intensity, dict) and "hourly_rain" in intensity else []
        )
    return list(dict.fromkeys(names))


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


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
    return write_results(path, out, progress=progress, cache=cache).done


def write_results(
    path: str | os.PathLike,
    out: str | os.PathLike,
    *,
    progress: Callable[[str], None] | None = None,
    cache: str | os.PathLike | None = None,
) -> StudyResults:
    """Do what `write_study` does; where an earlier run kept the set of all that enters now, no stage past it is run."""
    path, (study, text) = Path(path), check_inputs(path, out)
    run = Run(study, path.parent, kept_folder(cache))
    key = key_of("set", text, [(Path(name).name, _digest(path.parent / name)) for name in _named(text)])
    if kept := recall(run.kept, "set", key):
        results = _worked(run, path, text, progress, "decision")
        if progress:
            progress("report")
        with whole_files(out) as folder:
            for name, content in kept["set"].items():
                (folder / str(name)).write_bytes(content.values.tobytes())
        return results
    with second_process("rainharvest.study.report", warm=make_warm) as begin:
        decided = _worked(run, path, text, progress, "decision")
        other = begin(_worked_beside, run, decided)
        _worked(run, path, text, progress, "costs", "certainty")
        run.at_hand.update(next(other))
        run.fresh.update(next(other))
        results = _worked(run, path, text, progress, first="drought")
        if progress:
            progress("report")
        with whole_files(out) as folder:
            _write_set(results, other, folder)
            files = {f.name: (f"of {f.name}", np.fromfile(f, np.uint8)) for f in sorted(folder.iterdir())}
            keep(run.kept, "set", key, {"set": xr.Dataset(files)})
    return results


def make_warm() -> None:
    """Load what the work to come will want, while there is none yet: the balance, the statistics, a figure."""
    import scipy.stats  # noqa: F401

    from rainharvest.core.save import figure_png
    from rainharvest.core.style import new_figure
    from rainharvest.storage.simulate import simulate

    simulate([0.0], 1.0, 1.0)
    figure_png(new_figure(" ")[0], 10)


def _worked_beside(run: Run, decided: StudyResults) -> Iterator[dict]:
    """Yield what waits for the decision alone, the drought and the options: results, stages, sections of the report."""
    from rainharvest.study.report import EARLY, sections_of

    known, found, made = set(run.at_hand), {}, {}
    with suppress(InputError):  # it is raised anew, and told, when its turn comes
        found["drought"] = results_of(run, "drought")["group"]
        if run.study.option:
            found["options"] = options_group(run)
    yield {key: data for key, data in run.at_hand.items() if key not in known}
    yield run.fresh
    with suppress(InputError):
        made = sections_of(replace(decided, groups=found), EARLY)
    yield made


def _write_set(results: StudyResults, other: Iterator[dict], folder: Path) -> None:
    """Write results, tables and report, of which the other process makes some sections, into a folder that is there."""
    from rainharvest.study.report import EARLY, MAKERS, report_files, sections_of, study_report

    done, path = results.done, folder / "results.nc"
    with reading(reader_of(results.study)):
        done.to_netcdf(path)
        for name, group in results.groups.items():
            group.rename(_own_labels(name, group, done)).to_netcdf(path, mode="a", group=name)
        write_csv(trade_off_table(done), folder / "trade_off.csv")
        write_csv(record_table(results.record.filled), folder / "record.csv")
        made = sections_of(results, MAKERS.keys() - EARLY)
        report_files(study_report(results, made | next(other)), folder)


def _own_labels(name: str, group: xr.Dataset, root: xr.Dataset) -> dict[str, str]:
    """Return new names for the dimensions whose labels are the group's own: no tree may hold one name for two."""
    shared = [str(dim) for dim in group.dims if dim in root.dims]
    differ = [dim for dim in shared if not group[dim].to_index().equals(root[dim].to_index())]
    return {dim: f"{name}_{dim}" for dim in shared if dim in (*differ, "year", "quantile")}


def check_inputs(path: str | os.PathLike, out: str | os.PathLike) -> tuple[Study, str]:
    """Return the study; raise every mistake of its file and of the folder for its results, before any work."""
    mistakes: list[InputError] = []

    @contextmanager
    def noting() -> Iterator[None]:
        try:
            yield
        except InputError as error:
            mistakes.extend(getattr(error, "mistakes", [error]))

    with noting():
        study, text = read_study(path)
        if study.report.template:
            from rainharvest.study.word import opened

            opened(Path(path).parent / study.report.template)
    with noting():
        check_folder(out)
    if mistakes:
        raise StudyFileError(mistakes)
    return study, text


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
    table = pd.DataFrame(columns, index=pd.Index(done.capacity.values.round(6), name="usable [L]"))
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
