"""Published storage-yield examples, each beside its source."""

import numpy as np
import pytest

from rainharvest import simulate
from rainharvest.sizing.smallest import sequent_peak, storage_deficit


@pytest.fixture
def fair_geyer_okun_example_2_1():
    """Fair, Geyer and Okun, Water and Wastewater Engineering, 3rd ed. 2010, Example 2.1, Table 2.2, p. 36."""
    return {
        "inflow": np.array([94, 122, 45, 5, 5, 2, 0, 2, 16, 7, 72, 92.0]),
        "demand": np.array([27, 27, 30, 30, 33, 30, 27, 27, 30, 36, 33, 30.0]),
        "storage": 176,
        "stored": [67, 162, 176, 151, 123, 95, 68, 43, 29, 0, 39, 101]
        + [168, 176, 176, 151, 123, 95, 68, 43, 29, 0, 39, 101],
        "waste": {3: 1, 14: 87, 15: 15},
    }


def test_sequent_peak_of_fair_geyer_okun(fair_geyer_okun_example_2_1):
    case = fair_geyer_okun_example_2_1
    assert sequent_peak(case["inflow"], case["demand"]) == case["storage"]


def test_balance_repeats_the_storage_and_waste_columns_of_fair_geyer_okun(fair_geyer_okun_example_2_1):
    case = fair_geyer_okun_example_2_1
    inflow, demand = np.tile(case["inflow"], 2), np.tile(case["demand"], 2)
    done = simulate(inflow, demand, 176.0, theta=1.0, trace=True).isel(capacity=0)
    np.testing.assert_array_equal(done.stored, case["stored"])
    waste = dict(enumerate(done.spilled_daily.values, start=1))
    assert {month: v for month, v in waste.items() if v > 0} == case["waste"]
    assert float(done.days_failed) == 0
    assert float(simulate(inflow, demand, 175.0, theta=1.0).days_failed[0]) > 0


def test_sequent_peak_of_nine_periods_needs_two_cycles():
    """Loucks and van Beek, Water Resource Systems Planning and Management: from memory, not verified."""
    inflow = [1, 3, 3, 5, 8, 6, 7, 2, 1]
    one = storage_deficit(inflow, 3.5)
    np.testing.assert_array_equal(one, [2.5, 3, 3.5, 2, 0, 0, 0, 1.5, 4])
    assert sequent_peak(inflow, 3.5) == 7.5


@pytest.fixture
def davis_example_2_3():
    """Davis, Water and Wastewater Engineering 2010, Example 2-3, p. 2-16; June 1995 to January 1997."""
    flow = [
        3.74,
        1.60,
        1.13,
        1.13,
        1.42,
        1.98,
        2.12,
        1.78,
        1.95,
        7.25,
        24.7,
        6.26,
        8.92,
        3.57,
        1.98,
        1.95,
        3.09,
        3.94,
    ]
    flow += [12.7, 13.8]
    # The example counts 28 days in February of the leap year 1996.
    days = np.array([30, 31, 31, 30, 31, 30, 31, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31, 31])
    deficit = [
        0.163,
        0.619,
        1.137,
        1.638,
        2.118,
        2.509,
        2.895,
        3.326,
        3.695,
        3.394,
        0.841,
        0.672,
        0.164,
        0.355,
        0.760,
    ]
    deficit += [1.155, 1.411, 1.548, 0.517, 0]
    return 0.05 * np.array(flow) * days * 86400 / 1e6, 0.25 * days * 86400 / 1e6, np.array(deficit)


def test_deficit_column_of_davis(davis_example_2_3):
    inflow, demand, printed = davis_example_2_3
    got = storage_deficit(inflow, demand)
    np.testing.assert_allclose(got, printed, atol=0.0011)
    assert got.max() == pytest.approx(3.695, abs=0.0011)


def test_balance_drains_a_full_store_by_the_deficit_of_davis(davis_example_2_3):
    inflow, demand, printed = davis_example_2_3
    size = storage_deficit(inflow, demand).max() * (1 + 1e-9)  # exactly empty would be decided by rounding
    done = simulate(inflow, demand, size, start=size, theta=1.0, trace=True).isel(capacity=0)
    np.testing.assert_allclose(size - done.stored, printed, atol=0.0011)
    assert float(done.days_failed) == 0
    assert float(simulate(inflow, demand, 0.99 * size, start=0.99 * size, theta=1.0).days_failed[0]) > 0
