"""What anybody prints of a record: read, checked and filled, and the facts of its sentences."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.core.defaults import Default, defaults_of, rows_of
from rainharvest.core.errors import InputError
from rainharvest.core.quantities import variables
from rainharvest.core.text import texts_of
from rainharvest.rainfall.check_years import mann_kendall
from rainharvest.rainfall.climatology import spi_class
from rainharvest.rainfall.describe import one_version
from rainharvest.rainfall.fill import Fillable, fillable, filled_versions
from rainharvest.rainfall.fill_methods import LIMITS as FILL
from rainharvest.rainfall.fill_skill import FILLINGS, fill_skill
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read_open import open_source, unpacked
from rainharvest.rainfall.read_values import LIMITS
from rainharvest.rainfall.record import RainRecord, measured_years, read_and_check
from rainharvest.rainfall.refusals import refusal, refuse_unless
from rainharvest.rainfall.summary import parts_of

SAY = texts_of("rainfall")

SKILLS = ("wet_agreement", "total_error", "wet_share_error", "spell_error", "longest_spell_error")
SKILLS += ("reliability_error",)

DEMO_STEMS = {
    "rain in winter": "winter_rain",
    "monsoon": "monsoon",
    "two rainy seasons": "two_rainy_seasons",
    "semi-arid": "semi_arid",
    "rain all year": "temperate_all_year",
}

OF_CHECKS, OF_FILLING = (defaults_of("rainfall")[kind] for kind in ("check", "fill"))

SHOWN_YEARS = 30  # [year] as many as make a normal; a panel fills no more, so that it follows the hand


@dataclass(frozen=True, eq=False)
class CheckedRecord:
    """A record that was read and checked, ready to be filled."""

    read: xr.DataArray  # [mm/day] The rain as read
    neighbours: tuple[xr.DataArray, ...]  # [mm/day] Its neighbours as read
    findings: pd.DataFrame  # What ``check_rain`` doubts
    recent: xr.DataArray  # [mm/day] The last years of the rain, less what cannot be right
    recent_neighbours: tuple[xr.DataArray, ...]  # [mm/day] The neighbours over the same days

    @cached_property
    def fillable(self) -> Fillable:
        """The last years with what may fill them, for many fillings."""
        return fillable(self.recent, self.recent_neighbours or None)


def demo_files(folder: str | os.PathLike) -> dict[str, list[Path]]:
    """Return the invented demo records: each climate's gauge and its neighbours.

    Parameters
    ----------
    folder : str or path
        Where ``data/make/rain.py`` wrote them.

    Returns
    -------
    dict of str to list of Path
        By the climate's name, the file of the gauge to study and then those of its neighbours.

    Raises
    ------
    InputError
        If the folder holds none of them.

    Examples
    --------
    >>> folder = Path(tempfile.mkdtemp())
    >>> for name in ("monsoon_b.csv", "monsoon.csv", "notes.csv"):
    ...     (folder / name).touch()
    >>> {climate: [file.name for file in files] for climate, files in demo_files(folder).items()}
    {'monsoon': ['monsoon.csv', 'monsoon_b.csv']}
    """
    folder = Path(folder)
    found = {
        words: [folder / f"{stem}.csv", *sorted(folder.glob(f"{stem}_*.csv"))]
        for words, stem in DEMO_STEMS.items()
        if (folder / f"{stem}.csv").is_file()
    }
    refuse_unless(found, "no_demo_record", folder.as_posix(), folder=folder.as_posix())
    return found


def checked_record(
    files: Sequence[str | os.PathLike], hints: Mapping[str, object] | None = None, years: int = SHOWN_YEARS
) -> CheckedRecord:
    """Read and check a record and its neighbours, and take out what cannot be right.

    Parameters
    ----------
    files : sequence of path
        The site's file, then its neighbours'.
    hints : mapping, optional
        Arguments of ``read_rain``, each used only where a file leaves that doubt.
    years : int [year]
        How many of the last years are kept to be filled.

    Returns
    -------
    CheckedRecord

    Raises
    ------
    InputError
        If a file cannot be read or leaves a doubt.
    """
    read, neighbours, findings, sound = read_and_check(files, hints, by_reading=False)
    first = sound.indexes["time"][-1] - pd.DateOffset(years=years) + pd.Timedelta(days=1)
    recent, *near = (one.sel(time=slice(first, None)) for one in (sound, *neighbours))
    return CheckedRecord(read, neighbours, findings, recent, tuple(one for one in near if one.size))


def checked_upload(name: str, content: bytes, hints: Mapping[str, object] | None = None) -> CheckedRecord:
    r"""Read and check a file that came as bytes, as an upload does.

    >>> lines = ["date,rain_mm"] + [f"2001-01-{day:02d},{day % 3}" for day in range(1, 32)]
    >>> float(checked_upload("mine.csv", "\n".join(lines).encode()).read.sum())
    31.0
    """
    plain = Path(name.replace("\\", "/")).name or "upload"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / plain
        try:
            path.write_bytes(content)
        except (OSError, ValueError):
            raise refusal("no_file_name", plain) from None
        try:
            _refuse_large(path)
            return checked_record([path], hints)
        except InputError as error:
            raise InputError(error.problem, error.remedy, error.place, plain) from None


def _refuse_large(path: Path) -> None:
    """Refuse a file that would keep the page waiting: packed, thirty million rows are a small upload."""
    most, held = LIMITS["upload"].value, 0
    with unpacked(path, open_source(path).packing) as stream:
        while piece := stream.read(1 << 20):
            held += len(piece)
            refuse_unless(held <= most, "too_large_unpacked", most=most / 1e6)


def fill_recent(
    record: CheckedRecord, members: int = 1, longest_gap: int = FILL["longest_gap"]
) -> xr.DataArray:
    """Fill the last years of a record; without a neighbour no gap longer than a season."""
    alone = min(longest_gap, FILL["longest_alone"])
    return filled_versions(record.fillable, members, longest_gap=longest_gap, longest_alone=alone)


def hidden_days_skill(
    record: CheckedRecord, hidden_share: float, simulate: Callable[..., xr.Dataset], members: int = 5
) -> xr.Dataset:
    """Return the skill of filling a share of the record's own known days, hidden once.

    Parameters
    ----------
    record : CheckedRecord
        The record.
    hidden_share : float [1]
        Share of the known days that is hidden.
    simulate : callable
        The balance for the reference tank: `rainharvest.simulate`.
    members : int [1]
        Versions a fill.

    Returns
    -------
    Dataset
        As `rainharvest.rainfall.fill_skill.fill_skill`; NaN with ``attrs["left_out"]`` saying why where the
        record is too short to hide days of.
    """
    try:
        near, given = record.recent_neighbours or None, {"simulate": simulate, "members": members}
        return fill_skill(record.recent, near, hidden_share, repeats=1, **given)
    except InputError as error:
        unknown = variables("way_filled", dict.fromkeys(SKILLS, [np.nan, np.nan]))
        why = {"share": hidden_share, "left_out": str(error)}
        return xr.Dataset(unknown, {"way_filled": list(FILLINGS)}, why)


def whole_years(annual: xr.DataArray) -> dict[str, object]:
    """Return the facts of the annual totals of all versions: the driest year, and how far the versions differ."""
    whole = annual.isel(year=np.flatnonzero(annual.notnull().all("member").values))
    facts = {"whole": whole.sizes["year"], "years": annual.sizes["year"], "versions": whole.sizes["member"]}
    if not facts["whole"]:
        return facts
    middle = whole.median("member")
    apart = whole.max("member") - whole.min("member")
    widest, driest = int(apart.values.argmax()), int(middle.values.argmin())
    return facts | {
        "driest": int(whole.year[driest]),
        "driest_share": float(middle[driest] / middle.mean()),
        "apart": float(apart[widest]),
        "widest": int(whole.year[widest]),
    }


def record_facts(record: CheckedRecord, filled: xr.DataArray) -> dict[str, object]:
    """Return whose record it is, what was doubted and what was filled."""
    attrs, days = filled.attrs, filled.indexes["time"]
    return {
        "name": str(attrs.get("site") or attrs.get("source_file", "the record")),
        "first": days[0],
        "last": days[-1],
        "attrs": attrs,
        "doubts": record.findings["severity"].value_counts().to_dict(),
    }


def months_facts(description: xr.Dataset) -> dict[str, object]:
    """Return in which months it rains; nothing where a month of the year is never whole."""
    mean = description.month_mean
    if not bool(mean.notnull().all()):
        return {}
    return {
        "wettest": int(mean.values.argmax()),
        "most": float(mean.max()),
        "driest": int(description.driest_month) - 1,
        "least": float(mean.min()),
        "start": int(description.suggested_start) - 1,
    }


def spells_facts(description: xr.Dataset) -> dict[str, object]:
    """Return how long the dry spells are; nothing without one."""
    if description.sizes.get("spell", 0) == 0:
        return {}
    longest = int(description.dry_spell.values.argmax())
    often = description.spell_days.values[description.spells_a_year.values >= 1]
    return {
        "wet_day": description.attrs["wet_day"],
        "once_a_year": int(often.max(initial=0)),
        "start": str(description.spell_start.values[longest])[:10],
        "longest": int(description.dry_spell[longest]),
    }


def spi_facts(spi: xr.DataArray) -> dict[str, object]:
    """Return when the driest time was; nothing where the index is nowhere known."""
    known = spi.dropna("month")
    if known.sizes["month"] == 0:
        return {}
    worst = known.isel(month=int(known.values.argmin()))
    return {
        "month": str(worst.month.values)[:7],
        "worst": float(worst),
        "word": spi_class(float(worst)),
        "dry": float((known <= -1).mean()),
    }


def double_mass_facts(mass: xr.Dataset) -> dict[str, float]:
    """Return the record's rain over its neighbours': over all years, the first half and the second; nothing without."""
    if mass.sizes["year"] < 2:
        return {}
    here, there, half = mass.here.values, mass.there.values, mass.sizes["year"] // 2 - 1
    late = (here[-1] - here[half]) / (there[-1] - there[half])
    return {"overall": here[-1] / there[-1], "early": here[half] / there[half], "late": late}


def findings_facts(findings: pd.DataFrame, shown: int) -> dict[str, object]:
    """Return how many findings there are of each severity, and how many are shown."""
    counts = findings.severity.value_counts().to_dict() if len(findings) else {}
    return {"counts": counts, "all": len(findings), "shown": shown}


def origins_facts(flags: np.ndarray) -> dict[str, float]:
    """Return the share of the days that were measured, and how many were not."""
    own = np.isin(flags, [int(f) for f in (Flag.MEASURED, Flag.TRACE, Flag.SUSPECT, Flag.TOTAL)])
    return {"measured": float(own.mean()), "made": int((~own).sum())}


def own_facts(record: RainRecord) -> xr.Dataset:
    """Return of a record by itself what a study's results say of theirs."""
    first, filled, raw = one_version(record.filled), record.filled.attrs, record.read.attrs
    return (
        record.filled.to_dataset(name="versions")
        .assign(rain=first, flag=("time", first["flag"].values))
        .assign_attrs(
            rain_file=raw["source_file"],
            reading=raw.get("assumptions", ""),
            filling=filled["assumptions"],
            years_estimated=filled["years_estimated"],
            years_mostly_filled=filled["years_to_leave_out"],
            left_out=SAY.left("gaps_left", filled["gaps_left"]).capitalize() if filled["gaps_left"] else "",
            days_missing=int(record.read.isnull().sum()),
            days_read=record.read.sizes["time"],
            measured_years=measured_years(record),
        )
    )


def changes_facts(findings: pd.DataFrame, annual: xr.DataArray) -> dict[str, object]:
    """Return the years of proven breaks, and the line of a proven trend through the annual totals."""
    proven = findings[findings["severity"] == "suspect"] if len(findings) else findings
    breaks = sorted({day.year for day in proven["last_day"][proven["check"] == "homogeneity"]})
    facts: dict[str, object] = {"breaks": breaks, "trend": None}
    total = annual.median("member").dropna("year")
    if total.sizes["year"] >= 4 and "trend" in set(findings["check"]):
        middle, ends = float(total["year"].median()), total["year"].values[[0, -1]]
        slope = mann_kendall(total.values, total["year"].values).slope
        facts |= {"trend": slope, "line": (ends, float(total.median()) + slope * (ends - middle))}
    return facts


def snow_falls(findings: pd.DataFrame, weather: xr.DataArray | None = None) -> bool:
    """Return whether snow is to be reckoned with: by the place, or by the coldest month's mean temperature."""
    cold = weather is not None and weather.attrs.get("coldest_month", 99.0) < OF_CHECKS["snow_month"].value
    return bool(cold or (len(findings) and "snow" in set(findings["check"])))


def rainfall_defaults(results) -> dict[str, Default]:
    """Return the working values that decided something about the record of a study, in words."""
    attrs, findings = results.done.attrs, results.record.findings
    filled = attrs["days_filled"] > 0
    things = {
        "filled": filled,
        "filled beside neighbours": filled and results.study.rain.neighbours,
        "poor years": attrs["years_mostly_filled"],
        "break": "break_year" in results.done,
    }
    there = {name for name, thing in things.items() if thing}
    there |= set(findings["check"][findings["severity"] == "wrong"]) if len(findings) else set()
    rows = [row for thing, row in rows_of("rainfall", "section")["defaults"].items() if thing in there]
    return {words: (OF_CHECKS | OF_FILLING)[name] for row in rows for name, words in row.items()}


def used_facts(done: xr.Dataset) -> dict[str, object]:
    """Return what of the record a study uses, and what it was assumed to hold."""
    first, last = done.time.values[[0, -1]]
    notes = [done.attrs[key].rstrip(".") for key in ("reading", "filling")]
    return {
        "attrs": done.attrs,
        "first": first,
        "last": last,
        "mean": 365.25 * float(done.rain.mean()),
        "versions": done.sizes["member"],
        "assumptions": "; ".join(dict.fromkeys(part for note in notes for part in parts_of(note))),
    }


def answer(record: CheckedRecord, filled: xr.DataArray, description: xr.Dataset) -> None:
    """Print the record in four plain lines.

    Parameters
    ----------
    record : CheckedRecord
        The record.
    filled : DataArray [mm/day]
        Its filled versions.
    description : Dataset
        What ``describe_rain`` says of the first version.
    """
    unknown = int(record.recent["flag"].isin([Flag.MISSING, Flag.REJECTED]).sum())
    site = record.read.attrs.get("site", "The gauge")
    print(SAY.answer_read(site, record.read.sizes["time"], len(record.findings)))
    years, neighbours = description.sizes["year"], len(record.recent_neighbours)
    print(SAY.answer_filled(years, unknown, filled.attrs["days_left"], neighbours))
    driest = int(description.driest_year[0]), float(description.driest_total[0])
    print(SAY.answer_years(float(description.annual_mean), *driest))
    print(SAY.answer_spell(int(description.dry_spell.max())))
