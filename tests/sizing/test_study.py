"""The tank-size decision of a study: its group of results, its words, and what its sliders give."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from places import CLINIC, SCHOOL, whole

from rainharvest import InputError, simulate
from rainharvest.catchment.facts import study_water
from rainharvest.catchment.tables import scaled_roofs
from rainharvest.core.blocks import Paragraph, Table
from rainharvest.core.reader import Reader, number, reading
from rainharvest.siteworks.facts import bill_of, siteworks_of
from rainharvest.sizing.costs import life_cycle
from rainharvest.sizing.facts_certainty import case_of, sizing_defaults
from rainharvest.sizing.facts_costs import savings
from rainharvest.sizing.facts_printed import (
    certainty,
    changes_needed,
    curve_at,
    decision,
    headline_facts,
    maps_at,
    option_for,
    step_at,
    tank_facts,
)
from rainharvest.sizing.figures import front_figure, money_figure
from rainharvest.sizing.grid import moved, priced
from rainharvest.sizing.panel import keys_of, prepare_sizing
from rainharvest.sizing.section import (
    SAY,
    confidence,
    costs_section,
    headline,
    recommendation,
    sizes_section,
)
from rainharvest.sizing.shortcuts import longest_whole_days
from rainharvest.sizing.smallest import merge_dry_days, run_versions
from rainharvest.sizing.tables import Costs
from rainharvest.sizing.trade_off import AREAS, DEMANDS, scaled_catchment
from rainharvest.sizing.uncertainty import draw_flows, record_inputs
from rainharvest.study.file import read_study
from rainharvest.study.run import study_results


@pytest.fixture(scope="module")
def school():
    return study_results(SCHOOL, last="costs")


@pytest.fixture(scope="module")
def group(school):
    return school.groups["sizing"]


def test_the_ranges_the_blocks_and_the_length_asked_for_are_listed_where_the_study_does_not_give_them(school):
    ranges = {"losses": (0.4, 2.0), "demand": (0.9, 1.1)}
    own = school.study.sizing.model_copy(
        update={"block_years": 3, "ranges": school.study.sizing.ranges.model_copy(update=ranges)}
    )
    given = replace(school, study=school.study.model_copy(update={"sizing": own}))
    length = "Length of record that is asked for"
    listed = [name for name in sizing_defaults(school) if name != length]
    assert "Years in a row that are drawn together" in listed
    assert len(listed) == 3 and all(name.startswith("How far the ") for name in listed[:2])
    assert [*sizing_defaults(given)] == [length] and sizing_defaults(given)[length].value == 30
    assert not sizing_defaults(replace(school, groups={}))


@pytest.fixture(scope="module")
def grid():
    return prepare_sizing(SCHOOL)[1]


def size_said(group):
    return SAY.size(decision(group))


def changed(tmp_path, *edits):
    """Return a study file like the demo's, its paths made whole, with some of its text replaced."""
    text = whole()
    quicker = (("members = 20", "members = 2"), ("[sizing]\n", "[sizing]\ndraws = 20\n"))
    for old, new in (*edits, *quicker):
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "study.toml"
    path.write_text(text)
    return path


def of_record(tmp_path, rain, confirmed=False):
    """Return the demo's decision on another record, a Series of invented rain without gaps."""
    rain.rename("rain_mm").rename_axis("date").to_csv(tmp_path / "rain.csv")
    path = changed(tmp_path)
    text = re.sub(r'file = ".*winter_rain.csv"\nneighbours = .*', 'file = "rain.csv"', path.read_text())
    path.write_text(('confirmed = ["rain.break"]\n' if confirmed else "") + text)
    return study_results(path, last="costs")


def test_a_short_record_without_gaps_claims_neither_years_nor_gaps(tmp_path, rng):
    days = pd.date_range("2010-01-01", "2011-02-28")
    rain = pd.Series(np.where(rng.random(days.size) < 0.4, rng.gamma(0.7, 12, days.size), 0.0).round(1), days)
    results = of_record(tmp_path, rain)
    group = results.groups["sizing"]
    said = " ".join([*recommendation(group), SAY.band_caption(20, certainty(group))])
    assert "Other years are not in this" in said and "With roof, losses and demand all uncertain" in said
    assert "years to come" not in said and "gaps" not in said and "years," not in said
    assert "every one of its days had a reading" in confidence(results.done) and "0.0 %" not in said


def test_days_without_a_reading_are_those_of_the_record_used(tmp_path, rng):
    days = pd.date_range("1995-01-01", "2010-12-31")
    rain = pd.Series(np.where(rng.random(days.size) < 0.4, rng.gamma(0.7, 12, days.size), 0.0).round(1), days)
    outside = of_record(
        tmp_path, rain.drop(rain["1999":"2004-05"].index)
    )  # longer than any gap that is filled
    assert (
        outside.done.attrs["years_mostly_filled"] == ""
    )  # five months of 2004 are not used, and so not filled
    assert outside.done.sizes["time"] == rain["2004-06":].size and outside.done.attrs["days_missing"] > 1800
    assert "every one of its days had a reading" in confidence(outside.done)
    assert "nothing was filled" in SAY.spread(headline_facts(outside.done))
    refused = rain["2004":].copy()
    refused[4::9] = -1.0  # a reading that a finding takes out is no reading
    results = of_record(tmp_path, refused)
    share = refused[4::9].size / refused.size
    assert f"{100 * share:.1f} % of its days had no reading of their own" in confidence(results.done)
    assert headline_facts(results.done).filled


def test_the_first_filling_is_told_from_a_drought(tmp_path, rng):
    days = pd.date_range("2004-01-01", "2007-12-31")
    rain = pd.Series(np.where(rng.random(days.size) < 0.4, rng.gamma(0.7, 12, days.size), 0.0).round(1), days)
    rain[:60] = 0.0
    results = of_record(tmp_path, rain)
    asked, came = results.flows.demand.sum("use").values, results.flows.water.inflow.isel(member=0).values

    def longest(store):
        """Count the days of demand of the longest failure, day after day."""
        size, run, most = float(results.done.described), 0, 0
        store *= size
        for brought, wanted in zip(came, asked, strict=True):
            drawn = min(store, wanted)
            run = run + 1 if drawn < wanted * (1 - 1e-9) else 0 if wanted else run
            most, store = max(most, run), min(size, store - drawn + brought)
        return most

    tank = tank_facts(results.done)
    assert (tank.longest, tank.longest_from_full) == (longest(0.0), longest(1.0)) and longest(0.0) > 25
    assert f"days, while it first fills ({longest(1.0)} days had it begun full)" in headline(results.done)
    never = decision(results.groups["sizing"]).never * results.done.attrs["usable_share"]
    full = simulate(came, asked, never, start=never)
    assert float(full.days_failed[0]) == 0 and "Once it has filled," in SAY.why(
        decision(results.groups["sizing"])
    )


def test_a_break_after_which_no_tank_reaches_the_target_is_told():
    facts = {"break_year": 1999, "years_since_break": 18, "size_on_whole": 37e3, "size_since_break": np.nan}
    facts |= {"recommended": 37e3, "reached_since_break": 0.84}
    said = SAY.since_break(facts | {"decisive_year": 1999})
    assert (
        "the 18 years since for more than any tank. The tank decided on supplies 84 % in the years since"
        in said
    )
    assert "Reckon with that" in said and "larger" not in said
    larger = SAY.since_break(facts | {"decisive_year": 1999, "size_since_break": 45e3})
    assert "The larger is recommended" in larger
    wetter = SAY.since_break(facts | {"decisive_year": 0, "size_on_whole": np.nan, "size_since_break": 20e3})
    assert "The whole record decides until the change is explained" in wetter
    neither = SAY.since_break(facts | {"decisive_year": 1999, "size_on_whole": np.nan})
    assert "no tank is enough on the whole record, nor in the 18 years since. The tank decided on" in neither
    assert "The study confirms" in SAY.since_break(facts | {"decisive_year": -1})


def test_after_a_proven_break_the_band_is_of_the_years_since(tmp_path, rng):
    days = pd.date_range("1981-01-01", "2016-12-31")
    rain = np.where(rng.random(days.size) < 0.3, rng.gamma(0.7, 10, days.size), 0.0)
    rain = pd.Series(np.where(days.year < 1999, rain, 0.65 * rain).round(1), days)
    results = of_record(tmp_path, rain)
    done, group = results.done, results.groups["sizing"]
    assert float(done.recommended) == float(done.size_since_break)
    # The roofs of the part are dry on its first morning, those of the whole need not be.
    assert float(group.size_on_record) == pytest.approx(float(done.recommended), rel=1e-3)
    assert float(group.size_for_target.sel(target=0.9)) == float(done.recommended)
    assert "from 1999 on" in recommendation(group)[0] and "from 1999 on" in recommendation(group)[-1]
    later = results.flows.water.inflow.sel(time=slice("1999", None)).isel(member=0)
    asked = results.flows.demand.sum("use").sel(time=slice("1999", None))
    own = simulate(later, asked, group.capacity.values).volume_reliability
    np.testing.assert_allclose(group.reliability_on_record, own, atol=1e-4)
    reached = simulate(later, asked, float(done.described)).volume_reliability
    assert float(done.reached_since_break) == pytest.approx(reached.item(), abs=1e-4)
    assert "supplies 90 % of the water asked for in the years from 1999 on" in headline(done)
    whole = of_record(tmp_path, rain, confirmed=True).groups["sizing"]
    assert whole.attrs["drawn_since"] == 0 and float(whole.size_on_record) == float(done.size_on_whole)


def test_sizes_agree_with_each_other(school, group):
    own, sure = float(group.size_on_record), float(group.sure_size)
    assert own == pytest.approx(float(school.done.recommended), abs=1.0)
    at = float(np.interp(np.log(sure), np.log(group.capacity), group.draws_reaching))
    assert at == pytest.approx(0.9, abs=0.06)
    ladder = group.size_for_target.values
    assert (np.diff(ladder) > 0).all() and float(group.no_failure_size) > ladder[-1]
    assert (group.one_less < group.target).all() and (group.one_less > group.target - 1e-4).all()
    assert ladder[1] == float(school.done.recommended)  # one size for the target, wherever it is printed
    assert (group.reliability_low <= group.reliability_high + 1e-12).all()


def test_what_one_more_usable_litre_brings(school, group):
    k = int(np.searchsorted(group.capacity, float(group.size_on_record)))
    usable = group.capacity.values[k - 1 : k + 1]
    done = simulate(school.flows.water.inflow, school.flows.demand.sum("use"), usable)
    more = np.diff(done.delivered.median("member"))[0] / (school.flows.demand.sizes["time"] / 365.25)
    facts = decision(group)
    assert facts.gain == pytest.approx(more / np.diff(usable)[0], rel=1e-3)
    assert f"one more usable litre of tank brings {facts.gain:.2g} L a year" in SAY.why(facts)


def test_a_tank_that_meets_no_day_fails_throughout_the_record(school):
    table = next(block for block in sizes_section(school).blocks if isinstance(block, Table))
    assert table.rows[0][3] == "0 %" and table.rows[0][-1] == "the whole record"
    assert table.rows[-1][-1].isdigit()


def test_maps_hold_the_study_itself(school, group):
    done = school.done.volume_reliability.isel(member=0)
    own = sum(roof.area for roof in school.study.roof)
    np.testing.assert_allclose(group.reliability_by_area.sel(area=own), done, atol=1e-12)
    np.testing.assert_allclose(group.reliability_by_demand.sel(demand_factor=1), done, atol=1e-12)
    assert (group.reliability_by_area.diff("area") > -1e-12).all()
    assert (group.reliability_by_demand.diff("demand_factor") < 1e-12).all()


def test_tanks_on_offer_are_simulated_and_priced(school, group):
    place = option_for(group, float(group.size_on_record))
    one = group.isel(option=place)
    size = float(one.option_capacity)
    assert size >= float(group.size_on_record) > float(group.option_capacity[place - 1])
    flows = school.flows
    done = simulate(flows.water.inflow, flows.demand.sum("use"), size)
    assert float(one.option_reliability) == pytest.approx(float(done.volume_reliability.median()))
    paid = bill_of(school, siteworks_of(school))
    costs = school.study.costs
    money = life_cycle(
        costs.model_copy(update={"fixed": costs.fixed + paid.beside_costs}),
        size / school.study.tank.usable_share,
        float(one.option_mains_saved),
        tank_price=float(one.option_price),
    )
    for name in ("capital", "annual", "net_present_value", "payback"):
        assert float(one[f"option_{name}"]) == pytest.approx(float(money[name]))
    assert float(money.capital) == pytest.approx(900 + 420 + float(one.option_price) + paid.beside_costs)


def test_the_whole_on_the_first_page_is_that_of_the_tables_of_costs(school, group):
    """Page 1 sums tank, costs and list of parts; the tables of costs leave nothing of it out."""
    paid, parts = bill_of(school, siteworks_of(school)), school.groups["siteworks"].cost
    # the pump is on the list
    assert paid.total == pytest.approx(float(parts.sum()) + school.study.costs.fixed)
    decided = group.isel(option=group.attrs["decided_option"])
    assert float(decided.option_capital) == pytest.approx(paid.total)
    assert float(decided.option_annual) == pytest.approx(paid.annual)
    section = costs_section(school)
    offers = next(block for block in section.blocks if isinstance(block, Table) and "offer" in block.caption)
    assert any(number(paid.total, 3) in row for row in offers.rows)
    assert "height of the lowest" in offers.caption  # why 22,000 L may be listed with 18 kL usable


NUMBER = re.compile(r"(?<![\w.])\d[\d,.]*\d|\d")


def test_recommendation_has_no_more_than_two_figures(group):
    said = recommendation(group)
    assert len(said) == 4
    names = [str(o) for o in group.option.values]
    for text in said:
        for name in sorted(names, key=len, reverse=True):  # what tanks are sold as is no result
            text = text.replace(name, "")
        for found in NUMBER.findall(text):
            digits = found.replace(",", "").replace(".", "").strip("0")
            assert len(digits) <= 2, (found, text)


def test_a_short_record_is_in_the_headline(group):
    short = group.assign(record_years=12.0)
    assert size_said(short).startswith(
        "The record covers 12 years, enough to compare sizes, not to settle one"
    )
    assert not size_said(group).startswith("The record")
    assert "8 years, too short to settle anything" in size_said(group.assign(record_years=8.0))
    assert " ".join(recommendation(short)).count("The record covers") == 1


def test_next_to_all_versions_are_not_told_as_all(group):
    reached = group.described_draws_reaching * 0 + 0.97
    assert "in 97 of 100" in recommendation(group.assign(described_draws_reaching=reached))[-1]


def test_out_of_reach_is_said(tmp_path):
    more = (("people = 240", "people = 700"), ("reliability = 0.9", "reliability = 0.99"))
    results = study_results(changed(tmp_path, *more), last="costs")
    group = results.groups["sizing"]
    assert np.isnan(group.size_on_record)
    assert "No tank supplies 99 % of the water asked for" in size_said(group)
    assert "more is asked than comes in" in " ".join(recommendation(group))
    # The least change of roof or demand reaches it, a hundredth less does not: by the study's own roofs, one by one.
    study, flows, sizes = results.study, results.flows, results.done.capacity.values

    def reached(roof, demand):
        roofs = scaled_roofs(study.roof, roof * sum(one.area for one in study.roof))
        came = study_water(study.model_copy(update={"roof": roofs}), results.record).inflow
        return simulate(came, demand * flows.demand.sum("use"), sizes).volume_reliability.min("member").max()

    needed = changes_needed(group, tank_facts(results.done))
    assert reached(needed.roof, 1) >= 0.99 > reached(needed.roof - 0.01, 1)
    assert reached(1, needed.demand) >= 0.99 > reached(1, needed.demand + 0.01)
    assert needed.roof not in AREAS and needed.demand not in DEMANDS


def test_where_no_rain_reaches_the_tank_the_keys_that_let_none_through_are_named(tmp_path):
    path = changed(tmp_path, ("[calendar]", "[losses]\nfilter_efficiency = 0\n[calendar]"))
    with pytest.raises(InputError, match="losses: no rain reaches the tank; give filter_efficiency and"):
        study_results(path, last="decision")


def test_a_tank_that_begins_empty_reaches_no_whole_target_under_any_roof(tmp_path):
    """By hand: yield after spillage leaves the first morning short, so 100 % is out of reach; begun full it is not."""
    told = []
    for start in (0, 1):
        edits = ("reliability = 0.9", "reliability = 1"), ("[tank]", f"[tank]\nstart_share = {start}")
        path = changed(tmp_path, *edits, ('people = 240\ndays = "working"', "people = 240"))
        results = study_results(path, last="costs")
        needed = changes_needed(results.groups["sizing"], tank_facts(results.done))
        told.append(SAY.changes(needed, "rain only") if needed else "")
    assert "(start_share in [tank])" in told[0] and "until rain has come, or mains water" in told[0]
    assert "times the roof" not in told[0] and "start_share" not in told[1]


def test_a_mains_reserve_saves_nothing_and_has_no_band():
    group = study_results(CLINIC, last="costs").groups["sizing"]
    assert float(group.mains_saved.max()) == 0 and float(group.saved_bill.max()) == 0
    assert "sure_size" not in group and "holds no rain" in recommendation(group)[0]
    assert "saves no mains water" in SAY.terms(group.attrs) and "counts as mains" not in SAY.terms(
        group.attrs
    )
    with pytest.raises(InputError, match="no rain feeds this tank"):
        prepare_sizing(CLINIC)


def test_tanks_on_offer_are_written_in_the_readers_marks(school, group):
    with reading(Reader(numbers="1.234,5")):
        *_, words, table = costs_section(school).blocks
        drawn = front_figure(group, group.attrs["decided_option"])
        worth = money_figure(group, [0, 5])
    told = [row[0] for row in table.rows] + [words.text, worth.axes[0].get_yticklabels()[1].get_text()]
    told += [text.get_text() for text in drawn.axes[0].texts]
    assert sum(bool(re.search(r"\d\.\d00 L", one)) for one in told) > 10  # "25,000 L" is kept
    assert not [one for one in told if re.search(r"\d,\d{3}", one)]


def test_where_nothing_on_offer_is_enough_the_nearest_are_listed_and_the_tank_is_none_of_them(school, group):
    none, out = school.done.assign(described=2 * group.option_capacity.max()), group.copy()
    for one in (none, out):
        one.attrs = {k: v for k, v in one.attrs.items() if k not in ("tanks", "decided_option")}
    shown = costs_section(replace(school, done=none, groups=school.groups | {"sizing": out})).blocks[-1]
    assert shown.rows[-1][0] == group.option.values[group.option_capacity.values.argmax()]
    assert len(shown.rows) <= 11 and "1,000 L" not in [row[0] for row in shown.rows]
    told = "can be drawn. No tanks of one kind on offer hold that much within the number, height and plan area allowed"
    assert told in headline(none) and told not in headline(school.done)
    assert "asked for in the trade. No tanks of one kind" in recommendation(out)[0]


def test_without_a_price_by_size_only_tanks_on_offer_are_priced(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(re.sub(r"per_litre = .*\n", "", changed(tmp_path).read_text()))
    results = study_results(path, last="costs")
    group, section = results.groups["sizing"], costs_section(results)
    heads = [block.head[0] for block in section.blocks if isinstance(block, Table)]
    assert heads == ["tanks"] and "annual" not in group  # one capital for every size would be no price
    said = " ".join(block.text for block in section.blocks if isinstance(block, Paragraph))
    assert "tanks as the catalogue prices them" in said and " 0 per L" not in said
    paid = bill_of(results, siteworks_of(results))
    assert float(group.option_capital[group.attrs["decided_option"]]) == pytest.approx(paid.total)


def test_without_a_tariff_only_costs_are_told(school, group):
    """Nothing has a price that could be saved: worth less costs would be the costs with a minus."""
    untold = school.study.model_copy(update={"costs": None})  # the catalogue still prices its tanks
    assert savings(untold) == "no mains" and savings(school.study) == "mains" == group.attrs["saves"]
    alone = replace(
        school, study=untold, groups=school.groups | {"sizing": group.assign_attrs(saves="no mains")}
    )
    heads = [costs_section(one).blocks[-1].head for one in (school, alone)]
    assert any("worth" in one for one in heads[0]) and not any("worth" in one for one in heads[1])


def test_blocks_nominal_rate_and_residual_in_a_study_file(tmp_path):
    path = changed(
        tmp_path,
        (
            "tariff = 2.4        # a kilolitre\n",
            'residual = "straight line"\nrate_kind = "nominal"\ninflation = 0.03\n',
        ),
        ("rate = 0.04", "rate = 0.0712"),
        (
            "[[costs.part]]",
            "[[costs.block]]\nup_to = 60\nprice = 1.0\n[[costs.block]]\nprice = 3.0\n[[costs.part]]",
        ),
    )
    group = study_results(path, last="costs").groups["sizing"]
    assert group.attrs["real_rate"] == pytest.approx(0.04)
    assert "the real rate that the nominal one and inflation leave" in SAY.terms(group.attrs)
    assert "share of its life that is left" in SAY.terms(group.attrs)
    # The last kilolitres are the dearest, so the first that the tank saves are worth most.
    # Bills are those of the first filling, the volume is the middle of all: a per cent between them.
    each = group.saved_bill / (group.mains_saved / 1000)
    assert 1.0 < float(each[-1]) < 0.99 * float(each[0]) and float(each[0]) < 3.03


def test_a_tank_beyond_the_sizes_tried_is_simulated_and_has_its_own_price(tmp_path):
    more = (
        ("[tank]\n", "[tank]\nchosen = 900000\nsizes = [1000, 2000, 4000]\n"),
        ('[catalogue]\nfile = "', '[nothing]\nfile = "'),
    )
    path = changed(tmp_path, *more)
    text = re.sub(r"\[nothing\]\n.*\n.*\n.*\n", "", path.read_text())
    path.write_text(re.sub(r"\[site_works.prices\].*(\n.+)*", "", text))
    results = study_results(path, last="costs")
    group, done, size = results.groups["sizing"], results.done, float(results.done.described)
    assert size == pytest.approx(810_000) and size > float(group.capacity[-1])
    inflow, demand = results.flows.water.inflow, results.flows.demand.sum("use")
    sizes = xr.DataArray([size / 2, size, 2 * size], dims="capacity")
    alone = simulate(inflow, demand, sizes).volume_reliability.median("member").values
    names = ("half_rain_reliability", "described_rain_reliability", "twice_rain_reliability")
    np.testing.assert_allclose([float(done[name].median()) for name in names], alone)
    paid = bill_of(results, siteworks_of(results))
    assert paid.total == pytest.approx(900 + 0.12 * 900_000 + 420)
    # (capital, pumps again after 10 and 20 years, upkeep, energy) over 25 years at 4 %, by hand
    factor = (1 - 1.04**-25) / 0.04
    kilolitres = float(done.described_rain_yield.median()) / 1000
    spent = paid.total + 420 * (1.04**-10 + 1.04**-20) + (60 + kilolitres * 1.4 * 0.4) * factor
    assert paid.annual == pytest.approx(spent / factor)
    assert "nan" not in SAY.maps(maps_at(group, size)) and "none" not in SAY.step(step_at(group, size))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[sizing]\n", "[sizing]\ntargets = [1.5]\n", "sizing.targets: 1.5 is no reliability"),
        ("[sizing]\n", "[sizing]\nranges = { demand = [1.2, 1.5] }\n", "ranges.demand: factors from 1.2"),
        ("[sizing]\n", "[sizing]\ndraw_hours = [19, 7]\n", "19 h to 7 h"),
        ("most_linked = 4", "most_linked = 0", "catalogue.most_linked"),
        ("invented_tanks.csv", "no_tanks.csv", "there is no file"),
        ("life = 10\n", "life = 0\n", "costs.part[1].life"),
        ("life = 25", "life = 25\ninflation = 0.1", "a real rate is already above inflation"),
    ],
)
def test_mistakes_in_the_tables_are_told(tmp_path, old, new, words):
    with pytest.raises(InputError) as raised:
        read_study(changed(tmp_path, (old, new)))
    assert words in str(raised.value)


def test_sliders_start_at_the_study(school, grid):
    flows = school.flows
    curve = moved(grid, area=grid.area, coefficient=grid.coefficient, people=grid.people)
    done = simulate(flows.water.inflow.isel(member=0), flows.demand.sum("use"), grid.sizes)
    np.testing.assert_allclose(curve.reliability, done.volume_reliability, atol=1e-10)
    money = life_cycle(
        school.study.costs, grid.sizes / school.study.tank.usable_share, curve.yearly_yield.values
    )
    for name in ("annual", "per_kilolitre", "payback"):
        np.testing.assert_allclose(
            priced(curve, school.study.costs, school.study.tank.usable_share)[name], money[name]
        )


@pytest.mark.parametrize(("area", "coefficient"), [(0.28, 0.62), (0.85, 1.0), (1.8, 0.7), (3.0, 1.05)])
def test_between_roofs_worked_out_the_curve_is_near_the_exact_one(school, grid, area, coefficient):
    """The inflow is read between roofs and coefficients: never off by more than 0.3 percentage points."""
    case = case_of(school.study, school.record, school.flows)
    other = replace(
        case, catchment=scaled_catchment(case.catchment, area=area, runoff_coefficient=coefficient)
    )
    exact = draw_flows(other, record_inputs(other).isel(draw=[0])).inflow.isel(draw=0)
    done = simulate(exact, case.demand, grid.sizes).volume_reliability
    curve = moved(grid, area=area * grid.area, coefficient=coefficient * grid.coefficient, people=grid.people)
    assert float(abs(curve.reliability.values - done.values).max()) < 0.003


def test_more_people_ask_for_more_and_more_roof_brings_more(grid):
    base = {"area": grid.area, "coefficient": grid.coefficient, "people": grid.people}
    own = moved(grid, **base).reliability
    assert (moved(grid, **(base | {"people": 1.5 * grid.people})).reliability < own).all()
    assert (moved(grid, **(base | {"area": 1.5 * grid.area})).reliability > own - 1e-12).all()


def test_sliders_with_time_reliability_and_rationing(tmp_path):
    path = changed(
        tmp_path,
        ('measure = "volume_reliability"', 'measure = "time_reliability"'),
        ("[target]", "[[rationing]]\nlevel = 0.3\nshare = 0.5\n\n[target]"),
    )
    results, (_, grid) = study_results(path, last="decision"), prepare_sizing(path, draws=3, sizes=70)
    curve = moved(grid, area=grid.area, coefficient=grid.coefficient, people=grid.people)
    sizes = xr.DataArray(grid.sizes, {"capacity": grid.sizes}, ("capacity",))
    done = simulate(
        results.flows.water.inflow.isel(member=0),
        results.flows.demand.sum("use"),
        sizes,
        ration_level=0.3 * sizes,
        ration_share=0.5,
    )
    np.testing.assert_allclose(curve.reliability, done.time_reliability, atol=1e-12)


def test_choices_of_the_sliders_are_keys_of_the_study_file(school, grid):
    keys = keys_of(school.study, grid)
    values = {"area": 1160, "people": 120, "coefficient": 0.4, "capacity": 9e3, "rate": 0.06}
    assert keys["area"](values) == {"roof.0.area": 840, "roof.1.area": 320}
    assert keys["people"](values)["use.0.people"] == 120 and keys["rate"](values) == {"costs.rate": 0.06}
    assert keys["capacity"](values) == {"tank.chosen": pytest.approx(10_000)}
    each = keys["coefficient"](values).values()
    areas = [roof.area for roof in school.study.roof]
    assert np.average(list(each), weights=areas) == pytest.approx(0.4)
    nominal = school.study.model_copy(
        update={"costs": Costs(rate=0.08, rate_kind="nominal", inflation=0.05, currency="crowns")}
    )
    assert keys_of(nominal, grid)["rate"](values) == {"costs.rate": pytest.approx(1.06 * 1.05 - 1)}


def test_joined_days_give_the_same_volumes(rng):
    inflow = rng.exponential(50, (2, 900)) * (rng.random((2, 900)) < 0.2)
    demand, sizes = rng.uniform(0, 20, 900), np.geomspace(5, 3000, 30)
    for theta in (0.0, 0.4, 1.0):
        for row in inflow:
            came, asked = merge_dry_days(row, demand)
            done = run_versions(came[None], asked[None], sizes, theta=theta, start_share=0.5)
            daily = simulate(row, demand, sizes, theta=theta, start=xr.DataArray(sizes / 2, dims="capacity"))
            np.testing.assert_allclose(done["drawn"][0], daily.delivered, rtol=1e-12)
            np.testing.assert_allclose(done["spilled"][0], daily.spilled, rtol=1e-9, atol=1e-9)


def test_finer_rain_is_cut_to_whole_days():
    hours = np.arange("2001-01-01T05", "2001-01-06T09", dtype="datetime64[h]").astype("datetime64[ns]")
    rain = xr.DataArray(
        np.arange(hours.size, dtype=float), {"time": hours}, ("time",), attrs={"step_seconds": 3600.0}
    )
    whole = longest_whole_days(rain)
    assert whole.sizes["time"] == 96 and str(whole.time.values[0])[:13] == "2001-01-02T00" and whole[0] == 19
    holed = longest_whole_days(rain.drop_isel(time=[60]))
    assert holed.sizes["time"] == 48
    with pytest.raises(InputError, match="every 7200 s"):
        longest_whole_days(rain.assign_attrs(step_seconds=7200.0))


def test_with_the_mains_let_in_the_panel_prices_the_rain_that_page_1_does(tmp_path):
    """Mains water in the tank makes rain spill: delivered less let in, over the years; less than on rain alone."""
    levels = 'kind = "combined"\ntop_up_trigger = 0.6\ntop_up_level = 0.8'
    path = changed(tmp_path, ('kind = "rain only"', levels))
    results, (study, grid) = study_results(path, last="decision"), prepare_sizing(path, draws=2, sizes=70)
    home = {"area": grid.area, "coefficient": grid.coefficient, "people": grid.people}
    curve, alone = moved(grid, **home), moved(replace(grid, as_run=None), **home)
    sizes = xr.DataArray(grid.sizes, {"capacity": grid.sizes}, ("capacity",))
    came, asked = results.flows.water.inflow.isel(member=0), results.flows.demand.sum("use")
    done = simulate(came, asked, sizes, top_up_trigger=0.6 * sizes, top_up_level=0.8 * sizes)
    rain = (done.delivered - done.topped_up) / (asked.sizes["time"] / 365.25)
    np.testing.assert_allclose(curve.yearly_yield, rain, rtol=1e-9)
    assert (curve.yearly_yield <= alone.yearly_yield + 1e-6).all() and curve.reliability.equals(
        alone.reliability
    )
    tank, page_1 = float(results.done.described), float(results.done.described_rain_yield.median())
    assert float(np.interp(tank, grid.sizes, curve.yearly_yield)) == pytest.approx(page_1, rel=0.02)
    assert float(np.interp(tank, grid.sizes, alone.yearly_yield)) > 1.05 * page_1
    costs = Costs(fixed=900)
    words = SAY.curve(curve_at(priced(curve, costs, study.tank.usable_share), 0.9, tank), "crowns")
    assert "with the mains let in; the shares above are on rain alone" in words
