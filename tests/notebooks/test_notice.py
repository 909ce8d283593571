"""What the notebooks tell to notice is so: each sentence that names numbers or an order, against its own page."""

import json
import re
from pathlib import Path

import pytest

from rainharvest.catchment.facts import dry_and_wet
from rainharvest.catchment.panel import load_case
from rainharvest.climates.facts import in_each_climate
from rainharvest.climates.panel import prepare_sides
from rainharvest.core.reader import litres
from rainharvest.demand.facts import demand_of
from rainharvest.drought.facts_climates import one_change, scenarios_tried
from rainharvest.drought.panel import prepare_drought
from rainharvest.siteworks.panel import prepare_siteworks, site_variant
from rainharvest.sizing.grid import moved, priced
from rainharvest.sizing.panel import prepare_sizing
from rainharvest.storage.panel import prepare_supply
from rainharvest.study.run import study_results

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


def test_a_litre_more_a_pupil_and_the_garden():
    school = prepare_supply(STUDY, thirst())
    asked = demand_of(school, school.study.use, bed_area=100)
    pupils = school.study.use[0]
    more = [pupils.model_copy(update={"litres": pupils.litres + 1}), *school.study.use[1:]]
    litre = float((demand_of(school, more, bed_area=100) - asked).sum("use").mean()) * 365.25
    garden = float(asked.sel(use="garden").mean()) * 365.25
    line = notice("04", "A few litres")
    assert f"each pupil asks for {litres(litre)} a year; the garden of 100 m² for {litres(garden)}." in line


def test_the_best_bore_moves_as_told():
    case = load_case(STUDY, RECORDS)
    line = notice("03", "A wet run has a best bore")
    assert "to the right with the roof and to the left with the bleed" in line

    def best(**changes):
        curve = dry_and_wet(case, "the study's own rain", 75.0, **({"bleed": 20.0} | changes)).curve
        return curve.attrs["best_bore"]

    assert best(area=2 * case.area) > best() < best(bleed=5.0)


def test_monsoon_and_rain_in_winter():
    sides = prepare_sides(STUDY, RECORDS)
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


def test_a_fifth_less_rain_and_a_fifth_fewer_days():
    basis = prepare_drought(STUDY)
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


@pytest.mark.parametrize("book", ["02", "05", "10", "01"])
def test_the_others_name_no_number_of_a_page(book):
    (path,) = (ROOT / "notebooks").glob(f"{book}_*.ipynb")
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    text = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    part = text.split("## What to notice")[1].split("\n## ")[0]
    assert not re.search(r"\d[\d,.]* (kL|L|mm a|days|%)", part)
