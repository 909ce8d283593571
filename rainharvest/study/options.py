"""Options side by side: the study as described and each of its options, on the same sizes."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.quantities import attributes
from rainharvest.sizing.costs import bought_a_year, life_cycle
from rainharvest.sizing.facts_printed import headline_facts, tank_facts
from rainharvest.study.file import Study
from rainharvest.study.stages import Run, results_of, stage_key

AS_DESCRIBED = "as described"

"""Name of the study itself among its options."""


def options_group(run: Run) -> xr.Dataset:
    """Return the study and its options side by side."""
    first = results_of(run, "decision")["done"]
    sizes = tuple(float(v) for v in first.nominal.values)
    # What only the list of parts prices, as it is for the study itself: its row is the bill of page 1.
    beside = results_of(run, "site works")["group"].attrs["beside_costs"]
    rows = [_row(run.study, first, beside)]
    for i, option in enumerate(run.study.option):
        study = option.study
        if not _same_sizes(run, study):  # what is compared is not the list of sizes
            study = _with_tank(study, sizes=sizes)
        try:
            done = results_of(dataclasses.replace(run, study=study), "decision")["done"]
            if study.tank.chosen is None and math.isnan(done.recommended):  # then beside the study's own tank
                study = _with_tank(study, chosen=float(first.described_nominal))
                done = results_of(dataclasses.replace(run, study=study), "decision")["done"]
        except InputError as error:
            place = f"option[{i + 1}].{error.place}".rstrip(".")
            raise InputError(error.problem, error.remedy, place, error.file) from None
        rows.append(_row(study, done, beside))
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


def _row(study: Study, done: xr.Dataset, beside: float) -> dict[str, object]:
    """Return what one option comes to."""
    tank, facts = tank_facts(done), headline_facts(done)
    found, share = done.smallest.values, done[study.target.measure]
    row: dict[str, object] = {
        "recommended": float(done.recommended),
        "recommended_nominal": facts.nominal,
        "smallest_low": float(np.min(found)),
        "smallest_high": float(np.max(found)),
        "described": tank.described,
        "described_nominal": tank.nominal,
        "rain_reliability": tank.reached,
        "delivered_a_year": tank.delivered,
        "failed_a_year": tank.failed,
        "longest_failure": tank.longest,
        "mains_a_year": tank.mains,
        "inflow_a_year": tank.inflow,
        "demand_a_year": tank.demand,
        "unsupplied_a_year": tank.demand - tank.delivered if tank.failed or tank.rationed else 0.0,
        "area": 0.0 if facts.reserve else sum(roof.area for roof in study.roof),
        "reliability": (share.median("member") if "member" in share.dims else share).values,
    }
    if study.costs is not None:
        price = done.attrs.get("tank_price")
        costs = study.costs.model_copy(update={"fixed": study.costs.fixed + beside})
        paid = life_cycle(costs, tank.nominal, tank.rain, saved_bill=0.0, tank_price=price)
        row |= {name: float(paid[name]) for name in ("capital", "annual")}
        if costs.tariff:  # blocks would want the whole building's water
            row["annual_with_mains"] = row["annual"] + bought_a_year(costs, tank.mains)
    return row
