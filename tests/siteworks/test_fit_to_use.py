"""Backflow, disinfection, treatment, upkeep, parts, siting: published tables, and words that fit the site."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError
from rainharvest.catchment.tables import Conveyance
from rainharvest.core.defaults import CAUTIONS
from rainharvest.siteworks.base import base_of, vessel_of
from rainharvest.siteworks.overflow import OverflowPipe
from rainharvest.siteworks.treatment import (
    UV_DOSES,
    air_gap,
    chlorine_ct,
    chlorine_product,
    contact_minutes,
    contact_volume,
    treatment_of_uses,
    treatment_train,
    uv_dose,
    uv_logs,
)
from rainharvest.siteworks.treatment import samples_to_take as how_often
from rainharvest.siteworks.upkeep import (
    MONTHS,
    PART_NAMES,
    TASKS,
    Distances,
    check_list,
    price_parts,
    site_parts,
    siting_checks,
    upkeep_calendar,
    upkeep_tasks,
)


def test_air_gap_t4_of_the_united_kingdom():
    # Water Regulations guidance: 20 mm or twice the inlet's bore, whichever is greater (row T4)
    assert air_gap(8, rule="United Kingdom") == 20 and air_gap(15, rule="United Kingdom") == 30


def test_air_gap_t4a_building_services_handbook():
    # p. 19: a 20 mm inlet 40 mm; a bath with two 20 mm taps 80 mm
    assert air_gap(20, rule="United Kingdom") == 40 and air_gap(20, 20, rule="United Kingdom") == 80


def test_air_gap_t4c_plumbing_africa_2019():
    assert air_gap(10) == 25 and air_gap(20) == 40  # 25 mm or twice the diameter
    for wrong in ((), (0,), (-5,)):
        with pytest.raises(InputError, match="bore"):
            air_gap(*wrong)
    with pytest.raises(InputError, match="choose one of"):
        air_gap(20, rule="Mars")


# EPA 815-R-20-003, Tables B-1 and B-2. The first two of B-1 are also printed, with the way to read it, in a public
# instruction sheet ("19 degrees, pH 7.2, 1.1 mg/L: 92"; "0.4 degrees is out; pH 7.6, 0.82 mg/L, 1.5 log: 152").
EPA_TABLE_B_1 = [
    ((19, 7.2, 1.1), 92),
    ((0.5, 7.6, 0.82), 304),
    ((0.5, 6.0, 0.4), 137),
    ((5, 7.0, 1.0), 149),
    ((10, 7.5, 1.0), 134),
    ((25, 8.0, 2.0), 61),
    ((20, 9.0, 3.0), 146),
]


@pytest.mark.parametrize("water, ct", EPA_TABLE_B_1)
def test_chlorine_for_cysts_epa_table_b_1(water, ct):
    temperature, acidity, residual = water
    assert chlorine_ct("Giardia", temperature, acidity, residual) == ct


def test_a_log_and_a_half_is_half_of_three_as_the_instruction_sheet_says():
    assert chlorine_ct("Giardia", 0.5, 7.6, 0.82) / 2 == 152


@pytest.mark.parametrize("temperature, ct", [(0.5, 12), (5, 8), (10, 6), (15, 4), (20, 3), (25, 2)])
def test_chlorine_for_viruses_epa_table_b_2(temperature, ct):
    assert chlorine_ct("viruses", temperature, 7.5) == ct
    assert chlorine_ct("viruses", temperature + 0.4, 9.0) == ct
    assert chlorine_ct("viruses", temperature, 9.5) > ct


@given(st.floats(0.5, 30), st.floats(6, 9), st.floats(0.1, 2.7))
def test_colder_more_alkaline_and_stronger_water_never_asks_for_less(temperature, acidity, residual):
    ct = chlorine_ct("Giardia", temperature, acidity, residual)
    assert chlorine_ct("Giardia", max(temperature - 3, 0.5), acidity, residual) >= ct
    assert chlorine_ct("Giardia", temperature, min(acidity + 0.5, 9), residual) >= ct
    assert chlorine_ct("Giardia", temperature, acidity, residual + 0.3) >= ct


def test_thirty_minutes_with_half_a_milligram_left_world_health_organization():
    assert contact_minutes(chlorine_ct("viruses", 15, 7.5), 0.5) == 30
    assert contact_minutes(chlorine_ct("Giardia", 10, 7.5, 1.0), 1.0) == 134
    assert contact_volume(0.3, 30, 0.3) == pytest.approx(0.3 * 1800 / 0.3)


def test_forty_millilitres_a_thousand_litres_enhealth_2010():
    # enHealth 2010, from memory, not verified: 40 mL of liquid chlorine of 12.5 % in 1,000 L for 5 mg/L
    assert chlorine_product(1000, 5, 0.125) == pytest.approx(40)


# EPA Ultraviolet Disinfection Guidance Manual, as quoted on a public training page; mJ/cm2 for 0.5 to 4 log.
EPA_UV = {
    "Cryptosporidium": [1.6, 2.5, 3.9, 5.8, 8.5, 12, 15, 22],
    "Giardia": [1.5, 2.1, 3.0, 5.2, 7.7, 11, 15, 22],
    "viruses": [39, 58, 79, 100, 121, 143, 163, 186],
}


@pytest.mark.parametrize("organism", EPA_UV)
def test_ultraviolet_doses_of_the_epa_table(organism):
    steps = [0.5 * k for k in range(1, 9)]
    assert [uv_dose(organism, step) for step in steps] == EPA_UV[organism]
    assert [uv_logs(organism, dose) for dose in EPA_UV[organism]] == steps
    assert uv_logs(organism, UV_DOSES[organism][0] - 0.1) == 0 and uv_logs(organism, 1e6) == 4
    assert uv_dose(organism, 1.7) == EPA_UV[organism][3]  # the next higher step


def test_water_outside_the_tables_gets_plain_answers():
    for call, say in (
        (lambda: chlorine_ct("Cryptosporidium", 10, 7), "does not kill Cryptosporidium"),
        (lambda: chlorine_ct("Giardia", 0, 7), "colder than the table"),
        (lambda: chlorine_ct("Giardia", 10, 9.5), "outside the table"),
        (lambda: chlorine_ct("viruses", 10, 11), "outside the table"),
        (lambda: chlorine_ct("Giardia", 10, 7, 0), "no free chlorine"),
        (lambda: chlorine_ct("Giardia", 10, 7, 3.1), "above the table"),
        (lambda: contact_minutes(5, 0), "no free chlorine"),
        (lambda: contact_volume(1, 30, 0), "baffling"),
        (lambda: chlorine_product(10, 5, 12.5), "such as 0.05"),
        (lambda: uv_dose("worms", 1), "no dose"),
        (lambda: uv_dose("Giardia", 5), "5 logs"),
        (lambda: uv_logs("Giardia", -1), "zero or more"),
    ):
        with pytest.raises(InputError, match=say):
            call()


def test_trains_by_source_and_use():
    toilets = treatment_train("flushing", "rain only", 0.3).step.tolist()
    assert toilets[0].startswith("leaf screen") and not any("lamp" in step for step in toilets)
    drink = treatment_train("drinking", "combined", 0.3, "both")
    assert [s.split(",")[0] for s in drink.step] == [
        "leaf screen and inlet mesh",
        "first-flush diversion",
        "covered",
        "sediment filter",
        "sediment filter",
        "activated carbon",
        "ultraviolet lamp",
        "chlorine and contact tank",
    ]
    assert "40 mJ/cm2 at 0.30 L/s" in drink.sized_for.iloc[-2] and "1,800 L" in drink.sized_for.iloc[-1]
    reserve = treatment_train("drinking", "mains reserve", 0.3).step.tolist()
    assert "dosing of chlorine" in reserve and not any("first-flush" in step for step in reserve)
    uses = treatment_of_uses({"wc": "flushing", "kitchen": "drinking"}, "rain only", 0.3)
    assert uses.served.tolist() == [True, False] and uses.steps[1].startswith("from the mains")
    for wrong in ({"quality": "soup"}, {"arrangement": "river"}, {"disinfect": "prayer"}, {"flow": -1}):
        with pytest.raises(InputError):
            treatment_train(**(dict(quality="drinking", arrangement="combined", flow=0.3) | wrong))
    with pytest.raises(InputError, match="no use"):
        treatment_of_uses({}, "combined", 0.3)


def test_tests_follow_the_treatment():
    assert "E. coli in 100 mL, none to be found" not in how_often(["flushing"], "rain only").test.tolist()
    drunk = how_often(["drinking", "flushing"], "combined", "both")
    assert {"E. coli in 100 mL, none to be found", "free chlorine and pH at the furthest tap"} <= set(
        drunk.test
    )
    assert (drunk.rules.str.len() > 0).all() and (drunk.how_often.str.len() > 0).all()


@given(
    st.integers(1, 12),
    st.sets(st.sampled_from(["roof", "wet run", "pump", "lamp", "chlorine", "filters", "mains"])),
)
def test_the_calendar_holds_every_task_as_often_as_it_falls_due(month, parts):
    year = upkeep_calendar(parts, month)
    assert year.task.tolist() == [task.task for task in upkeep_tasks(parts)]
    for _, row in year.iterrows():
        assert sum(row[name] == "x" for name in MONTHS) == max(12 // row.every, 1)
        assert row[MONTHS[(month - 2) % 12]] == "x" and row.source


def test_every_caution_of_a_task_exists_and_unknown_months_do_not():
    assert all(task.mind in {"", *CAUTIONS} for task in TASKS)
    assert {
        "drinking",
        "backflow",
        "electricity",
        "weight",
        "roof work",
        "confined space",
        "mosquitoes",
    } <= set(CAUTIONS)
    with pytest.raises(InputError, match="13 is no month"):
        upkeep_calendar(set(), 13)


def test_parts_come_from_the_site_and_cost_what_the_user_says():
    tank = vessel_of(20_000, height=2.0, tanks=2)
    run = Conveyance(kind="wet", run=30, bore=100, outlet_level=3.0, inlet_level=2.2)
    parts = site_parts(
        tank,
        base_of(tank),
        overflow=OverflowPipe(100.0, 2, 9.0, "entry"),
        overflow_run=5.0,
        soakaway=(2.0, 1.0, 1.5),
        conveyance=run,
        roofs=2,
        flush_litres=100,
        motor_size=370.0,
        vessel_volume=80.0,
        mains_bore=20.0,
        disinfect="both",
    )
    found = {part.part: part for part in parts}
    assert (
        found["tank"].quantity == 2
        and found["overflow pipe"].quantity == 20
        and found["clean stone"].quantity == 3
    )
    assert found["pipe"].quantity == pytest.approx(30 + 3.5 + 2.7) and found["low-point valve"].quantity == 1
    assert "air gap of 40 mm" in found["float valve"].what_for and "0.37 kW" in found["pump"].what_for
    assert set(found) <= set(PART_NAMES) and all(part.quantity > 0 for part in parts)
    table = price_parts(parts, {"tank": 900.0, "tap": 15.0})
    assert table.set_index("part").cost["tank"] == 1800 and table.cost.notna().sum() == 1
    with pytest.raises(InputError, match="did you mean tank"):
        price_parts(parts, {"tnak": 1.0})
    with pytest.raises(InputError, match="a price of -1"):
        price_parts(parts, {"tank": -1.0})


def test_siting_says_what_fits_what_does_not_and_what_nobody_measured():
    tank = vessel_of(10_000, height=2.0)
    run = Conveyance(kind="dry", run=60, bore=100, outlet_level=2.5, inlet_level=1.5)
    table = siting_checks(tank, 0.1, run, 3.0, distances=Distances(soakaway_distance=3.0, opening=2.3))
    fits = dict(zip(table.check, table.fits, strict=True))
    assert (
        fits["inlet above the overflow"] == "no" and fits["soakaway clear of buildings and boundary"] == "no"
    )
    assert fits["way in for the tank"] == "yes" and fits["tank clear of the boundary"] == "measure it"
    lists = {
        (a, c): check_list(a, c)
        for a in ("mains reserve", "rain only", "combined")
        for c in ("dry", "wet", "none")
    }
    assert len(set(lists.values())) == 9 and all(len(lines) > 10 for lines in lists.values())
    with pytest.raises(InputError, match="choose one of"):
        check_list("river", "dry")
