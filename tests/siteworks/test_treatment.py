"""Backflow, disinfection, treatment: published tables, and trains that fit the use."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rainharvest import InputError
from rainharvest.siteworks.treatment import (
    UV_DOSES,
    air_gap,
    chlorine_ct,
    contact_minutes,
    contact_volume,
    samples_to_take,
    treatment_of_uses,
    treatment_train,
    uv_logs,
)


def test_air_gaps_of_published_rows():
    # Water Regulations guidance, 20 mm or twice the inlet's bore (row T4); Building Services Handbook, p. 19, a bath
    # with two 20 mm taps (row T4a); Plumbing Africa 2019, 25 mm or twice the diameter (row T4c)
    for rule, rows in {
        "United Kingdom": {(8,): 20, (15,): 30, (20,): 40, (20, 20): 80},
        "elsewhere": {(10,): 25, (20,): 40},
    }.items():
        assert {bores: air_gap(*bores, rule=rule) for bores in rows} == rows


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


# EPA Ultraviolet Disinfection Guidance Manual, as quoted on a public training page; mJ/cm2 for 0.5 to 4 log.
EPA_UV = {
    "Cryptosporidium": [1.6, 2.5, 3.9, 5.8, 8.5, 12, 15, 22],
    "Giardia": [1.5, 2.1, 3.0, 5.2, 7.7, 11, 15, 22],
    "viruses": [39, 58, 79, 100, 121, 143, 163, 186],
}


@pytest.mark.parametrize("organism", EPA_UV)
def test_ultraviolet_doses_of_the_epa_table(organism):
    steps = [0.5 * k for k in range(1, 9)]
    assert [uv_logs(organism, dose) for dose in EPA_UV[organism]] == steps
    assert uv_logs(organism, UV_DOSES[organism][0] - 0.1) == 0 and uv_logs(organism, 1e6) == 4


def test_water_outside_the_tables_gets_plain_answers():
    for call, say in (
        (lambda: chlorine_ct("Cryptosporidium", 10, 7), "does not kill Cryptosporidium"),
        (lambda: chlorine_ct("Giardia", 0, 7), "colder than the table"),
        (lambda: chlorine_ct("Giardia", 10, 9.5), "outside the table"),
        (lambda: chlorine_ct("viruses", 10, 11), "outside the table"),
        (lambda: chlorine_ct("Giardia", 10, 7, 0), "no free chlorine"),
        (lambda: chlorine_ct("Giardia", 10, 7, 3.1), "above the table"),
        (lambda: contact_minutes(5, 0), "no free chlorine"),
        (lambda: uv_logs("worms", 1), "no dose"),
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
    assert uses.served.tolist() == [True, False] and uses.steps[1] == "not from this tank"
    for wrong in ({"quality": "soup"}, {"arrangement": "river"}, {"disinfect": "prayer"}, {"flow": -1}):
        with pytest.raises(InputError):
            treatment_train(**(dict(quality="drinking", arrangement="combined", flow=0.3) | wrong))


def test_tests_follow_the_treatment():
    assert (
        "E. coli in 100 mL, none to be found" not in samples_to_take(["flushing"], "rain only").test.tolist()
    )
    drunk = samples_to_take(["drinking", "flushing"], "combined", "both")
    assert {"E. coli in 100 mL, none to be found", "free chlorine and pH at the furthest tap"} <= set(
        drunk.test
    )
    assert (drunk.rules.str.len() > 0).all() and (drunk.how_often.str.len() > 0).all()
