"""The files that a study leaves behind, written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.outputs import whole_files
from rainharvest.core.reader import reading
from rainharvest.rainfall.flags import MEANINGS, Flag
from rainharvest.study.file import reader_of
from rainharvest.study.stages import work_study

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
    """Run a study and write its report, results and tables."""
    from rainharvest.study.report import report_files, study_report

    worked = work_study(path, progress=progress, cache=cache)
    done = worked.done
    if progress:
        progress("report")
    with whole_files(out) as folder, reading(reader_of(worked.study)):
        done.to_netcdf(folder / "results.nc")
        for name, group in worked.groups.items():
            group.to_netcdf(folder / "results.nc", mode="a", group=name)
        trade_off_table(done).to_csv(folder / "trade_off.csv", lineterminator="\n")
        record_table(worked.record.filled).to_csv(folder / "record.csv", lineterminator="\n")
        report_files(study_report(worked), folder)
    return done


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
