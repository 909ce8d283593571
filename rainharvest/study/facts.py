"""What page 1 and the comparison of options print, worked out once."""

from __future__ import annotations

from types import SimpleNamespace as Facts
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.catchment.facts import hardness_of
from rainharvest.core.quantities import label
from rainharvest.core.reader import middle
from rainharvest.drought.facts_outlook import card_stands
from rainharvest.rainfall.facts import snow_falls
from rainharvest.siteworks.facts import buildability, siteworks_of
from rainharvest.sizing.facts_printed import (
    certainty,
    changes_needed,
    failed_years,
    headline_facts,
    interruptions,
)

if TYPE_CHECKING:
    from rainharvest.study.stages import StudyResults


def answer_facts(results: StudyResults) -> Facts:
    """Return what page 1 says of a study that has been run: the tank-size decision, and what other stages add."""
    done, groups, supply = results.done, results.groups, results.study.arrangement
    facts, years, works = headline_facts(done), failed_years(done), siteworks_of(results)
    group, plan = groups.get("sizing", xr.Dataset()), groups.get("drought")
    kept = plan is not None and card_stands(plan)
    held = float(group.in_hand.sel(ride_out=3)) if "in_hand" in group else None
    return Facts(
        **(vars(facts) | {"arrangement": supply.serves_as}),
        hardness=hardness_of(results.study.losses.intensity, results.flows.water),
        measure=label(facts.tank.measure),  # The words of the reliability that was aimed at
        sizes=(float(done.capacity[0]), float(done.capacity[-1])),  # [L] Usable, smallest and largest tried
        half=middle(done.half_rain_reliability),  # [1] What half the size supplies
        twice=middle(done.twice_rain_reliability),
        changes=changes_needed(group, facts.tank),
        served=tuple(str(name) for name in done.use.values),
        not_served=results.flows.not_served,
        banded=facts.versions > 1 and facts.filled,  # Whether the curve has a band
        certainty=certainty(group),
        interruptions=interruptions(group),
        interrupted=bool(supply.mains_off or supply.mains_hours or supply.spells),
        held=held,  # [1] Of mornings, for three days
        whole_years=years.whole,
        worst_year=years.worst_year,
        worst_failed=years.worst,  # [day]
        worse_part_year=years.worse_part_year,
        failed_years=years.failing,
        rationed=middle(done.described_rationed) > 0,
        plan_fails=float(plan.failing_years) if kept else None,  # [1] Of years, under the rationing plan
        # Whether part of the winter's precipitation is usually snow
        snow=snow_falls(results.record.findings, results.flows.evapotranspiration),
        misfits=tuple(row for row in buildability(works) if not row.fits),
        engineer=works.base.engineer,  # Whether an engineer must design the base
        doubtful=list(works.doubtful_roofs)
        if works.filtered
        else [],  # Roofs whose water no treatment here settles
        other_misfits=works.other_misfits,  # Levels and distances that do not fit beside these
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
