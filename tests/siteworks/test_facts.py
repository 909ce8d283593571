"""The site works of a study: its table, its group, its sentences, the same site varied."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from places import DATA, SCHOOL

from rainharvest import InputError
from rainharvest.catchment.drainage import most_through_pipe
from rainharvest.catchment.facts import CatchmentCase, Climate, dry_and_wet
from rainharvest.catchment.tables import TRADE_SIZES, Conveyance, Roof
from rainharvest.core.reader import MONTHS_SHORT, US, Reader, litres, reading
from rainharvest.core.text import texts_of
from rainharvest.siteworks.exercises import check_freeboard, check_pressure, check_soakaway
from rainharvest.siteworks.facts import buildability, siteworks_defaults, siteworks_group, siteworks_of
from rainharvest.siteworks.figures import run_figure, tank_figure
from rainharvest.siteworks.panel import prepare_siteworks, site_given, site_variant
from rainharvest.siteworks.section import SAID, SAY, bill_said, siteworks_said, tell_site
from rainharvest.siteworks.tables import SiteWorks
from rainharvest.siteworks.works import on_stand, plan_siteworks
from rainharvest.study.file import read_study
from rainharvest.study.run import study_results
from rainharvest.study.stages import results_of
from rainharvest.study.variant import open_study

NO_SITE = """
title = "a shed"
site = {{ name = "a place", invented = true }}
rain = {{ file = "{rain}", members = 1 }}
use = [{{ name = "toilets", kind = "dual_flush", people = 30 }}]
tank = {{ sizes = [2000, 4000, 8000], chosen = 4000 }}
{more}
"""
ROOF = '[[roof]]\nname = "shed"\narea = 80\n'


def study(folder, more=ROOF):
    path = folder / "study.toml"
    path.write_text(NO_SITE.format(rain=(DATA / "records" / "winter_rain.csv").as_posix(), more=more))
    return path


def run(path):
    """Run a study as far as the site works need it."""
    return study_results(path, cache="off", last="decision")


@pytest.fixture(scope="module")
def ready():
    return prepare_siteworks(SCHOOL, nominal=20_000)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """A study that says nothing of its site, run."""
    return run(study(tmp_path_factory.mktemp("plain")))


def test_a_study_without_a_site_table_has_site_works_all_the_same(plain, tmp_path):
    group = siteworks_group(plain)
    kept = results_of(open_study(study(tmp_path), members=None), "site works")["group"]
    assert group.identical(kept)  # the stage is shown no more of the study than it is said to read
    assert float(group.ground_pressure) < float(group.bearing)
    assert group.attrs["soakaway_answer"].startswith("nobody has")
    # mean months of the record from January, mm: 7 9 15 38 72 100 120 89 65 36 19 12, a twelfth 49: after the driest
    # three the rains begin in May, and what falls due before them falls due in April and half a year on
    gutters = (
        siteworks_of(plain)
        .upkeep.set_index("task")
        .loc["look at roof and gutters from a safe stand, and clean them"]
    )
    assert [month for month in MONTHS_SHORT if gutters[month]] == ["Apr", "Oct"]
    # the marks on the gauge are the balance's own: usable size and litres to draw are one number
    assert float(group.litres_to_draw[-1]) == pytest.approx(float(plain.done.described), rel=1e-6)
    assert float(group.overflow_a_year) == pytest.approx(
        float(plain.done.spilled_daily.mean()) * 365.25, rel=1e-9
    )


@pytest.mark.parametrize("tariff", ["", "tariff = 2.5\n", "block = [{ price = 2.5 }]\n"])
def test_the_bill_says_that_bought_mains_water_is_not_in_it(tmp_path, tariff):
    costs = "[costs]\nper_litre = 0.1\n" + tariff
    said = {
        kind: " ".join(bill_said(run(study(tmp_path, f'{ROOF}[arrangement]\nkind = "{kind}"\n{costs}'))))
        for kind in ("combined", "rain only")
    }
    words = re.search(
        r"a year with upkeep, without the \d[\d,.]* k?L of mains water that it takes,", said["combined"]
    )
    assert bool(words) == bool(tariff) and "of mains water that it takes" not in said["rain only"]


PIT = "[site_works.trial_pit]\npit_length = 1\npit_width = 0.75\npit_depth = 1\nminutes = [48, 52, 55]\n"
PUMP = "[site_works.pump]\nhighest_tap = 4\nflow = 0.3\npressure = 55\nshut_off_head = 30\nmost_flow = 1.5\n"
OWN = '[site_works]\nform = "rectangular"\nslab_margin = 0.1\nempty_mass = 90\ntap_run = 4\nsoakaway_distance = 7\n'
STORMS = "storm_minutes = [10, 60]\nstorm_depths = [18, 35]\n"


def test_a_default_is_listed_where_it_entered_and_the_study_does_not_give_it(plain, tmp_path):
    """A value that is given is no default though it equals it; a distance that is measured leaves the one asked for."""
    few = set(siteworks_defaults(siteworks_of(plain)))
    many = set(siteworks_defaults(siteworks_of(run(study(tmp_path, ROOF + OWN + PIT + PUMP)))))
    given = siteworks_defaults(siteworks_of(run(study(tmp_path, ROOF + OWN + STORMS + PIT))))
    storm, clear = "Shortest storm looked at", "Ground between soakaway and buildings"
    assert {
        "Wind force on a round tank",
        "Mass of the empty tank",
        "Margin of the slab",
        "Height",
        clear,
    } < few
    assert not few & {"Wind force on a flat wall", storm, "Voids", "Roughness of the pipe", "Starts an hour"}
    assert {
        "Wind force on a flat wall",
        storm,
        "Voids",
        clear,
        "Roughness of the pipe",
        "Starts an hour",
    } < many
    assert not many & {"Wind force on a round tank", "Mass of the empty tank", "Margin of the slab"}
    assert not many & {"Flow of a tap", "Pressure at the highest tap", "Pressure at no flow"}
    assert {"Voids", clear, "Overflow pipe: fall"} < set(given) and not {storm, "Starts an hour"} & set(given)


def test_every_sentence_is_said_and_carries_the_numbers(plain):
    works = siteworks_of(plain)
    said = dict(siteworks_said(works))
    assert set(SAID) - set(said) == {"Water by pump", "In the ground"}
    assert all(text.endswith(".") for text in said.values())
    assert "4,000 L nominal" in said["The tank"]
    assert f"{works.base.ground_pressure:.2g} kPa" in said["What it stands on"]
    assert "Still to be measured" in said["Where it stands"]
    assert "nobody has dug a trial pit" in said["The soakaway"]
    assert "none has a price" in said["Parts"] and "neither by a pipe" in said["The mains"]
    with reading(US):
        there = dict(siteworks_said(works))
        assert "gal" in there["The tank"] and "psi" in there["What it stands on"]
        assert " kPa" not in there["Water by its own weight"]


def test_the_demo_has_a_pit_a_pump_and_prices(ready, capsys):
    works = site_variant(ready)
    assert works.soakaway is not None and works.pump.duty.flow == pytest.approx(0.4, rel=1e-6)
    assert works.pump.duty.duty_head > works.pump.rise.static_head > works.pump.rise.lift > 2
    assert works.parts.set_index("part").cost["pump"] == 420
    tell_site(works, ["Water by pump", "Parts"])
    printed = capsys.readouterr().out
    assert "0.4 L a second" in printed and max(len(line) for line in printed.splitlines()) <= 100


@pytest.mark.parametrize(
    "table, say",
    [
        ('ground = "swamp"', "site_works.ground"),
        ("tank_width = 2.0", "tank_width has no meaning for an upright tank"),
        ("storm_depths = [20]", "come together"),
        ("tap_hieght = 0.5", "did you mean tap_height"),
        (
            "[site_works.pump]\nhighest_tap = 3\nshut_off_head = 12",
            "shut_off_head and most_flow come together",
        ),
        ("[site_works.pump]\nhighest_tap = 3\ncut_in = 200\ncut_out = 100", "below its start at 200"),
        (
            "[site_works.trial_pit]\npit_length = 1\npit_width = 0\npit_depth = 1\nminutes = [5]",
            "site_works.trial_pit.pit_width",
        ),
    ],
)
def test_mistakes_in_the_site_table_come_out_in_one_line_each(tmp_path, table, say):
    path = study(tmp_path, f"[site_works]\n{table}\n{ROOF}")
    with pytest.raises(InputError) as caught:
        read_study(path)
    lines = str(caught.value).splitlines()
    assert len(lines) == 1 and say in lines[0] and lines[0].startswith(str(path)) and "; " in lines[0]


@pytest.mark.parametrize(
    "changes, place, say",
    [
        ({"tap_height": 0.0}, "site_works.tap_height", "under the base"),
        ({"tap_height": 5.0}, "site_works.tap_height", "above the overflow"),
        (
            {"pump": {"highest_tap": -20, "pressure": 5}},
            "site_works.pump.highest_tap",
            "the pump has no lift",
        ),
        (
            {"pump": {"highest_tap": 9, "shut_off_head": 5, "most_flow": 1}},
            "site_works.pump.shut_off_head",
            "higher head",
        ),
        (
            {"pump": {"highest_tap": 3, "shut_off_head": 20, "most_flow": 1, "cut_in": 140, "cut_out": 200}},
            "site_works.pump.cut_out",
            "it never stops",
        ),
        ({"height": 0}, "site_works.height", "0 is not possible"),
    ],
)
def test_impossible_settings_name_their_place(ready, changes, place, say):
    with pytest.raises(InputError) as caught:
        site_variant(ready, **changes)
    assert caught.value.place == place and say in str(caught.value)


def test_what_cannot_be_made_is_an_answer_and_no_error(ready):
    slow = site_variant(ready, trial_pit={"pit_length": 1, "pit_width": 1, "pit_depth": 1, "minutes": [9000]})
    assert slow.soakaway is None and "unsuitable" in slow.soakaway_answer
    assert "unsuitable" in SAID["The soakaway"](slow)
    full = site_variant(ready, site_given(ready, freeboard_share=0.0))
    assert full.overflow is None and "no room above it" in SAID["The overflow"](full)
    poor = site_variant(ready, ground="fill")
    assert poor.base.engineer and "An engineer must design this base." in SAID["What it stands on"](poor)


def test_what_can_be_built_is_told_with_what_is_there_and_what_is_needed(ready):
    works = site_variant(ready, design_intensity=20.0)
    rows = {row.thing: row for row in buildability(works)}
    assert list(rows) == ["level of the run", "flow of the run", "overflow"]
    assert all(row.fits and not row.answer for row in rows.values())
    # 3.4 - 0.2 - 18 x 0.01 - 2.3
    assert rows["level of the run"].there == pytest.approx(0.72)
    hard = {row.thing: row for row in buildability(site_variant(ready, design_intensity=150.0))}
    assert hard["level of the run"].fits and not hard["flow of the run"].fits
    assert hard["flow of the run"].there < hard["flow of the run"].needed == pytest.approx(580 * 150 / 3600)
    # By the part-full flow of 1 in 100: 200 mm passes 30 L/s, 150 mm 14.
    assert hard["flow of the run"].remedy == {"bore": 200.0, "widest": 300.0, "kind": "dry"}
    none = buildability(site_variant(ready, site_given(ready, freeboard_share=0.0)))[-1]
    assert not none.fits and "no room above it" in none.answer


def test_report_and_site_works_read_one_run(plain, tmp_path):
    run_of = '[conveyance]\nkind = "wet"\nrun = 40\nbore = 100\noutlet_level = 3.4\ninlet_level = 1.2\n'
    more = f"{run_of}low_level = -2.0\nroughness = 0.15\n[site_works]\nheight = 2.0\n{ROOF}gutter_capacity = 1.2\n"
    results = run(study(tmp_path, more))
    works, own = siteworks_of(results), results.study
    climate = Climate(results.record.filled.isel(member=0, drop=True), own.losses.intensity)
    done = dry_and_wet(CatchmentCase(own.catchment, {"here": climate}, 75.0), "here")
    assert works.levels == done.levels["wet run"] and done.own == "wet"
    assert works.levels.flow == 1.2  # the gutter lets no more through of 80 m2 x 75 mm/h / 3,600 = 1.67
    # 2 m high with a twentieth of freeboard: the water stands at 1.9 m and drowns the inlet at 1.2
    assert own.conveyance.tank_water_level == pytest.approx(1.9) == works.vessel.overflow_mark
    assert done.table.loc["pressure", "wet run"] == pytest.approx(3.9 * 9.80665)
    assert done.table.loc["storm_pressure", "wet run"] == pytest.approx(5.4 * 9.80665)
    reached = float(results.done.inflow.mean()) * 365.25
    assert done.table.loc["delivered", "wet run"] == pytest.approx(reached, rel=1e-9)


def test_drinking_water_is_labelled_so_and_its_tank_needs_no_leaf_screen(tmp_path):
    path = study(tmp_path, 'arrangement = { kind = "mains reserve", mains_off = ["sat"] }\n')
    path.write_text(path.read_text().replace("dual_flush", "day_pupil"))
    works = siteworks_of(run(path))
    sign = works.parts.set_index("part").what_for["warning sign"]
    assert sign.startswith("drinking water") and "not for drinking" not in sign
    assert not works.upkeep.task.str.contains("leaf screen").any()
    assert "sample tap" in works.parts.part.values
    assert "first fill: tank and pipes" in " ".join(works.handover)
    # chlorine is asked for: its doser is on the list, its dose is told
    assert "chlorine doser" in works.parts.part.values and "contact tank" not in works.parts.part.values
    told = SAID["Treatment and tests"](works)
    assert "Chlorine: 2 mg/L to leave 0.5 mg/L" in told
    assert works.chlorine.chlorine == pytest.approx(2.0 * works.given.mean_demand / 1000)


def test_the_wind_is_told_for_the_empty_tank(ready):
    said = SAID["In the wind"]
    assert "take it from the local code" in said(site_variant(ready))
    windy = said(site_variant(ready, gust=45.0))
    assert "In the 45 m/s of this site" in windy and "strap it" in windy
    assert "It stands through" in said(site_variant(ready, gust=5.0))


def test_a_pump_that_could_never_stop_is_told_before_it_is_bought(ready):
    # a curve that was only assumed is no reason to refuse the pressures of the switch
    switch = {"highest_tap": 2.6, "cut_in": 140.0, "cut_out": 280.0}
    assert "more than 280 kPa at no flow, or it never stops" in SAID["Water by pump"](
        site_variant(ready, pump=switch)
    )
    assert "never stops" not in SAID["Water by pump"](site_variant(ready))


def test_a_start_that_leaves_too_little_at_the_highest_tap_is_no_fit(ready):
    low = site_variant(ready, pump={"highest_tap": 2.6, "cut_in": 20.0, "cut_out": 280.0})
    row = next(row for row in buildability(low) if row.thing == "start of the pump")
    start = f"a start at {low.pump.cut_in_wanted:.3g} kPa would do"
    page = SimpleNamespace(misfits=[row], other_misfits=[], engineer=False)
    assert not row.fits and start in texts_of("study").built(page) and start in SAID["Water by pump"](low)


def test_starts_are_held_against_what_this_motor_bears(ready):
    busy = {"highest_tap": 2.6, "flow": 0.4, "vessel_volume": 40.0}
    often = site_variant(ready, pump=busy).pump.starts
    assert "more than the 12" in SAID["Water by pump"](site_variant(ready, pump=busy))
    assert 12 < often < 199
    bears = site_variant(ready, pump=busy | {"most_starts": often + 1})
    assert "taken to bear" not in SAID["Water by pump"](bears)


def test_the_default_storm_is_said_to_be_one_countrys(ready):
    assert "one country's practice" in SAID["The overflow"](site_variant(ready))
    assert "one country's practice" not in SAID["The overflow"](site_variant(ready, design_intensity=150))


def test_what_several_overflows_rest_on_is_said(ready):
    two, one = site_variant(ready, tanks=2), site_variant(ready)
    half = f"{two.peak.flow / 2:.2g} L a second onward"
    assert two.vessel.tanks == 2 and half in SAID["The overflow"](two)
    assert "onward" not in SAID["The overflow"](one)


def test_own_storms_take_the_place_of_the_drawn_ones(ready):
    works = site_variant(ready, storm_minutes=[30, 120], storm_depths=[25, 40])
    assert works.soakaway.storm_minutes.values.tolist() == [30, 120]
    assert works.soakaway.storm_depth.values.tolist() == [25, 40]
    assert "national" not in SAID["The soakaway"](works)
    # 120 minutes ask for most, and nobody tried longer ones; where 30 ask for most, two hours ask for less
    longer = "longer ones may ask for more"
    assert works.soakaway.attrs["worst_storm"] == 120 and longer in SAID["The soakaway"](works)
    short = site_variant(ready, storm_minutes=[30, 120], storm_depths=[40, 41])
    assert short.soakaway.attrs["worst_storm"] == 30 and longer not in SAID["The soakaway"](short)


def test_combined_and_mains_reserve(tmp_path):
    path = study(tmp_path, f'arrangement = {{ kind = "combined" }}\n{ROOF}')
    works = siteworks_of(run(path))
    assert "float valve" in works.parts.part.values and "air gap" in SAID["The mains"](works)
    assert "above the highest that the water stands" in SAID["The mains"](works)
    assert "sticks open" in SAID["The overflow"](works)
    # toilets alone: nothing is disinfected, and nothing that is listed says so
    what_for = works.parts.set_index("part").what_for
    assert not re.search("disinfect|filters", " ".join((*works.ticks, *works.handover, *what_for)))
    assert "sample tap" not in what_for
    assert "each tap says that its water is not for drinking" in " ".join(works.ticks)
    path = study(tmp_path, 'arrangement = { kind = "mains reserve", mains_off = ["sat"] }\n')
    works = siteworks_of(run(path))
    assert works.peak is None and works.storms is None and works.soakaway is None
    # the valve sticks open: 3 m/s through 20 mm, and the overflow is on the list of parts
    assert works.overflow.passes >= 3.0 * 0.02**2 * np.pi / 4 * 1000
    assert works.parts.set_index("part").quantity["overflow pipe"] == works.overflow.pipes * 6.0
    assert not works.checks.check.str.contains("soakaway").any()
    said = dict(siteworks_said(works))
    assert "float valve that sticks open" in said["The overflow"]
    assert not {"The soakaway", "The biggest storms", "How often it spills"} & set(said)
    # no roof, no run: nothing on the lists speaks of them
    listed = " ".join((*works.ticks, *works.handover))
    assert "downpipe" not in listed and "the roof" not in listed
    assert "calmed inlet" not in set(works.parts.part)


def test_the_overflow_of_a_combined_tank_passes_storm_and_stuck_valve_together(ready):
    given = replace(site_given(ready), arrangement="combined")
    works = site_variant(ready, given, mains_bore=32)
    assert works.overflow_needed == pytest.approx(works.peak.flow + 3.0 * 0.032**2 * np.pi / 4 * 1000)
    assert works.overflow.passes >= works.overflow_needed == buildability(works)[-1].needed


def test_what_the_gutter_holds_back_is_not_asked_of_the_pipe(ready):
    given = site_given(ready)
    run = Conveyance(kind="dry", run=24, bore=110, outlet_level=3.6, inlet_level=2.4)
    roofs = (Roof(name="ward", area=350, gutter_capacity=3.0), Roof(name="shed", area=24))
    catchment = given.catchment.model_copy(update={"roofs": roofs, "conveyance": run})
    works = site_variant(ready, replace(given, catchment=catchment), design_intensity=75.0)
    rows = {row.thing: row for row in buildability(works)}
    assert rows["flow of the run"].fits and rows["flow of the run"].needed == 3.5
    # 350 m2 x 75 mm/h / 3,600; the shed's 0.5 L/s reach the run, but its gutter is not the one that is named
    gutter = rows["flow of the gutter"]
    assert not gutter.fits and (gutter.there, gutter.needed) == (3.0, pytest.approx(7.29, abs=0.01))
    assert gutter.remedy == {"gutters": ("ward",)} and "outlets (ward) would" in SAY.passing(gutter.remedy)


@pytest.mark.parametrize(
    "bore, area, least",
    # Part full at 1 in 100 by Colebrook and White, L/s: 96 mm pass 4.2, 100 mm 4.67, 150 mm 14, 160 mm 16.5, 200 mm 30,
    # 300 mm 86. At 75 mm/h 216 m2 shed 4.5 L/s, 900 m2 18.75, 5,000 m2 104.
    [(96.0, 216, "a bore of 100 mm"), (150.0, 900, "a bore of 200 mm"), (160.0, 900, "a bore of 200 mm")]
    + [(160.0, 5000, "no bore in trade up to 300 mm")],
)
def test_the_remedy_names_the_least_bore_in_trade_that_passes_it_all(ready, bore, area, least):
    given = site_given(ready)
    run = Conveyance(kind="dry", run=15, bore=bore, outlet_level=5.0, inlet_level=2.5)
    catchment = given.catchment.model_copy(update={"roofs": (Roof(area=area),), "conveyance": run})
    works = site_variant(ready, replace(given, catchment=catchment), design_intensity=75.0)
    remedy = next(row.remedy for row in buildability(works) if row.thing == "flow of the run")
    assert SAY.passing(remedy).startswith(f"{least} would pass it all")


def test_a_stand_is_planned_for_as_the_report_plans(ready):
    given = site_given(ready)
    roofs = (Roof(name="ward", area=350, gutter_capacity=3.0),)
    given = replace(given, catchment=given.catchment.model_copy(update={"roofs": roofs}))
    works = site_variant(ready, on_stand(given, 0.5), stand=0.5)
    # 0.72 m of level less 0.5 of stand; of 350 m2 x 75 mm/h / 3,600 = 7.3 L/s the gutter lets 3 through
    assert works.levels.margin == pytest.approx(0.22) and works.levels.flow == 3.0
    # full, the pipe is driven by the gutter's 3.3 m above the raised floor, less the filter's 0.2, down to 2.7
    lowered = ready.prepared.study.conveyance.model_copy(update={"outlet_level": 3.3})
    assert works.levels.conveyance.outlet_level == 3.3 and works.peak.pipe == most_through_pipe(lowered)
    assert on_stand(given, 0.0) is given


def test_no_mains_enter_a_tank_with_a_change_over_valve(ready):
    given = replace(site_given(ready), arrangement="combined", change_over=True)
    works = site_variant(ready, given)
    parts, lists = set(works.parts.part), " ".join((*works.ticks, *works.handover))
    assert {"change-over valve", "backflow device"} <= parts and "float valve" not in parts
    assert "change-over valve" in lists and "float valve" not in lists and "licensed plumber" in lists
    assert works.overflow_needed == works.peak.flow  # no valve of this tank can stick open
    said = " ".join(SAID[head](works) for head in ("The mains", "The overflow"))
    assert "float valve" not in said and "air gap" not in said and "backflow" in said


def test_parts_that_every_practitioner_expects_are_listed_by_trade_size(ready):
    parts = site_variant(ready, tanks=2, tap_height=0.5).parts.set_index("part")
    for name in (
        "calmed inlet",
        "raised intake",
        "washout valve",
        "vent",
        "union",
        "strainer",
        "pump cover",
        "label",
    ):
        assert parts.quantity[name] >= 1, name
    assert parts.quantity["isolating valve"] == 4  # an outlet a tank, both sides of the pump
    assert parts.what_for["pipe"] == "100 mm bore (DN 100), dry run"
    assert parts.what_for["tap"].endswith("0.5 m above the ground: a bucket of 0.4 m stands under it")
    # two roofs with three downpipes on the run: a diverter and a screen each
    given = site_given(ready)
    run = given.conveyance.model_copy(update={"downpipes": 3})
    three = replace(given, catchment=given.catchment.model_copy(update={"conveyance": run}))
    counted = site_variant(ready, three).parts.set_index("part").quantity
    assert counted["first-flush diverter"] == counted["leaf screen"] == 3
    american = site_variant(ready, replace(site_given(ready, freeboard_share=0.1), units="us"))
    assert american.overflow.overflow_bore in TRADE_SIZES["us"]
    assert american.parts.set_index("part").what_for["tap"].startswith("20 mm (0.75 in)")


def test_parts_and_distances_are_told_in_the_readers_form_of_numbers(ready):
    marked = re.compile(r"\d\.\d(?!\d\d)|[1-9],\d{3}")  # a point for tenths, a comma for thousands
    with reading(Reader(numbers="1.234,5")):
        works = site_variant(ready, opening=2.75, soakaway_distance=6.25, height=1.85, tap_height=0.6)
        told = " ".join([*works.parts.what_for, *works.checks.found, *works.checks.asked])
    assert "1,85 m high" in told and "20.000 L" in told and "2,75 m" in told and not marked.search(told)
    with reading(US):  # a tank of 6 ft asks for more than 6 ft, not for 1.8 m
        checks = site_variant(ready, height=6 * 0.3048, opening=1.0).checks
    assert checks.asked["opening"].startswith("more than 6 ft")


def test_a_reader_of_feet_is_told_feet_inches_and_pounds_that_agree(ready):
    given = replace(site_given(ready, freeboard_share=0.05), units="us")
    # 1 ft too low: 200 ft at 1 in 100 ask for 2 ft, and there is 1 ft
    run = Conveyance(kind="dry", run=200 * 0.3048, bore=101.6, outlet_level=2.7432, inlet_level=2.4384)
    catchment = given.catchment.model_copy(update={"conveyance": run})
    with reading(US):
        works = site_variant(ready, replace(given, catchment=catchment), height=6 * 0.3048, gust=45.0)
        rows = {row.thing: row.answer for row in buildability(works)}
        wind, stands = SAID["In the wind"](works), SAID["Where it stands"](works)
        assert "in the table site_works)" in SAID["In the wind"](site_variant(ready))
    # a twentieth of 6 ft is 3.6 in; 4 in do not go into that
    assert "an overflow of 4 in does not fit into the 3.6 in above" in rows["overflow"]
    assert "_" not in rows["overflow"] and "more room left above it" in rows["overflow"]  # no key of the file
    level = rows["level of the run"]
    assert "1 ft too low for a run of 200 ft" in level and "within 100 ft" in level and level in stands
    # rho Cf A v2 / 2 in kN, and 1 lbf = 4.448 N; 45 m/s = 100.7 mph
    pounds = float(f"{works.wind.push * 1000 / 4.448222:.2g}")
    assert (
        "In the 100 mph of this site" in wind
        and "ft/s" not in wind
        and f"pushes with {pounds:,.0f} lbf" in wind
        and "kN" not in wind
    )


def test_the_usual_overflow_fits_into_the_usual_tank_in_either_units(ready):
    # a twentieth of 2 m is 100 mm, of 7 ft 4.2 in; of 2 m it would be 3.94 in
    for units, bore in (("metric", 100.0), ("us", 101.6)):
        given = replace(site_given(ready), units=units)
        run = given.conveyance.model_copy(update={"bore": bore, "inlet_level": 2.4384})
        catchment = given.catchment.model_copy(update={"conveyance": run})
        works = plan_siteworks(SiteWorks(), replace(given, catchment=catchment))
        assert works.overflow.overflow_bore == bore, works.overflow_answer
        assert ("Height in feet" in siteworks_defaults(works)) == (units == "us")


def test_the_area_on_which_the_tank_presses_is_said(ready):
    said = SAID["What it stands on"]
    plain, spread = site_variant(ready, ground="sand"), site_variant(ready, bearing=12.0)
    # tank, water and 0.1 m of slab on the tank's own footprint; then on the whole slab
    area = np.pi / 4 * plain.vessel.tank_length**2
    tank = plain.base.mass_full - plain.base.slab_mass
    on_own = (tank / area + 2400 * 0.1) * 9.80665 / 1000
    assert plain.base.ground_pressure == pytest.approx(on_own)
    assert f"{on_own:.2g} kPa on the ground under the tank itself: a slab spreads" in said(plain)
    assert spread.base.ground_pressure == pytest.approx(12.0)
    assert "on the ground under the whole slab, which spreads the load" in said(spread)


def test_levels_are_told_from_floor_and_ground_with_both_heads(ready):
    given = site_given(ready)
    run = dict(kind="wet", run=60, bore=100, outlet_level=3.8, inlet_level=2.7, low_level=-4.0)
    wet = replace(given, catchment=given.catchment.model_copy(update={"conveyance": Conveyance(**run)}))
    works = site_variant(ready, wet, height=2.0, stand=1.0, design_intensity=30.0)
    # rho g h: 2.7 + 4 m after rain, 3.8 + 4 m at the gutter; the least class is 2.5 bar
    assert works.pressures == (pytest.approx(6.7 * 9.80665), pytest.approx(7.8 * 9.80665))
    assert works.pressure_class == 250
    marks = works.marks
    assert list(marks.values()) == sorted(marks.values(), reverse=True) and marks["ground"] == -1.1
    storm, rain = (marks[f"water in the run {when}"] for when in ("in the design storm", "after rain"))
    assert rain == 2.7 and storm - rain == pytest.approx(works.heads[0])
    assert works.heads[1] == pytest.approx(1.1)
    said = SAID["Levels and heads"](works)
    assert "measure them from the top of the stand" in said
    assert "4.9 m above the ground on the building" in said
    # the drawing names the levels of the table, both heads and the class of the pipe
    drawn = " ".join(words.get_text() for words in run_figure(works).axes[0].texts)
    for words in (f"overflow {marks['overflow']:.2f}", f"in the storm {storm:.2f}"):
        assert words in drawn
    assert "after rain 2.70" in drawn and "PN 2.5" in drawn
    # a harder storm stands at the gutter and runs over it; it never stands higher
    hard = site_variant(ready, wet, height=2.0, design_intensity=150.0)
    assert hard.marks["water in the run in the design storm"] == 3.8
    assert "runs over the gutter" in SAID["Levels and heads"](hard)
    assert buildability(hard)[0].thing == "head of the run" and not buildability(hard)[0].fits


def test_thatch_is_not_treated_away(ready):
    given = replace(site_given(ready), arrangement="combined")
    roofs = (Roof(name="hall", area=90, material="thatch"), Roof(name="block", area=420))
    works = site_variant(ready, replace(given, catchment=given.catchment.model_copy(update={"roofs": roofs})))
    said = SAID["Treatment and tests"](works)
    assert "The roof hall (thatch) colours the water" in said and "block" not in said
    assert "colours the water" not in SAID["Treatment and tests"](site_variant(ready, given))


def test_linked_tanks_are_told_and_drawn_as_they_are_bought(ready):
    works = plan_siteworks(ready.site.bought(3, 2.2), site_given(ready, 54_000))
    assert works.vessel.tanks == 3 and works.vessel.height == 2.2
    assert "Together, the 3 tanks" in SAID["The tank"](works) and "linked" in " ".join(works.handover)
    drawn = [a for a in tank_figure(works).axes[0].get_children() if str(a.get_gid()).startswith("body")]
    assert sum(a.get_visible() for a in drawn) == 3
    walls = next(a for a in run_figure(works).axes[0].get_children() if a.get_gid() == "walls")
    assert np.isnan(walls.get_xdata()).sum() == 2  # between three tanks


def test_exercises_know_their_answers(ready, capsys):
    works = site_variant(ready)
    check_pressure(works, 3.0, 9.81 * 3.0 * 1.03 + 2.35)
    check_pressure(works, 3.0, 10.0)
    check_freeboard(ready, ...)
    check_soakaway(ready, 120, ...)
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == ["Right.", "Not", "Answer:", "Answer:"]
    length = float(lines[3].split()[1])
    share = int(lines[2].split()[2])
    check_soakaway(ready, 120, length)
    check_freeboard(ready, share)
    check_freeboard(ready, share + 3)
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == ["Right.", "Right.", "Not"]


def test_uses_not_served_keep_their_names_within_a_sentence(tmp_path):
    path = study(tmp_path, ROOF + '[[use]]\nname = "drinking"\nkind = "day_pupil"\npeople = 3\n')
    path.write_text(
        path.read_text().replace("use = [", "#use = [").replace('[[use]]\nname = "drinking"', TWO)
    )
    said = SAID["Treatment and tests"](siteworks_of(run(path)))
    assert "Not from this tank: drinking, whose" in said


TWO = '[[use]]\nname = "toilets"\nkind = "dual_flush"\npeople = 30\n[[use]]\nname = "drinking"'


def test_light_leaves_nothing_behind_and_chlorine_goes_to_what_is_drunk_alone(tmp_path):
    drinks = f'{ROOF}[[use]]\nname = "toilets"\nkind = "dual_flush"\npeople = 30\n'
    drinks += '[[use]]\nname = "drinking"\nkind = "day_pupil"\npeople = 3\n'
    path = study(tmp_path, f'arrangement = {{ kind = "combined" }}\n{drinks}')
    path.write_text(path.read_text().replace("use = [", "#use = ["))
    lamp = siteworks_of(run(path))
    assert "a sample tap stands after the disinfection" in lamp.ticks and "sample tap" in set(lamp.parts.part)
    assert "Light leaves nothing in the water" in SAID["Treatment and tests"](lamp)
    path.write_text(path.read_text() + '[site_works]\ndisinfect = "both"\n')
    results = run(path)
    both = siteworks_of(results)
    assert "Light leaves nothing" not in SAID["Treatment and tests"](both)
    # 2 mg/L of what is drunk; the toilets' water gets none
    drunk = float(results.flows.demand.sel(use="drinking").mean())
    assert both.chlorine.chlorine == pytest.approx(2.0 * drunk / 1000) and drunk < both.given.mean_demand / 2


def test_what_does_not_fit_is_told_in_feet_to_a_reader_of_feet(ready):
    with reading(US):
        said = SAID["Where it stands"](site_variant(ready, soakaway_distance=2.0))
    assert "(6.56 ft; asked: 16.4 ft or more" in said


def test_water_below_the_tap_is_said_to_be_counted_as_drawn_unless_a_pump_lifts_it(ready):
    works = site_variant(ready, tap_height=0.9, pump=None)
    # upright: the litres between outlet and tap are the area times their distance
    outlet = works.floor_height + works.vessel.outlet_mark
    below = 1000 * np.pi / 4 * works.vessel.tank_length**2 * (0.9 - outlet)
    row = next(row for row in buildability(works) if row.thing == "tap")
    assert not row.fits and row.needed - row.there == pytest.approx(below) and row.unit == "L"
    assert "counts them as drawn" in SAID["Water by its own weight"](works)
    page = SimpleNamespace(misfits=[row], other_misfits=[], engineer=False)
    assert f"{litres(below)} of the {litres(works.vessel.capacity)}" in texts_of("study").built(page)
    none = SimpleNamespace(misfits=[], other_misfits=[])
    for stand, words in ((0.0, "Nothing that is known speaks"), (2.5, "Not without an engineer")):
        raised = site_variant(ready, stand=stand, bearing=500.0, pump=None)
        none.engineer, said = raised.base.engineer, SAID["Water by its own weight"](raised)
        assert texts_of("study").built(none).startswith(words)  # a stand is an engineer's work
        assert ("No hand reaches it" in said) == (stand > 1.5) == ("A bucket" not in said)
    pumped = site_variant(ready, tap_height=0.9)
    assert "tap" not in {row.thing for row in buildability(pumped)}
    assert "counts them as drawn" not in SAID["Water by its own weight"](pumped)
