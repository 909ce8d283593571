"""Siting, parts and upkeep: they come from the site, and are complete."""

from types import SimpleNamespace
from typing import get_args

import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from rainharvest.catchment.hydraulics import run_levels
from rainharvest.catchment.tables import Catchment, Conveyance, Roof
from rainharvest.core.defaults import CAUTIONS
from rainharvest.core.reader import MONTHS_SHORT
from rainharvest.siteworks.base import GROUNDS, SHAPES, base_of, vessel_of
from rainharvest.siteworks.delivery import Tap, pump_works
from rainharvest.siteworks.overflow import OverflowPipe
from rainharvest.siteworks.tables import PART_NAMES, SiteWorks
from rainharvest.siteworks.treatment import chlorine_plan
from rainharvest.siteworks.upkeep import (
    TASKS,
    check_list,
    price_parts,
    site_parts,
    siting_checks,
    upkeep_calendar,
)


@given(
    st.integers(1, 12),
    st.sets(st.sampled_from(["roof", "wet run", "pump", "lamp", "chlorine", "filters", "mains"])),
)
def test_the_calendar_holds_every_task_as_often_as_it_falls_due(month, parts):
    year = upkeep_calendar(parts, month)
    assert year.task.tolist() == [t["task"] for t in TASKS if set(t.get("where", ())) <= parts]
    for _, row in year.iterrows():
        assert sum(row[name] == "x" for name in MONTHS_SHORT) == max(12 // row.every, 1)
        assert row[MONTHS_SHORT[(month - 2) % 12]] == "x" and row.source


def test_rows_speak_of_what_there_is():
    assert all(task.get("mind", "") in {"", *CAUTIONS} for task in TASKS)
    assert set(get_args(SiteWorks.model_fields["ground"].annotation)) == set(GROUNDS)
    assert set(get_args(SiteWorks.model_fields["form"].annotation)) == set(SHAPES)


def test_parts_come_from_the_site_and_cost_what_the_user_says():
    tank = vessel_of(20_000, height=2.0, tanks=2)
    run = Conveyance(kind="wet", run=30, bore=100, outlet_level=3.0, inlet_level=2.2)
    roofs = (Roof(area=60), Roof(area=40))
    site = SiteWorks(overflow_run=5.0, pump={"highest_tap": 4.0, "vessel_volume": 80.0})
    catchment = Catchment(roofs=roofs, conveyance=run, first_flush=1.0)
    works = SimpleNamespace(
        site=site,
        vessel=tank,
        base=base_of(tank, site),
        tap=Tap(tap_height=0.5),
        there={"roof", "wet run", "pump", "surface pump", "mains", "float valve"}
        | {"filters", "lamp", "chlorine", "combined"},
        given=SimpleNamespace(
            catchment=catchment, conveyance=run, arrangement="combined", units="metric", change_over=False
        ),
        overflow=OverflowPipe(100.0, 2, 9.0),
        soakaway=xr.Dataset({"soakaway_length": 2.0}),
        pump=pump_works(site.pump, tank, 0.1),
        chlorine=chlorine_plan(0.8, 1000.0),
        bucket_fits=True,
        air_gap=lambda: 40.0,
    )
    parts = site_parts(works)
    found = {part.part: part for part in parts}
    assert found["tank"].quantity == 2 and found["overflow pipe"].quantity == 20
    assert found["clean stone"].quantity == 3
    assert found["pipe"].quantity == pytest.approx(30 + 3.5 + 2.7) and found["low-point valve"].quantity == 1
    assert "air gap of 40 mm" in found["float valve"].what_for and "0.25 kW" in found["pump"].what_for
    assert "4,800 L, or 2,057 L with baffles, or 183 m" in found["contact tank"].what_for
    assert found["chlorine doser"].what_for.startswith("2 mg/L, 2 g of chlorine a day")
    assert "before it is filtered and disinfected" in found["warning sign"].what_for
    assert set(found) <= set(PART_NAMES) and all(part.quantity > 0 for part in parts)
    table = price_parts(parts, {"tank": 900.0, "tap": 15.0})
    assert table.set_index("part").cost["tank"] == 1800 and table.cost.notna().sum() == 2
    with pytest.raises(ValidationError, match="did you mean tank"):
        SiteWorks(prices={"tnak": 1.0})
    with pytest.raises(ValidationError, match="a price of -1"):
        SiteWorks(prices={"tank": -1.0})


def test_siting_says_what_fits_what_does_not_and_what_nobody_measured():
    tank = vessel_of(10_000, height=2.0)
    run = Conveyance(kind="dry", run=60, bore=100, outlet_level=2.5, inlet_level=1.5)
    site = SiteWorks(soakaway_distance=3.0, opening=2.3)
    table = siting_checks(tank, site, run_levels(run, 3.0), rain=True)
    fits = dict(zip(table.check, table.fits, strict=True))
    assert fits["inlet above the overflow"] == "no"
    assert fits["soakaway clear of buildings and boundary"] == "no"
    assert fits["way in for the tank"] == "yes" and fits["tank clear of the boundary"] == "measure it"
    kinds, runs = ("mains reserve", "rain only", "combined"), ("dry run", "wet run", "no run")
    lists = {check_list({kind, run, "not for drinking"}) for kind in kinds for run in runs}
    assert len(lists) == 9 and all(len(lines) > 10 for lines in lists)
