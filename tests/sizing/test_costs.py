"""Costs over the years: published problems, an independent cash flow, and what must hold for any price."""

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from rainharvest import InputError, simulate
from rainharvest.sizing.costs import (
    days_of_supply,
    drawn_by_period,
    efficient,
    full_days,
    life_cycle,
    present_worth_factor,
    saved_bills,
)
from rainharvest.sizing.tables import Block, Costs, Part, real_rate


@pytest.fixture
def davis_chapter_1_problem_2():
    """L1: Davis, Water and Wastewater Engineering, chapter 1, problem 2, as quoted in a solution sheet."""
    return {
        "rate": 0.06,
        "life": 20,
        "plans": [
            (1_500_000, 300_000, 430_800),
            (2_874_000, 209_000, 459_613),
            (2_662_000, 258_000, 490_126),
        ],
    }


def test_annual_cost_of_a_life_is_that_of_davis(davis_chapter_1_problem_2):
    """The sheet rounds A/P to 0.0872: with that it is met to the unit, without it to what the rounding moves."""
    case = davis_chapter_1_problem_2
    spread = round(1 / present_worth_factor(case["rate"], case["life"]), 4)
    for capital, upkeep, printed in case["plans"]:
        done = life_cycle(Costs(fixed=capital, upkeep=upkeep, life=case["life"], rate=case["rate"]), 0.0, 0.0)
        assert round(capital * spread + upkeep) == printed
        assert float(done.annual) == pytest.approx(printed, abs=5e-5 * capital + 0.5)


def test_present_worth_of_a_life_is_that_of_the_solved_problem():
    """L2: a solved problem quoted on a question page: 3.5 %, 20 years, P/A 14.2124."""
    assert round(present_worth_factor(0.035, 20), 4) == 14.2124
    for capital, upkeep, printed in ((5_000_000, 150_000, 7_131_860.50), (0, 1_500_000, 21_318_604.95)):
        done = life_cycle(Costs(fixed=capital, upkeep=upkeep, life=20, rate=0.035), 0.0, 0.0)
        assert float(done.capital + done.running) == pytest.approx(printed, abs=0.005)


def cash_flow(costs, nominal, kilolitres, saved):
    """The same life told year by year, in plain Python: the second opinion."""
    rate = costs.real_rate
    flows = [0.0] * (costs.life + 1)
    income = 0.0
    for part in costs.parts:
        price, life = part.fixed + part.per_litre * nominal, part.life or costs.life
        year, bought = 0, 0
        while year < costs.life:
            flows[year] -= price
            bought, year = year, year + int(life)
        if costs.residual == "straight line" and part.life:
            flows[costs.life] += price * max(0.0, 1 - (costs.life - bought) / life)
    for year in range(1, costs.life + 1):
        energy = kilolitres * costs.pump_energy * costs.energy_price * (1 + costs.energy_growth) ** (year - 1)
        flows[year] -= sum(p.upkeep + p.per_kilolitre * kilolitres for p in costs.parts) + energy
        income += saved * (1 + costs.tariff_growth) ** (year - 1) / (1 + rate) ** year
    worth = sum(flow / (1 + rate) ** year for year, flow in enumerate(flows))
    return income + worth, -worth


prices = st.builds(
    Costs,
    fixed=st.floats(0, 5000),
    per_litre=st.floats(0.01, 0.5),
    upkeep=st.floats(0, 200),
    part=st.lists(
        st.builds(
            Part,
            name=st.text("abcdefgh", min_size=8, max_size=8),
            fixed=st.floats(0, 900),
            per_kilolitre=st.floats(0, 1),
            upkeep=st.floats(0, 50),
            life=st.integers(1, 40).map(float),
        ),
        max_size=3,
        unique_by=lambda p: p.name,
    ).map(tuple),
    tariff=st.floats(0, 6),
    tariff_growth=st.floats(0, 0.05),
    energy_price=st.floats(0, 1),
    energy_growth=st.floats(0, 0.05),
    life=st.integers(1, 40),
    rate=st.floats(0, 0.15),
    residual=st.sampled_from(["none", "straight line"]),
)


@given(prices, st.floats(500, 50_000), st.floats(1, 400))
def test_net_present_value_is_that_of_the_cash_flow(costs, nominal, kilolitres):
    done = life_cycle(costs, nominal, 1000 * kilolitres)
    value, spent = cash_flow(costs, nominal, kilolitres, kilolitres * costs.tariff)
    scale = spent + abs(value) + 1
    assert float(done.net_present_value) == pytest.approx(value, abs=1e-9 * scale)
    even = present_worth_factor(costs.real_rate, costs.life)
    assert float(done.annual) == pytest.approx(spent / even, abs=1e-9 * scale)
    assert float(done.per_kilolitre) == pytest.approx(spent / even / kilolitres, abs=1e-9 * scale)
    # Without a residual value, what is paid back within the life is worth zero or more at its end, and no else.
    if costs.residual == "none" and abs(value) > 1e-6 * scale:
        assert np.isfinite(done.payback) == (value > 0)


def test_payback_by_hand():
    costs = Costs(fixed=1000, tariff=2.0, life=10, rate=0.0)
    done = life_cycle(costs, 0.0, xr.DataArray([50e3, 200e3, 400e3], dims="capacity"))
    assert done.payback.values.tolist() == [10.0, 2.5, 1.25]
    assert np.isinf(life_cycle(costs, 0.0, 40e3).payback)
    # Paid back within the third year, below again when the pump is bought again at 4, for good in the fifth.
    pump = costs.model_copy(update={"part": (Part(name="pump", fixed=800, life=4),), "life": 7})
    assert float(life_cycle(pump, 0.0, 310e3).payback) == pytest.approx(4 + 120 / 620)
    assert float(life_cycle(pump, 0.0, 400e3).payback) == pytest.approx(2.25)
    assert float(life_cycle(pump, 0.0, 250e3).payback) == pytest.approx(5.2)


def test_real_and_nominal_are_the_same_money():
    """Fisher: discounting inflated payments at the nominal rate equals discounting today's at the real one."""
    nominal, inflation, years = 0.09, 0.04, 15
    real = real_rate(nominal, inflation)
    inflated = sum(100 * (1 + inflation) ** t / (1 + nominal) ** t for t in range(1, years + 1))
    assert 100 * present_worth_factor(real, years) == pytest.approx(inflated)
    stated = Costs(rate=nominal, rate_kind="nominal", inflation=inflation, fixed=500, life=years)
    assert float(life_cycle(stated, 0.0, 1e3).annual) == pytest.approx(
        500 / present_worth_factor(real, years)
    )
    assert life_cycle(stated, 0.0, 1e3).attrs["rate_kind"] == "nominal"


@given(st.floats(0, 0.2), st.integers(1, 60), st.floats(-0.1, 0.2))
def test_growing_payments_are_the_sum_of_the_years(rate, life, growth):
    by_year = sum((1 + growth) ** (t - 1) / (1 + rate) ** t for t in range(1, life + 1))
    assert present_worth_factor(rate, life, growth) == pytest.approx(by_year, rel=1e-6)


BLOCKS = (Block(up_to=10, price=1.0), Block(up_to=30, price=2.0), Block(price=5.0))


@pytest.fixture
def year_of_rain(rng):
    days = np.arange("2001-01-01", "2004-01-01", dtype="datetime64[D]").astype("datetime64[ns]")
    inflow = rng.exponential(900, days.size) * (rng.random(days.size) < 0.25)
    time = {"time": days}
    return xr.DataArray(inflow, time, ("time",)), xr.DataArray(np.full(days.size, 260.0), time, ("time",))


def test_one_price_saves_the_yield_and_blocks_save_the_dearest_litres(year_of_rain):
    inflow, demand = year_of_rain
    sizes = [0.0, 2000.0, 20_000.0]
    drawn = drawn_by_period(inflow, demand, sizes, 3)
    assert drawn.sizes["period"] == 12
    np.testing.assert_allclose(drawn.sum("period"), simulate(inflow, demand, sizes).delivered)
    flat = saved_bills(Costs(block=(Block(price=2.0),)), drawn, demand)
    np.testing.assert_allclose(flat, 2.0 * drawn.sum("period") / 1000 / 3)
    blocks = Costs(block=BLOCKS)
    saved = saved_bills(blocks, drawn, demand)
    assert float(saved[0]) == 0 and (np.diff(saved) > 0).all()
    # Other water in the building fills the cheap blocks: what the tank saves is dearer.
    assert (saved_bills(blocks.model_copy(update={"other_use": 300.0}), drawn, demand)[1:] > saved[1:]).all()
    # By hand, one quarter of the middle tank.
    used, left = float(demand[:90].sum()) / 1000, float(demand[:90].sum() - drawn[1, 0]) / 1000
    assert left > 10 and used < 30
    first = drawn.isel(period=[0])
    assert float(saved_bills(blocks, first, demand.isel(time=slice(0, 90)))[1] / 4) == pytest.approx(
        2.0 * (used - left)
    )


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=1, max_size=30))
def test_front_is_what_nothing_betters(pairs):
    cost, worth = np.array(pairs, dtype=float).T
    betters = [any(c <= a and w >= b and (c < a or w > b) for c, w in pairs) for a, b in pairs]
    assert efficient(cost, worth).tolist() == [not b for b in betters]


def test_days_without_rain_or_mains():
    assert full_days([100.0, 300.0, 100.0, 100.0], [400.0, 50.0]).values.tolist() == [
        2.0,
        pytest.approx(1 / 6),
    ]
    stored = [300.0, 100.0, 0.0, 400.0, 0.0]
    assert days_of_supply(stored, 100.0, [1, 3]).values.tolist() == [0.75, 0.5]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"rate_kind": "nominal"}, "inflation"),
        ({"inflation": 0.03}, "above inflation"),
        ({"rate_kind": "nominal", "rate": 0.02, "inflation": 0.05}, "no lower than inflation"),
        ({"tariff": 1.0, "block": [{"price": 1.0}]}, "twice"),
        ({"block": [{"price": 1.0}, {"price": 2.0}]}, "reaches up to"),
        ({"block": [{"up_to": 9, "price": 1}, {"up_to": 5, "price": 2}, {"price": 3}]}, "rise"),
        ({"part": [{"name": "pump"}, {"name": "pump"}]}, "two parts"),
    ],
)
def test_prices_that_cannot_be_say_what_is_wrong(given, words):
    with pytest.raises(ValidationError, match=words):
        Costs(**given)


def test_an_interruption_lasts_whole_days():
    with pytest.raises(InputError, match="whole days"):
        days_of_supply([1.0, 1.0], 1.0, [0.5])
