"""The report tells one story: tank, size, money, pipe, uses and confidence agree wherever they appear."""

import re

import numpy as np
import pandas as pd
import pytest
from places import STUDIES
from told import words_of

from rainharvest.core.blocks import Facts, Table
from rainharvest.core.reader import litres, measure, number, percent, reading
from rainharvest.core.text import texts_of
from rainharvest.siteworks.facts import bill_of, siteworks_of
from rainharvest.sizing.facts_printed import tank_facts
from rainharvest.sizing.section import SAY
from rainharvest.study.file import reader_of
from rainharvest.study.report import study_report
from rainharvest.study.run import study_results
from rainharvest.study.section import FIXED

HEAD = """
title = "Varied"
{units}
{tank}
site = {{ name = "Nowhere (invented)", invented = true }}
rain = {{ file = "rain.csv", members = 2 }}
sizing = {{ draws = 20 }}
calendar = {{ terms = ["01-20 to 06-15", "08-20 to 12-10"] }}
target = {{ reliability = {target}, measure = "{measure}" }}
[[roof]]
area = {area}
[[use]]
name = "toilets"
kind = "dual_flush"
people = {people}
days = "working"
[[use]]
name = "drinking"
kind = "day_pupil"
people = {people}
{more}
"""

CATALOGUE = '[catalogue]\nfile = "tanks.csv"\nlink_price = 30\n'
COSTS = '[costs]\ncurrency = "crowns"\nfixed = 700\nper_litre = 0.1\ntariff = 2\n'
COSTS += '[[costs.part]]\nname = "tap"\nfixed = 40\n'
PRICES = "[site_works.prices]\nconcrete = 150\n" + '"overflow pipe" = 8\n'
GARDEN = (
    '[[garden]]\nname = "beds"\nbed_area = 40\n[weather]\nevapotranspiration = [3,3,3,3,3,3,3,3,3,3,3,3]\n'
)
SPELLS = "[arrangement.spells]\nspell_length = 3\ninterruptions_a_year = 5\n"
RATIONED = "[[rationing]]\nlevel = 0.3\nshare = 0.5\n"
DRIER = '[[drought.scenario]]\nname = "drier"\nsource = "invented"\nchange = [{ amount = 0.9 }]\n'
RESERVE = '[arrangement]\nkind = "mains reserve"\nmains_off = ["mon", "tue"]\n'
TREATED = '[arrangement]\nkind = "rain only"\ntreated = true\n'
COMBINED = (
    '[arrangement]\nkind = "combined"\n[arrangement.spells]\nspell_length = 3\ninterruptions_a_year = 4\n'
)

NARROW = "[site_works]\nopening = 0.8\nshaded = false\n"

VARIED = {
    "plain": {},
    "whole record": {"gaps": False},
    "prices and catalogue": {"more": CATALOGUE + COSTS + PRICES},
    "prices without catalogue": {"more": COSTS + PRICES + GARDEN},
    "treated, no mains": {
        "people": 12,
        "area": 400,
        "more": TREATED + NARROW + COSTS.replace("tariff = 2\n", ""),
    },
    "combined, out of reach": {"people": 300, "more": COMBINED + CATALOGUE},
    "combined": {"people": 12, "area": 400, "more": COMBINED + COSTS},
    "out of reach": {"people": 900, "more": COSTS},
    "out of reach, catalogue": {"people": 900, "more": CATALOGUE},
    "US units": {"units": 'units = "us"', "area": 3000, "more": COSTS.replace("litre", "gallon")},
    "garden that must not fail, rationed": {
        "more": RATIONED + DRIER + GARDEN.replace("40", "40\nessential = true")
    },
    "reserve": {"more": RESERVE + COSTS},
    "reserve, drawn by chance": {"more": RESERVE + SPELLS + COSTS},
    "named by the file, beyond all sizes": {
        "tank": 'tank = { sizes = [500, 700, 900], chosen = 9000 }\nconfirmed = ["tank.sizes"]'
    },
    "days": {"measure": "time_reliability", "target": 0.7, "people": 30, "more": PRICES},
}


def write(folder, gaps=True, **changes):
    """Write a small study on a rain record of a dozen years."""
    random = np.random.default_rng(5)
    wet = random.random(4383) < 0.3
    days = pd.date_range("2001-01-01", periods=4383, name="date")
    rain = pd.Series(np.round(random.gamma(0.6, 12, 4383) * wet, 1), days, name="rain (mm)")
    if gaps:
        rain.iloc[900:915] = np.nan
    rain.to_csv(folder / "rain.csv")
    rows = "\n".join(f"{n},{n // 10 + 100},1.8,{n / 1500}" for n in (1000, 3000, 5000, 8000))
    (folder / "tanks.csv").write_text(f"nominal_L,price,height_m,footprint_m2\n{rows}\n")
    usual = {"units": "", "target": 0.8, "measure": "volume_reliability", "tank": "", "area": 180}
    path = folder / "study.toml"
    path.write_text(HEAD.format_map(usual | {"people": 25, "more": ""} | changes))
    return path


def table_of(section):
    """Return the first table of a section."""
    return next(block for block in section.blocks if isinstance(block, Table))


def figures_of(text):
    """Return the numbers of a text."""
    return [float(n.replace(",", "")) for n in re.findall(r"\d[\d,]*(?:\.\d+)?", text)]


def check_one_story(results):
    """Hold everything that a report says of tank, money, pipe, uses and confidence against each other."""
    done, study = results.done, results.study
    report = study_report(results)
    sections = {section.key: words_of(section) for section in report.sections}
    facts = next(block for block in report["answer"].blocks if isinstance(block, Facts))
    said = {
        key: next(f.answer for f in facts.rows if f.question == q) for key, q in FIXED["questions"].items()
    }
    front = sections["answer"]
    with reading(reader_of(study)):
        tank = tank_facts(done)
        words = SAY.tank(tank)
        # Tank and size
        assert words in front and words in said["tank"]
        assert words in sections["size"]
        works = siteworks_of(results)
        size, usable = litres(tank.nominal), litres(tank.described)
        assert f"of {size} nominal" in sections["siteworks"] and f"{usable} to use" in sections["siteworks"]
        assert works.vessel.nominal == pytest.approx(tank.nominal)
        assert works.vessel.tanks == max(tank.tanks, 1)
        assert f"The mark is the tank decided on, {usable} usable" in front
        assert results.groups["drought"].attrs.get("tank", tank.described) == tank.described
        reached = SAY.reached(tank)
        assert reached in said["why"] and front.count(reached) >= 2
        if study.catalogue is None and study.tank.chosen is None:  # two figures in the reader's units
            assert litres(tank.nominal, 2) == litres(tank.nominal, 4)
        # Uses
        rows = table_of(report["demand"]).rows
        names = [row[0] for row in rows[:-1]]
        not_served = [name.removesuffix(" (not served)") for name in names if "(not served)" in name]
        served = [name for name in names if "(not served)" not in name]
        assert said["serves"].startswith(", ".join(served) + ".")
        assert all(name in said["serves"] for name in not_served)
        assert ("Not served" in said["serves"]) == bool(not_served)
        yearly = [float(row[6].replace(",", "")) for row in rows if row[6]]
        assert sum(yearly[:-1]) == pytest.approx(yearly[-1], rel=1e-3)
        # Pipe
        if works.overflow is not None:
            bore = measure(works.overflow.overflow_bore, "mm", 3)
            pipe = next(r for r in table_of(report["parts"]).rows if r[0] == "overflow pipe")
            assert f"of {bore} bore" in sections["siteworks"]
            assert figures_of(bore)[0] == pytest.approx(figures_of(pipe[3])[0], rel=0.02)
        levels = next(block for block in report["parts"].blocks[2:] if isinstance(block, Table))
        short = [row[0] for row in levels.rows if row[3] == "no" and row[0] != "shade at noon"]
        assert ("Not as described" in said["built"]) == bool(
            short or works.overflow is None or (works.levels is not None and not works.levels.enough)
        )
        assert all(name in said["built"] for name in short if not name.endswith("the gutter to the tank"))
        # Money: one sum, made of its lines, wherever it stands
        if "for all that has a price" in said["cost"]:
            total, *lines = figures_of(said["cost"].split(". ")[0])
            assert sum(lines) == pytest.approx(total, rel=0.006)
            one = said["cost"].split(" for all that has a price")[0]
            assert one in sections["parts"]
            table = table_of(report["parts"])
            costs = [float(r[4].replace(",", "")) for r in table.rows if r[4] != "none"]
            fixed = study.costs.fixed if study.costs else 0.0
            on_list = {row[0] for row in table.rows}
            beside = sum(
                p.price(tank.nominal)
                for p in (study.costs.part if study.costs else ())
                if p.name not in on_list
            )
            assert total == pytest.approx(sum(costs) + fixed + beside, rel=0.01)
            assert all(row[0] in said["cost"] for row in table.rows if row[4] == "none")
        else:
            assert said["cost"] == "Nothing that is described has a price."
        # Confidence: one statement
        assert "equally likely fillings" not in front and "nine of ten versions" not in front
        chance = re.findall(r"in (?:none|\d+) of 100 equally likely cases", front)
        if study.arrangement.kind == "mains reserve":
            assert not chance
        else:
            assert len(chance) == 1
            everywhere = re.findall(
                r"in (?:none|\d+) of 100 equally likely cases", "\n".join(sections.values())
            )
            assert set(everywhere) == set(chance)
        if not done.attrs["days_missing"]:
            assert "equally likely fillings" not in sections["sizes"] and "fillings" not in front
        # Out of reach
        found = np.isfinite(float(done.recommended))
        assert ("No tank supplies" in front) == (not found)
        if not found and study.arrangement.kind != "mains reserve":
            assert "To reach the target" in said["why"]
    return said, sections


@pytest.fixture(autouse=True)
def unpainted(monkeypatch):
    """Figures are drawn, not painted: only words are read here."""
    monkeypatch.setattr("rainharvest.core.save.figure_png", lambda *_: b"")
    monkeypatch.setattr("rainharvest.core.style.svg", lambda *_: "<svg/>")


LONG = ("plain", "out of reach, catalogue", "prices without catalogue", "combined, out of reach", "reserve")


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.long if n in LONG else ()) for n in VARIED]
)
def test_a_varied_study_tells_one_story(tmp_path, name):
    results = study_results(write(tmp_path, **VARIED[name]))
    said, sections = check_one_story(results)
    if "out of reach" in name:
        assert results.done.attrs["decided_by"] == "ceiling"
        assert float(results.done.described) < 0.5 * float(results.done.capacity[-1])
    if name.startswith("combined"):
        assert "the mains" in said["serves"] and "interruptions" in said["drought"]
        assert "water must be brought" not in sections["drought"]
    if name == "days":  # a day on which nothing is asked counts neither here nor there
        asked = results.done.demand.sum("use").values
        on = 1 - (results.done.unmet_daily.values[asked > 0] > 1e-6).mean()
        assert f"supplies {percent(on)} of the days of demand in full" in said["why"]
        assert "70 % of the days of demand" in sections["site"] and "of all days" not in str(sections)
    if "rationed" in name:  # one tank, two reliabilities: what leaves rationing out says so
        assert "Without the study's rationing: " in sections["sizes"]
        assert "The study rations. What follows is the tank without" in sections["bad_years"]
        assert "Without the study's rationing. The record:" in sections["bad_years"]
    if "no mains" in name:  # nothing is saved, everything costs
        bill, costs = bill_of(results, siteworks_of(results)), study_report(results)["costs"]
        spent = bill.annual * (1 - 1.04**-20) / 0.04
        assert f"Over 20 years it costs {number(spent, 2)} crowns, in money of today." in said["cost"]
        assert "mains water" not in said["cost"] + sections["costs"] and len(table_of(costs).head) == 5
        told = texts_of("siteworks").bill_a_year(bill, "as if")  # the same with a tariff
        assert "more than as much mains water would cost at the tariff given, in money of today." in told
    if "by chance" in name:
        assert "Drawn 20 times by chance" in said["sure"] and "record" not in sections
    if "reserve" in name:
        assert "it rides out" in sections["answer"] and "Rain off a roof" not in sections["cautions"]
        assert not any("Not shown here" in text for text in sections.values())
    if "catalogue" in name and "without" not in name:
        assert results.done.attrs["tanks"] >= 1


@pytest.mark.parametrize("name", ["day_school", "clinic_reserve"])
def test_the_demo_tells_one_story(name):
    check_one_story(study_results(STUDIES / f"{name}.toml"))
