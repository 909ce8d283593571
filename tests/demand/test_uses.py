"""Uses: the published quantities, and what a day of use adds up to."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from rainharvest import InputError
from rainharvest.demand.tables import KINDS, Calendar, Use, Visit
from rainharvest.demand.uses import daily_demand, defaults_used, essential_demand

WEEK = pd.date_range("2024-03-04", periods=7)  # Monday to Sunday

# (low, value) of litres each; what nobody here has read says "from memory" wherever it is printed.
PUBLISHED = {
    # Essential environmental health standards in health care (WHO 2008): from memory, not verified
    **{"outpatient": (None, 5), "delivery_or_theatre": (None, 100), "dry_feeding": (0.5, 5)},
    **{"wet_feeding": (None, 15), "isolation": (100, 400), "haemorrhagic_isolation": (300, 400)},
    # Water, sanitation and hygiene standards for schools (WHO, UNICEF 2009): from memory, not verified
    **{
        "day_pupil": (None, 5),
        "school_staff": (None, 5),
        "boarder": (None, 20),
        "resident_staff": (None, 20),
    },
    **{"school_flush": (10, 20), "pour_flush": (1.5, 3), "anal_washing": (1, 2)},
    # United States Field Operations Guide, read; it agrees with the WHO where both give a figure
    **{
        "inpatient": (40, 60),
        "therapeutic_feeding": (None, 30),
        "cattle": (20, 40),
        "small_stock": (None, 5),
    },
    # MSF, Management of a cholera epidemic, and Sphere 2011, read
    **{"cholera": (None, 60), "drinking": (2.5, 3), "hand_washing": (2, 6), "cooking": (3, 6)},
}


@pytest.mark.parametrize("kind", PUBLISHED)
def test_quantities_against_their_source(kind):
    default = KINDS[kind].litres
    assert (default.low, default.value) == PUBLISHED[kind]
    assert default.high == (None if default.low is None else default.value)
    assert ("from memory" in default.source) == (default.kind == "from memory")


def test_survival_range_of_sphere_2011():
    parts = [KINDS[kind].litres for kind in ("drinking", "hand_washing", "cooking")]
    assert sum(p.low for p in parts) == 7.5
    assert sum(p.value for p in parts) == 15


def test_figures_of_british_and_american_practice():
    # UK Water Fittings Regulations: 7.5 L an hour a bowl; here over ten hours. 66 and 15 US gallons a wash.
    assert KINDS["urinal"].litres.value == 7.5 * 10
    wash = KINDS["vehicle_washing"].litres
    assert (wash.value, wash.low) == (pytest.approx(66 * 3.785, abs=1), pytest.approx(15 * 3.785, abs=1))
    # laundry of the UK method: 8.17 L/kg at 2.1 kg a day
    assert KINDS["laundry"].litres.value == pytest.approx(17.157)


def test_every_figure_carries_a_source():
    for name, kind in KINDS.items():
        if kind.litres is not None:
            assert len(kind.litres.source) > 20, name
            assert kind.litres.unit == "L/day"
            assert kind.litres.low is None or 0 < kind.litres.low <= kind.litres.value


def test_flushing_by_the_uk_method():
    # 1.46 full and 2.96 part flushes are 4.42 flushes; about a third of them are full.
    assert KINDS["dual_flush"].litres.value == pytest.approx(1.46 * 6 + 2.96 * 4)
    assert KINDS["dual_flush"].litres.value == pytest.approx((0.33 * 6 + 0.67 * 4) * 4.42, abs=0.05)
    assert KINDS["single_flush"].litres.value == pytest.approx(4.42 * 6)


def test_cholera_centre_and_oral_rehydration_point():
    # MSF, Management of a cholera epidemic, 7.4: 50 patients, 3,000 L a day, three days' reserve 9,000 L;
    # 20 patients, 200 L a day, 600 L.
    uses = [
        Use(name="ward", kind="cholera", people=50),
        Use(name="drinks", kind="oral_rehydration", people=20),
    ]
    three_days = daily_demand(uses, Calendar(), WEEK[:3]).sum("time")
    assert three_days.values.tolist() == [9000, 600]


def test_a_school_week_by_hand():
    uses = [
        Use(name="pupils", kind="day_pupil", people=200),
        Use(name="boarders", kind="boarder", people=30),
        Use(name="staff", kind="school_staff", people=15),
        Use(name="laundry", kind="laundry", people=30, litres=10, days=["sat"]),
        Use(name="caretaker", kind="cleaning", units=100, litres=0.5, days="closed"),
    ]
    calendar = Calendar(holidays=["2024-03-08"])
    demand = daily_demand(uses, calendar, WEEK)
    assert demand.sel(use="pupils").values.tolist() == [1000, 1000, 1000, 1000, 0, 0, 0]
    assert demand.sel(use="boarders").values.tolist() == [600, 600, 600, 600, 0, 600, 600]
    assert demand.sel(use="staff").values.tolist() == [75, 75, 75, 75, 0, 0, 0]
    assert demand.sel(use="laundry").values.tolist() == [0, 0, 0, 0, 0, 300, 0]
    assert demand.sel(use="caretaker").values.tolist() == [0, 0, 0, 0, 50, 50, 50]
    assert essential_demand(demand).values.tolist() == [1675, 1675, 1675, 1675, 0, 600, 600]
    assert demand.attrs["units"] == "L/day"


def test_visitors_season_and_growth_reach_the_right_uses():
    calendar = Calendar(
        growth=0.1, seasonal=[2.0] + [1.0] * 11, visits=[Visit(people=10, days=["2024-01-06"])]
    )
    uses = [
        Use(name="clinic", kind="outpatient", people=40),
        Use(name="wc", kind="single_flush", people=8, litres=30, days="working"),
        Use(name="cows", kind="cattle", units=2),
    ]
    demand = daily_demand(uses, calendar, pd.date_range("2023-12-29", "2024-01-06"))
    friday, monday, saturday = "2023-12-29", "2024-01-01", "2024-01-06"
    assert demand.sel(time=friday).values.tolist() == [200, 240, 80]
    assert demand.sel(time=monday).values == pytest.approx([400, 264, 80])
    assert demand.sel(time=saturday).values.tolist() == [0, 300, 80]  # closed, but visitors are there


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.1, 1e5), st.floats(0.01, 1e4)), min_size=1, max_size=8),
    st.floats(-0.2, 0.2),
)
def test_the_sum_by_use_is_the_total(parts, growth):
    uses = [Use(name=f"u{i}", kind="other", units=n, litres=q) for i, (n, q) in enumerate(parts)]
    demand = daily_demand(uses, Calendar(growth=growth), pd.date_range("1999-06-01", periods=900))
    total = demand.sum("use")
    by_hand = np.sum([n * q for n, q in parts])
    np.testing.assert_allclose(total, by_hand, rtol=1e-12)  # things do not grow with enrolment
    np.testing.assert_allclose(demand.sum("time").sum(), total.sum("time"), rtol=1e-12)


@pytest.mark.parametrize(
    ("given", "key", "words"),
    [
        ({"kind": "loo"}, "kind", "dual_flush"),
        ({"people": -4}, "people", "greater than 0"),
        ({"people": None}, "people", "counted by people"),
        ({"units": 4}, "units", "counted by people"),
        ({"kind": "cattle"}, "people", "counted by units"),
        ({"litres": -3}, "litres", "greater than 0"),
        ({"litres": float("inf")}, "litres", "finite"),
        ({"quality": "holy"}, "quality", "drinking"),
        ({"days": "sometimes"}, "days", "working"),
        ({"days": ["sunny"]}, "days", "day of the week"),
        ({"days": []}, "days", "empty"),
        ({"colour": "blue"}, "colour", "not permitted"),
    ],
)
def test_a_bad_use_names_its_key(given, key, words):
    with pytest.raises(ValidationError) as caught:
        Use(**({"name": "wc", "kind": "dual_flush", "people": 3} | given))
    first = caught.value.errors()[0]
    assert first["loc"][0] == key
    assert words in str(caught.value)


def test_a_kind_without_a_sourced_figure_asks_for_one():
    with pytest.raises(ValidationError, match="one m2 of pool draws"):
        Use(name="pool", kind="pool", units=2)
    assert {name for name, kind in KINDS.items() if kind.litres is None} == {"pool", "garden", "other"}
    vans = Use(name="vans", kind="vehicle_washing", units=2, litres=150, source="metered, invented")
    assert vans.default is None
    assert vans.origin == "metered, invented"


def test_no_use_two_of_one_name_and_an_empty_calendar():
    with pytest.raises(InputError, match="there is no use"):
        daily_demand([], Calendar(), WEEK)
    pupils = Use(name="pupils", kind="day_pupil", people=3)
    with pytest.raises(InputError, match='two uses bear the name "pupils"'):
        daily_demand([pupils, pupils], Calendar(), WEEK)
    with pytest.raises(InputError, match="the calendar has no day for it"):
        daily_demand([pupils], Calendar(holidays=["2024-03-01 to 2024-03-31"]), WEEK)
    with pytest.raises(InputError, match="which uses are essential"):
        essential_demand(daily_demand([pupils], Calendar(), WEEK).sum("use"))


def test_a_use_goes_through_a_file_and_back():
    use = Use(name="wc", kind="dual_flush", people=3, days=["mon", "Friday"])
    again = Use(**use.model_dump())
    assert again == use
    assert defaults_used([use]) == {"wc": KINDS["dual_flush"].litres}
