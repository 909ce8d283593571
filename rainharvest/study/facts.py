"""What page 1 and the comparison of options print, worked out once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.reader import middle

if TYPE_CHECKING:
    from rainharvest.study.stages import StudyResults


@dataclass(frozen=True)
class AnswerFacts:
    """The answer of a study, on rain alone where rain feeds the tank; volumes in L."""

    arrangement: str
    measure: str  # The words of the reliability that was aimed at
    by_volume: bool
    sizes: tuple[float, float]  # Usable, the smallest and the largest tried
    usable: float
    nominal: float
    chosen: bool  # Whether the study file names the tank
    least: float | None  # Nominal size of the smallest that reaches the target
    supplied: float
    half: float  # What half the size would supply
    twice: float | None  # What twice the size would, where such sizes were tried
    several: bool  # Whether the record was filled more than once
    fillings: int  # Fillings that differ; 0 where that says nothing
    smallest_of_fillings: tuple[float, float]
    sure_size: float | None  # Enough for nine of ten draws of all that is not known
    whole_years: int
    worst_year: int
    worst_failed: float  # Days in the worst whole year
    worse_part_year: bool  # Whether a year that the record holds in part was worse
    failed_years: int
    longest_failure: float  # Days
    rationed: bool
    plan_fails: float | None  # Share of years in which the essential uses fail under the rationing plan

    @property
    def reserve(self) -> bool:
        """Whether mains water, not rain, fills the tank."""
        return self.arrangement == "mains reserve"


def answer_facts(results: StudyResults) -> AnswerFacts:
    """Return what page 1 says of a study that has been run."""
    study, done, groups = results.study, results.done, results.groups
    tank, measure = float(done.described), done.attrs["measure"]
    curve = done[measure].median("member")
    half, twice = (float(np.interp(f * tank, curve.capacity.values, curve.values)) for f in (0.5, 2.0))
    recommended, found = float(done.recommended), done.smallest.values
    whole = (done.days_in_year >= 365).values
    by_year = done.described_failed_by_year.median("member")
    failed = by_year[whole]
    worst = int(failed.values.argmax()) if failed.size else -1
    sure = float(groups["sizing"].get("sure_size", math.nan)) if "sizing" in groups else math.nan
    plan = groups.get("drought")
    kept = plan is not None and float(plan.get("plan_ahead", 0.0)) and plan.attrs["plan_keeps"]
    several = done.sizes["member"] > 1
    differ = several and np.isfinite(found).any()
    return AnswerFacts(
        arrangement=study.arrangement.kind,
        measure=label(measure),
        by_volume=measure == "volume_reliability",
        sizes=(float(done.capacity[0]), float(done.capacity[-1])),
        usable=tank,
        nominal=float(done.described_nominal),
        chosen=study.tank.chosen is not None,
        least=recommended / study.tank.usable_share if math.isfinite(recommended) else None,
        supplied=middle(done.described_rain_reliability),
        half=half,
        twice=twice if 2 * tank <= float(done.capacity[-1]) else None,
        several=several,
        fillings=found.size if differ else 0,
        smallest_of_fillings=(float(np.nanmin(found)), float(np.nanmax(found))) if differ else (0.0, 0.0),
        sure_size=sure if math.isfinite(sure) else None,
        whole_years=failed.size,
        worst_year=int(failed.year[worst]) if failed.size else 0,
        worst_failed=float(failed[worst]) if failed.size else 0.0,
        worse_part_year=bool(failed.size and float(by_year.max()) > float(failed[worst])),
        failed_years=int((failed > 0).sum()),
        longest_failure=middle(done.described_longest_failure),
        rationed=middle(done.described_rationed) > 0,
        plan_fails=float(plan.failing_years) if kept else None,
    )


def options_at(options: xr.Dataset, nominal: float) -> dict[str, float]:
    """Return what each option supplies with a tank of one nominal size [L], by name."""
    sizes = np.log(options.nominal.values)
    reached: dict[str, float] = {}
    for name, row in zip(options.study_option.values, options.reliability.values, strict=True):
        share = float(np.interp(np.log(nominal), sizes, row))
        if share not in reached.values():  # options that differ in size only are the same at one size
            reached[str(name)] = share
    return reached
