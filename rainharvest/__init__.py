"""Rainwater yield studies: what a tank of each size yields, how often and how long it fails, and why.

The public names load when they are first used, so that ``import rainharvest`` stays light.
"""

from __future__ import annotations

from importlib import import_module

__version__ = "0.1.0"


_PUBLIC = {
    "catchment.collect": "collect",
    "catchment.drainage": "design_flow peak_overflow size_drainage",
    "catchment.exercises": "check_backing_up check_best_bore check_dry_reach guess_wet_share",
    "catchment.facts": "dry_and_wet which_roof_first",
    "catchment.panel": "catchment_panel load_case",
    "catchment.section": "side_by_side tell_first_flush tell_roofs tell_runs",
    "catchment.tables": "Catchment Conveyance Roof",
    "climates.cells": "Plan over_cells",
    "climates.delta": "delta_change",
    "climates.exercises": "check_explaining check_hardest_climate check_places_reached",
    "climates.facts": "explained in_each_climate",
    "climates.panel": "prepare_sides region_for region_panel sides_panel",
    "climates.statistics": "band_of_years classes_at explain",
    "core.board": "still",
    "core.errors": "InputError",
    "core.page": "as_table told",
    "core.quantities": "label titled",
    "demand.exercises": "check_share_for_rain check_thirstiest_month check_year",
    "demand.facts": "demand_of",
    "demand.panel": "demand_panel",
    "demand.uses": "essential_demand fit_for_use",
    "drought.dry_years": "driest_runs",
    "drought.exercises": "check_card check_hidden_drought check_supply_days guess_month",
    "drought.facts": "failures_of years_of",
    "drought.facts_outlook": "plan_of",
    "drought.panel": (
        "bad_years_panel card_panel climate_panel day_panel dry_spells_panel longer_droughts_panel "
        "outlook_panel prepare_drought skill_panel"
    ),
    "drought.section": "card_rows driest_runs_words failures_words plan_words",
    "rainfall.check": "check_rain",
    "rainfall.describe": "describe_rain one_version",
    "rainfall.exercises": "check_left check_longest_spell check_rightly_wet",
    "rainfall.facts": "answer checked_record demo_files hidden_days_skill",
    "rainfall.fill": "fill_gaps",
    "rainfall.panel": "rain_panel record_panel",
    "rainfall.read": "read_rain read_subdaily",
    "rainfall.record": "make_record",
    "siteworks.exercises": "check_freeboard check_pressure check_soakaway",
    "siteworks.panel": "overflow_panel prepare_siteworks pump_panel site_variant tank_panel",
    "siteworks.section": "tell_site",
    "siteworks.treatment": "chlorine_ct contact_minutes treatment_train uv_logs",
    "sizing.exercises": "check_shortcut check_sure check_tanks guess_more_people",
    "sizing.panel": "sizing_panel sizing_pictures",
    "sizing.section": "tell tell_recommendation",
    "storage.exercises": "check_arrangement check_reserve check_spilled",
    "storage.facts": "supplied",
    "storage.panel": "arrangements_panel prepare_supply",
    "storage.rationing": "Rule best_rule cuts_of_stages try_rationing",
    "storage.simulate": "simulate",
    "study.choices": "own_folder rain_files rain_hints study_in_use",
    "study.exercises": (
        "check_days_short check_reaches_the_tank check_share check_size check_thirstiest_option "
        "check_worst_year"
    ),
    "study.panel": "options_panel own_station study_panel",
    "study.report": "save_report study_report",
    "study.run": "run_study study_results write_study",
}
"""The public names by the module in which they stand: what the notebooks and the README import."""

_HOMES = {name: module for module, names in _PUBLIC.items() for name in names.split()}
__all__ = [*_HOMES, "__version__"]


def __getattr__(name: str):
    if name in _HOMES:
        value = getattr(import_module(f"rainharvest.{_HOMES[name]}"), name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'rainharvest' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
