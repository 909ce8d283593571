"""The drought stage on real rain: south-west England 1914-62 (the data of Coles 2001) and Tunis 1979-2002."""

import numpy as np
import pytest
from real_records import aquacrop, texmex

from rainharvest import simulate
from rainharvest.drought.dry_years import driest_runs, longest_in_years
from rainharvest.drought.outlook import as_flows, reliability, score_record
from rainharvest.drought.plan import find_plan, held_out_failures
from rainharvest.rainfall.describe import describe_rain
from rainharvest.rainfall.flags import as_record


@pytest.fixture(scope="module", params=["england", "tunis"])
def rain(request):
    return as_record(texmex() if request.param == "england" else aquacrop("tunis"))


@pytest.fixture(scope="module")
def start(rain):
    return int(describe_rain(rain).suggested_start)


def test_the_longest_spell_of_the_record_is_no_surprise(rain, start, no_longer_run):
    described = describe_rain(rain, year_start_month=start)
    whole = described.known_share.values == 1
    yearly = described.longest_dry_spell.values[whole]
    found = longest_in_years(yearly, years=[whole.sum()])
    assert found.longest_low.item() * 0.8 < yearly.max() < found.longest_high.item() * 1.2
    # real dry days follow one another: longer than independent days of the same share would have it
    share = float((rain < 1.0).mean())
    assert yearly.mean() > (1 - no_longer_run(365, share)).sum()


RECORDS = (
    "brussels cambridge champion cordoba lincolnshire norfolk north_yorks northumberland suffolk".split()
)


def test_eight_of_ten_hold_years_kept_aside(rng):
    """Of each record all years but ten, at random, and the longest of those ten, 40 times.

    Gumbel's band alone held 0.68. The records are few, and most share their weather: no sampling error is known.
    """
    held = []
    for record in (texmex(), *map(aquacrop, RECORDS)):
        described = describe_rain(as_record(record))
        yearly = described.longest_dry_spell.values[described.known_share.values == 1]
        for _ in range(40):
            years = rng.permutation(yearly)
            found = longest_in_years(years[:-10], years=[10])
            held.append(found.longest_low.item() - 0.5 < years[-10:].max() < found.longest_high.item() + 0.5)
    assert 0.74 < np.mean(held) < 0.86


def test_the_driest_year_lies_within_what_its_rank_allows(rain, start):
    annual = describe_rain(rain, year_start_month=start).annual_total.dropna("year")
    found = driest_runs(annual)
    n = annual.sizes["year"]
    assert float(found.driest_run_total[0]) == pytest.approx(float(annual.min()))
    assert found.run_return_period_low[0] < n + 1 < found.run_return_period_high[0]  # Weibull's estimate
    assert (found.driest_run_total.diff("span") > 0).all()  # a longer run is less extreme


def test_outlook_and_plan_hold_on_years_not_seen(rain, start):
    inflow = rain * 100
    demand = 0.75 * float(inflow.mean())
    size = 60 * demand
    flows = as_flows(inflow, demand, 0.4 * demand)
    stored = simulate(inflow, demand, size, trace=True, year_start_month=start).stored.values[0]
    scored = [score_record(flows, size, month, 1, stored) for month in (2, 5, 8, 11)]
    said = np.concatenate([s.said_dry.values.ravel() for s in scored])
    went = np.concatenate([s.went_dry.values.ravel() for s in scored])
    outcomes = sum(s.sizes["year"] for s in scored)  # leads of one year hang together
    assert abs(said.mean() - went.mean()) < 4 * np.sqrt(said.mean() * (1 - said.mean()) / outcomes)
    inside = np.mean([1 - (s.below_band | s.above_band).mean() for s in scored])
    assert inside > 0.8 - 4 * np.sqrt(0.16 / outcomes)
    table = reliability(scored[0].said_dry, scored[0].went_dry)
    assert int(table.forecasts.sum()) == scored[0].said_dry.size
    plan = find_plan(flows, size, wanted=0.1, year_start_month=start)
    under, without = held_out_failures(flows, size, wanted=0.1, year_start_month=start)
    assert plan.failing_years <= plan.failing_years_without and under < without
