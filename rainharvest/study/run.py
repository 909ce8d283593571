"""The one path from a study file to its results."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import xarray as xr

import rainharvest
from rainharvest.errors import InputError
from rainharvest.study.file import Study, read_study
from rainharvest.study.flows import Flows
from rainharvest.study.kept import kept_folder
from rainharvest.study.options import options_group
from rainharvest.study.record import StudyRecord
from rainharvest.study.stages import GROUPS, STAGES, Run, flows_of, parcel_of, record_of

PROGRESS = (*STAGES, "options")
"""The names that progress is told by."""


@dataclass(frozen=True)
class Worked:
    """A study that has been run: what was asked, what entered, what came out.

    Parameters
    ----------
    study : Study
        What was asked.
    record : StudyRecord
        Its rain.
    flows : Flows
        What entered the balance.
    done : Dataset
        The results, as `run_study` returns them.
    folder : Path
        The folder of the study file, from which its paths are meant.
    groups : dict of str to Dataset
        What the stages after the storage gave, and "options" where the study has some.
    fresh : tuple of str
        The stages that were worked anew; the others were left by an earlier run.
    """

    study: Study
    record: StudyRecord
    flows: Flows
    done: xr.Dataset
    folder: Path = Path()
    groups: dict[str, xr.Dataset] = field(default_factory=dict)
    fresh: tuple[str, ...] = ()


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
