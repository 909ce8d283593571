"""What the notebooks tell to notice is so: each sentence that names numbers or an order, against its own page."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from drawn import artist

from rainharvest.catchment.facts import OWN_RAIN, dry_and_wet
from rainharvest.catchment.panel import load_case
from rainharvest.climates.facts import in_each_climate
from rainharvest.climates.panel import prepare_sides
from rainharvest.core.reader import litres
from rainharvest.demand.facts import demand_of
from rainharvest.drought.facts import dry_year_facts, worst_sequence_of, years_of
from rainharvest.drought.facts_climates import one_change, scenarios_tried
from rainharvest.drought.facts_outlook import outlook_from, plans_of, windows_from
from rainharvest.drought.panel import prepare_drought
from rainharvest.rainfall.describe import describe_rain, one_version, version_totals
from rainharvest.rainfall.facts import checked_record, hidden_days_skill, whole_years
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.siteworks.panel import prepare_siteworks, site_given, site_variant
from rainharvest.sizing.grid import moved, priced
from rainharvest.sizing.panel import prepare_sizing
from rainharvest.storage.facts import supplied
from rainharvest.storage.panel import prepare_supply
from rainharvest.storage.simulate import simulate
from rainharvest.study.choices import rain_files
from rainharvest.study.panel import study_panel
from rainharvest.study.run import study_results
from rainharvest.study.variant import prepare, variant

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "data" / "studies" / "day_school.toml"
RECORDS = ROOT / "data" / "records"


def notice(book, begins):
    """Return the sentence of "What to notice" that begins so, on one line."""
    (path,) = (ROOT / "notebooks").glob(f"{book}_*.ipynb")
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    text = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    part = text.split("## What to notice")[1].split("\n## ")[0]
    lines = [" ".join(line.split()).replace("**", "") for line in part.split("\n- ")[1:]]
    (line,) = [line for line in lines if line.startswith(begins)]
    return line


def thirst():
    """Return the monthly evapotranspiration that notebooks 04 and 05 give."""
    text = (ROOT / "notebooks" / "04_demand.ipynb").read_text(encoding="utf-8")
    return json.loads(re.search(r"THIRST = (\[[^\]]+\])", text)[1])


@pytest.fixture(scope="module")
def sides():
    return prepare_sides(STUDY, RECORDS)


@pytest.fixture(scope="module")
def case():
    return load_case(STUDY, RECORDS)


@pytest.fixture(scope="module")
def school():
    return prepare_supply(STUDY, thirst())


@pytest.fixture(scope="module")
def basis():
    return prepare_drought(STUDY)


def test_the_first_page():
    done = study_results(STUDY, last="costs").done
    prepared = prepare(STUDY)

    def described(roof, tank):
        return variant(prepared, area=roof * prepared.area, people=prepared.people, capacity=tank)

    def brought(roof, tank):
        return float(described(roof, tank).described_rain_yield)

    steps = [100 * float(described(1, size).described_rain_reliability) for size in (10e3, 20e3, 30e3)]
    ends = [100 * float(described(1, size).described_rain_reliability) for size in (100e3, 110e3)]
    first, second, third = (f"{step:.0f}" for step in (steps[0], *np.diff(steps)))
    line = notice("01", "Each step buys less")
    assert f"10 kL supplies {first} %; ten more add {second}, the next ten {third}, and" in line
    assert "from 100 kL to 110 kL nearly nothing" in line and 0 < np.diff(ends)[0] < 0.5
    roof, tank = (litres(brought(*twice) - brought(1, 5e3)) for twice in ((2, 5e3), (1, 10e3)))
    line = notice("01", "More roof")
    assert f"twice the roof brings {roof} a year more" in line and f"Twice the tank brings {tank}." in line
    shown = study_panel(STUDY, tank=float(done.recommended)).rh_figures["years"][0].axes[0]
    failed = np.array([bar[1][1] for bar in artist(shown, "bars").get_segments()])
    middle, worst = (
        f"on {np.median(failed):.0f} days or fewer",
        f"the worst on {failed.max():.0f}",
    )
    assert middle in notice("01", "The average year") and worst in notice("01", "The average year")


def test_where_it_rains_in_every_month_a_small_tank_will_do(sides):
    found = in_each_climate(sides, area=sides.area, capacity=15_000, bore=80, run=45, bleed=20)
    size = found.reaching.sel(conveyance="dry run", arrangement="rain only")
    assert "less than a quarter of the tank" in notice("01", "A dry season asks for storage")
    assert float(size.sel(climate="rain all year")) < float(size.sel(climate="rain in winter")) / 4


def test_a_record_and_its_filling():
    record = checked_record(rain_files(STUDY))
    skill = hidden_days_skill(record, 0.15, simulate)
    assert "wrongly wet or dry, and a tank looks better than it is" in notice("02", "A mean is not")
    assert skill.wet_agreement[1] < skill.wet_agreement[0] - 0.2
    assert skill.reliability_error[1] > 0.01 > abs(skill.reliability_error[0])
    near = record.recent_neighbours
    bare = whole_years(version_totals(fill_gaps(record.recent, near, 2, longest_gap=0, longest_alone=0)))
    assert notice("02", "A total allows no missing day") and bare["whole"] < bare["years"] / 4
    filled = one_version(fill_gaps(record.recent, near))
    low, high = (int(describe_rain(filled, wet_day).dry_spell.max()) for wet_day in (0.2, 5.0))
    assert notice("02", "The longest dry spell") and high > 1.2 * low


def test_runs_and_their_bleed(case):
    done = dry_and_wet(case, OWN_RAIN, 75.0, bleed=20.0)
    assert notice("03", "A dry run holds no water back") and done.table.loc["held in pipe", "dry run"] == 0
    assert dry_and_wet(case, OWN_RAIN, 75.0, run=100.0).levels["dry run"].answer
    assert "over the gutter a few minutes a year" in notice("03", "The bore that brings most")
    assert done.bores.best < done.bores.passing
    over = dry_and_wet(case, OWN_RAIN, 75.0, bleed=20.0, bore=done.bores.best).table
    assert 1 < 60 * over.loc["gutter_hours", "wet run"] < 30
    bled = {name: dry_and_wet(case, name, 75.0, bleed=20.0).table for name in case.climates}
    bled = {name: table.loc["held in pipe", "wet run"] for name, table in bled.items()}
    assert "choose rain all year, then semi-arid" in notice("03", "A bleed takes only").replace("*", "")
    assert max(bled, key=bled.get) == "rain all year" and min(bled, key=bled.get) == "semi-arid"


def test_the_garden_asks_when_rain_fails(school):
    garden = demand_of(school, school.study.use, bed_area=100).sel(use="garden").groupby("time.month").mean()
    rain = school.rain.groupby("time.month").mean()
    assert notice("04", "Demand rises exactly when rain fails")
    assert np.corrcoef(garden, rain)[0, 1] < -0.8


def test_the_set_level_is_a_choice_between_two_costs(school):
    asked = demand_of(school, school.study.use, bed_area=100)
    given = {"capacity": 10_000, "spell_length": 2, "interruptions_a_year": 12, "level_share": 0.2}
    done = supplied(school, asked, **given)
    spilled, failed = done.level_spilled_mains_a_year.values, done.level_failed_a_year.values
    assert notice("05", "The set level") and (np.diff(spilled) > 0).all() and failed[-1] < failed[0] / 2
    short = done.failed_a_year
    assert notice("05", "A change-over valve wastes no mains water and rides out nothing")
    assert short.sel(arrangement="combined (change-over)") > short.sel(arrangement="combined (top-up)")


def test_droughts_and_the_gauge(basis):
    assert notice("07", "A year's total hides") and dry_year_facts(years_of(basis))["hidden"]
    worst = worst_sequence_of(basis)
    own, twice = (worst.sel(through_capacity=k * basis.capacity) for k in (1, 2))
    assert "lasts longer into a dry season and takes longer to fill" in notice("07", "Twice the tank")
    assert own.drawdown_days_short / 2 < twice.drawdown_days_short < own.drawdown_days_short
    assert twice.drawdown_first_short > own.drawdown_first_short
    assert twice.drawdown_recovery > own.drawdown_recovery

    def lasts(month):
        found = outlook_from(basis, windows_from(basis, month, 1), basis.capacity / 2)
        return float(found.supply_days.sel(plan="yours", confidence=0.8))

    assert "plenty before the rains and little after them" in notice("07", "The gauge says more")
    assert lasts(4) > 3 * lasts(10)
    tried = plans_of(basis)
    soon, late = tried.choices.index((364, 0.0)), tried.choices.index((30, 0.5))
    failing, cut = tried.measures["failing_years"], tried.measures["cut_share"]
    assert (
        notice("07", "Looking far ahead")
        and cut[late] < cut[soon] / 2
        and failing[late] > failing[soon] + 0.2
    )


def test_wet_runs_in_five_climates(sides):
    given = {"area": sides.area, "capacity": 20_000, "bore": 80, "run": 45}
    found = in_each_climate(sides, bleed=20, **given)
    assert notice("08", "The wet run costs most where dry spells are long")
    assert found.wet_cost.values.argmax() == found.mean_dry_spell.values.argmax()
    inlet = found.brought_a_year.sel(conveyance="wet run") / found.brought_a_year.sel(conveyance="dry run")
    line = notice("08", "What it brings more in hard rain")
    assert "At the tank inlet the monsoon and the two rainy seasons gain" in line
    assert set(found.climate.values[inlet.values > 1]) == {"monsoon", "two rainy seasons"}
    assert "at the tap of a tank of 20 kL they lose" in line and (found.wet_cost > 0).all()
    assert notice("08", "A large enough tank") and int(np.isfinite(found.wet_equal).sum()) > 0
    small, large = (in_each_climate(sides, bleed=bleed, **given) for bleed in (5, 100))
    old = [one.standing_spells_a_year.sel(conveyance="wet run") for one in (small, large)]
    assert notice("08", "A bleed that is too small lets water grow old; one that is too large wastes it")
    assert (old[0] > 5).all() and (old[1] == 0).all() and (large.wet_cost > small.wet_cost).all()


def test_the_tank_its_ground_and_the_room_at_its_top():
    ready = prepare_siteworks(STUDY)
    low, high = (site_variant(ready, height=height).base.ground_pressure for height in (1.6, 3.2))
    assert notice("09", "The pressure on the ground goes with the height") and high > 1.5 * low
    tight = site_variant(ready, site_given(ready, freeboard_share=0.01)).overflow
    assert notice("09", "The room at the top is not wasted") and (tight is None or tight.pipes > 1)


def test_a_litre_more_a_pupil_and_the_garden(school):
    asked = demand_of(school, school.study.use, bed_area=100)
    pupils = school.study.use[0]
    more = [pupils.model_copy(update={"litres": pupils.litres + 1}), *school.study.use[1:]]
    litre = float((demand_of(school, more, bed_area=100) - asked).sum("use").mean()) * 365.25
    garden = float(asked.sel(use="garden").mean()) * 365.25
    line = notice("04", "A few litres")
    assert f"each pupil asks for {litres(litre)} a year; the garden of 100 m² for {litres(garden)}." in line


def test_the_best_bore_moves_as_told(case):
    line = notice("03", "A wet run has a best bore")
    assert "to the right with the roof and to the left with the bleed" in line

    def best(**changes):
        curve = dry_and_wet(case, OWN_RAIN, 75.0, **({"bleed": 20.0} | changes)).curve
        return curve.attrs["best_bore"]

    assert best(area=2 * case.area) > best() < best(bleed=5.0)


def test_monsoon_and_rain_in_winter(sides):
    five = in_each_climate(sides, capacity=15_000, area=sides.area, bore=80, run=45, bleed=20)
    size = five.reaching.sel(conveyance="dry run", arrangement="rain only")
    wet, dry = (litres(float(size.sel(climate=name)), up=True) for name in ("monsoon", "rain in winter"))
    line = notice("08", "The yearly total")
    assert (
        f"asks for a larger tank: {wet} beside {dry} for the same {100 * sides.target.reliability:.0f} %"
        in line
    )
    rain = five.rain_year.sel(climate=["monsoon", "rain in winter"]).values
    assert "brings twice the rain" in line and round(float(rain[0] / rain[1])) == 2


def test_the_short_ways():
    sizing = study_results(STUDY, last="costs").groups["sizing"]
    by_way = dict(zip(sizing.way.values.tolist(), sizing.size_by_way.values.tolist(), strict=True))
    found = by_way["daily simulation"]
    assert "far too small" in notice("06", "The 5 and 6 per cent rules")
    assert max(by_way["5 per cent rule"], by_way["6 per cent rule"]) < found / 2
    assert f"here {litres(float(sizing.knee_size))}, each" in notice("06", "Beyond the knee")
    line = notice("06", "The monthly balance")
    assert "The first is too small, the second pays for a failure" in line
    assert by_way["monthly balance"] < found < by_way["mass curve"] / 2


def test_more_discount_makes_the_cheapest_tank_smaller():
    study, grid = prepare_sizing(STUDY, draws=2)
    curve = moved(grid, area=grid.area, coefficient=grid.coefficient, people=grid.people)
    low, high = (
        priced(curve, study.costs, study.tank.usable_share, rate).per_kilolitre.argmin()
        for rate in (0.0, 0.15)
    )
    assert notice("06", "More discount, smaller tank") and high < low


def test_a_fifth_less_rain_and_a_fifth_fewer_days(basis):
    year = tuple(range(1, 13))
    changes = [one_change(0.8, 1.0, 1.0, year), one_change(1.0, 0.8, 1.0, year)]
    found = scenarios_tried(basis, changes)
    less, fewer = found.scenario_volume_reliability.values[-2:]
    assert notice("07", "A fifth less rain costs this tank more") and less < fewer


def test_half_of_the_biggest_storms():
    storms = site_variant(prepare_siteworks(STUDY)).storms
    line = notice("09", "A tank that is meant to be full")
    full = storms.full_before.values
    assert "Half of the biggest storms found it over nine tenths full" in line
    assert (full > 0.9).sum() == full.size // 2


@pytest.mark.parametrize("book", ["02", "05", "10"])
def test_the_others_name_no_number_of_a_page(book):
    (path,) = (ROOT / "notebooks").glob(f"{book}_*.ipynb")
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    text = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    part = text.split("## What to notice")[1].split("\n## ")[0]
    assert not re.search(r"\d[\d,.]* (kL|L|mm a|days|%)", part)
