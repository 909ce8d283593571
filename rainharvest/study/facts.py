"""What page 1 and the comparison of options print, worked out once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.reader import middle
from rainharvest.drought.facts_outlook import card_stands
from rainharvest.rainfall.facts import snow_falls
from rainharvest.siteworks.facts import Buildable, buildability, siteworks_of
from rainharvest.sizing.facts_printed import (
    Certainty,
    Changes,
    Interruptions,
    TankFacts,
    certainty,
    changes_needed,
    interruptions,
    tank_facts,
)

if TYPE_CHECKING:
    from rainharvest.study.stages import StudyResults


@dataclass(frozen=True)
class AnswerFacts:
    """The answer of a study, on rain alone where rain feeds the tank; volumes in L."""

    arrangement: str
    tank: TankFacts  # The one tank decided on
    measure: str  # The words of the reliability that was aimed at
    sizes: tuple[float, float]  # Usable, the smallest and the largest tried
    found: bool  # Whether any size reaches the target
    half: float  # What half the size supplies
    twice: float  # What twice the size supplies
    changes: Changes | None  # What would have to change, where no size reaches the target
    served: tuple[str, ...]  # Uses that the tank serves
    not_served: tuple[str, ...]
    filled: bool  # Whether the curve has a band: several fillings of a record with gaps
    certainty: Certainty | None
    interruptions: Interruptions | None  # What other draws of a reserve's interruptions ask for
    interrupted: bool  # Whether the study names interruptions of the mains
    held: float | None  # Share of mornings on which the tank holds water for three days
    whole_years: int
    worst_year: int
    worst_failed: float  # Days in the worst whole year
    worse_part_year: bool  # Whether a year that the record holds in part was worse
    failed_years: int
    longest_failure: float  # Days
    rationed: bool
    plan_fails: float | None  # Share of years in which the essential uses fail under the rationing plan
    snow: bool  # Whether part of the winter's precipitation is usually snow
    misfits: tuple[Buildable, ...]  # What keeps the site works from being built as described

    @property
    def reserve(self) -> bool:
        """Whether mains water, not rain, fills the tank."""
        return self.arrangement == "mains reserve"


def answer_facts(results: StudyResults) -> AnswerFacts:
    """Return what page 1 says of a study that has been run."""
    study, done, groups = results.study, results.done, results.groups
    measure = done.attrs["measure"]
    whole = (done.days_in_year >= 365).values
    by_year = done.described_failed_by_year.median("member")
    failed = by_year[whole]
    worst = int(failed.values.argmax()) if failed.size else -1
    group, plan = groups.get("sizing", xr.Dataset()), groups.get("drought")
    kept = plan is not None and card_stands(plan)
    found = math.isfinite(float(done.recommended))
    supply = study.arrangement
    return AnswerFacts(
        arrangement=supply.kind,
        tank=tank_facts(done),
        measure=label(measure),
        sizes=(float(done.capacity[0]), float(done.capacity[-1])),
        found=found,
        half=middle(done.half_rain_reliability),
        twice=middle(done.twice_rain_reliability),
        changes=None
        if found or "reliability_by_area" not in group
        else changes_needed(group, tank_facts(done)),
        served=tuple(str(name) for name in done.use.values),
        not_served=results.flows.not_served,
        filled=done.sizes["member"] > 1 and done.attrs["days_missing"] > 0,
        certainty=certainty(group),
        interruptions=interruptions(group),
        interrupted=bool(supply.mains_off or supply.mains_hours or supply.spells),
        held=float(group.in_hand.sel(ride_out=3)) if "in_hand" in group else None,
        whole_years=failed.size,
        worst_year=int(failed.year[worst]) if failed.size else 0,
        worst_failed=float(failed[worst]) if failed.size else 0.0,
        worse_part_year=bool(failed.size and float(by_year.max()) > float(failed[worst])),
        failed_years=int((failed > 0).sum()),
        longest_failure=middle(done.described_longest_failure),
        rationed=middle(done.described_rationed) > 0,
        plan_fails=float(plan.failing_years) if kept else None,
        snow=snow_falls(results.record.findings, results.flows.evapotranspiration),
        misfits=tuple(row for row in buildability(siteworks_of(results)) if not row.fits),
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
