"""Options of a study: each is the study that it would be alone; gardens, pools and interruptions of the mains."""

import numpy as np
import pytest
import xarray as xr
from places import RECORDS

from rainharvest import InputError
from rainharvest.demand.evapotranspiration import from_monthly_table
from rainharvest.demand.garden import garden_demand, pool_demand
from rainharvest.demand.mains import mains_by_rule, mains_by_week, mains_in_spells
from rainharvest.demand.tables import CROPS, Garden, Pool
from rainharvest.drought.tables import Drought, drought_defaults
from rainharvest.siteworks.facts import bill_of, siteworks_of
from rainharvest.sizing.facts_printed import tank_facts
from rainharvest.storage.facts import mains_supply
from rainharvest.study.file import merged, read_study
from rainharvest.study.options import options_group
from rainharvest.study.run import study_results
from rainharvest.study.section import _if_known, defaults_of, nominal, options_said, treatment_defaults
from rainharvest.study.stages import Run, results_of

RECORD = RECORDS / "winter_rain.csv"
BASE = f"""
title = "A study of a test"
[site]
name = "Test"
[rain]
file = "{RECORD.as_posix()}"
members = 2
[[roof]]
name = "hall"
area = 150
[[roof]]
name = "shed"
area = 50
[conveyance]
kind = "dry"
run = 10
bore = 100
outlet_level = 3
inlet_level = 2
fall = 0.02
[[use]]
name = "toilets"
kind = "dual_flush"
people = 8
[[use]]
name = "taps"
kind = "drinking"
people = 8
[target]
reliability = 0.8
[costs]
fixed = 100
per_litre = 0.1
upkeep = 5
"""
OPTIONS = """
[[option]]
name = "hall alone"
note = "The shed stays as it is."
roofs = ["hall"]
[[option]]
name = "wet"
conveyance = { kind = "wet", low_level = -1 }
[[option]]
name = "small"
tank.chosen = 3000
[[option]]
name = "combined"
arrangement.kind = "combined"
[[option]]
name = "elsewhere"
site.name = "Another place"
rain.file = "MONSOON"
[[option]]
name = "toilets alone"
uses = ["toilets"]
""".replace("MONSOON", RECORD.with_name("monsoon.csv").as_posix())
BLOCKS = "[[costs.block]]\nprice = 2.0\n"
ALONE = {
    "hall alone": ('[[roof]]\nname = "shed"\narea = 50\n', ""),
    "wet": ('kind = "dry"\n', 'kind = "wet"\nlow_level = -1\n', "fall = 0.02\n", ""),
    "small": ("[target]", "[tank]\nchosen = 3000\n[target]"),
    "combined": ("[target]", '[arrangement]\nkind = "combined"\n[target]'),
    "elsewhere": ("winter_rain.csv", "monsoon.csv"),
}


def side_by_side(path):
    """Return the options' group of a study and its own results, without the stages that neither needs."""
    run = Run(read_study(path)[0], path.parent)
    return options_group(run), results_of(run, "decision")["done"]


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    folder = tmp_path_factory.mktemp("options")
    (folder / "study.toml").write_text(BASE + OPTIONS)
    return *side_by_side(folder / "study.toml"), folder


def test_each_option_is_the_study_that_it_would_be_alone(compared):
    side, _, folder = compared
    assert list(side.study_option.values) == [
        "as described", "hall alone", "wet", "small", "combined", "elsewhere", "toilets alone"
    ]  # fmt: skip
    assert side.option_note.values[1] == "The shed stays as it is."
    for name, (old, new, *more) in ALONE.items():
        text = BASE.replace(old, new)
        text = text.replace(*more) if more else text
        (folder / "alone.toml").write_text(text)
        alone = results_of(Run(read_study(folder / "alone.toml")[0], folder), "decision")["done"]
        row = side.sel(study_option=name)
        years = float(alone.days_in_year.sum()) / 365.25
        assert float(row.recommended) == float(alone.recommended) or np.isnan(alone.recommended), name
        assert float(row.inflow_a_year) == float(alone.inflow_total.median()) / years, name
        assert float(row.demand_a_year) == float(alone.demand_total) / years, name
        if not np.isnan(alone.recommended):
            assert float(row.described) == float(alone.described), name
            assert float(row.delivered_a_year) == float(alone.described_delivered.median()) / years, name


def test_what_the_options_say_of_the_trade(compared):
    side, done, _ = compared
    of = {name: side.sel(study_option=name) for name in side.study_option.values}
    base = of["as described"]
    assert float(base.recommended) == float(done.recommended)
    assert float(of["hall alone"].area) == 150 and float(base.area) == 200
    assert float(of["hall alone"].inflow_a_year) < float(base.inflow_a_year)
    assert float(of["wet"].inflow_a_year) < float(base.inflow_a_year)  # what is held is lost
    assert float(of["small"].described_nominal) == 3000
    assert float(of["combined"].mains_a_year) > 0 == float(base.mains_a_year)
    assert float(of["combined"].demand_a_year) > float(base.demand_a_year)  # taps too
    assert float(of["toilets alone"].demand_a_year) == float(base.demand_a_year)  # rain alone serves no taps
    assert (
        float(of["small"].unsupplied_a_year) == float(base.demand_a_year - of["small"].delivered_a_year) > 0
    )
    assert float(of["small"].capital) == 100 + 0.1 * 3000
    reliability = side.reliability
    assert bool((reliability.diff("nominal") >= -1e-12).all())
    np.testing.assert_array_equal(
        reliability.sel(study_option="as described"), done.volume_reliability.median("member")
    )
    assert side.reliability.attrs["units"] == "1" and side.recommended.attrs["units"] == "L"


def test_an_option_that_reaches_no_target_is_described_beside_the_study(tmp_path):
    (tmp_path / "study.toml").write_text(BASE + '[[option]]\nname = "many"\n[[option.use]]\nname = "w"\n'
                                                'kind = "dual_flush"\npeople = 900\n')  # fmt: skip
    side, _ = side_by_side(tmp_path / "study.toml")
    assert np.isnan(side.recommended[1]) and np.isnan(side.smallest_low[1])
    assert float(side.described_nominal[1]) == float(side.described_nominal[0])


@pytest.mark.parametrize(("change_over", "prices"), [("false", ""), ("false", BLOCKS), ("true", "")])
def test_what_rain_and_mains_supply_adds_up(tmp_path, change_over, prices):
    more = "[tank]\nchosen = 3000\nsizes = [2000, 3000, 4000]\n[arrangement]\nkind = 'combined'\n"
    more += f"change_over = {change_over}\ntop_up_trigger = 0.3\ntop_up_level = 0.8\n[target]"
    (tmp_path / "study.toml").write_text(
        BASE.replace("[target]", more) + "tariff = 2.0\n" * (not prices) + prices
    )
    results = study_results(tmp_path / "study.toml", last="costs")
    tank, done = tank_facts(results.done), results.done
    years = float(done.days_in_year.sum()) / 365.25
    unmet = float(done.described_unmet.median()) / years
    assert tank.rain + tank.mains == pytest.approx(tank.delivered, rel=1e-3)
    assert tank.delivered + unmet == pytest.approx(tank.demand, rel=1e-3)
    # All the water that comes in goes somewhere: so much of the rain is drawn.
    kept = done.described_stored_end - done.described_stored_start
    rain = (done.inflow_total - done.described_spilled - kept).median().item() / years
    assert tank.rain == pytest.approx(rain, rel=1e-3)
    group = results.groups["sizing"].isel(capacity=1)
    assert float(group.mains_saved) == pytest.approx(rain, rel=1e-3)
    assert float(group.saved_bill) == pytest.approx(rain / 1000 * 2.0, rel=0.01)  # whole billing periods
    bill = bill_of(results, siteworks_of(results))
    assert bill.annual == pytest.approx(float(group.annual), rel=1e-3) and bill.mains == tank.mains > 0


@pytest.mark.parametrize(
    ("option", "words"),
    [
        ('name = "x"\nrain.file = "none.csv"', r"option\[1\]\.rain\.file: there is no file"),
        (
            'name = "x"\ntarget.measure = "time_reliability"',
            r"option\[1\]\.target\.measure: it has another measure",
        ),
        ('name = "x"\nuses = ["taps"]', r"option\[1\]\.arrangement\.kind: every use needs drinking quality"),
        (
            'name = "x"\ntank.chosen = 5000\n[[option]]\nname = "x"\ntank.chosen = 6000',
            'two options bear the name "x"',
        ),
        ('name = "x"\nreport.client = "y"', r"option\[1\]\.report: an option cannot change it"),
        (
            'name = "x"\nroofs = "hall"',
            r"option\[1\]\.roofs: it is not a list of names; choose from hall, shed",
        ),
        (
            'name = "x"\nroofs = ["hill"]',
            r"option\[1\]\.roofs: 'hill' is no name of the study's; did you mean hall",
        ),
    ],
)
def test_mistakes_of_an_option_are_placed(tmp_path, option, words):
    path = tmp_path / "study.toml"
    path.write_text(f"{BASE}[[option]]\n{option}\n")
    with pytest.raises(InputError, match=words) as caught:
        read_study(path)
    assert str(caught.value).startswith(str(path)) and len(str(caught.value).splitlines()) == 1


def test_changes_are_laid_over_key_by_key():
    base = {"conveyance": {"kind": "dry", "run": 5, "fall": 0.02, "filling": 0.7}, "roof": [{"area": 1}]}
    assert merged(base, {"conveyance": {"kind": "wet", "bleed": 4}})["conveyance"] == {
        "kind": "wet",
        "run": 5,
        "bleed": 4,
    }
    assert merged(base, {"conveyance": {"kind": "dry", "run": 6}})["conveyance"]["fall"] == 0.02
    assert merged(base, {"roof": [{"area": 2}]})["roof"] == [{"area": 2}]
    assert base["conveyance"]["run"] == 5


GARDEN = """
[[garden]]
name = "beds"
bed_area = 10
crop = "tomato"
[[pool]]
name = "pond"
pool_area = 3
[weather]
evapotranspiration = [6, 6, 5, 3, 2, 1, 1, 2, 3, 4, 5, 6]
"""


def test_a_study_with_a_garden_and_a_pool(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(BASE + GARDEN)
    results = study_results(path, last="decision")
    asked = results.flows.demand
    assert list(asked.use.values) == ["toilets", "beds", "pond"] and asked.dims == ("use", "time")
    rain = results.record.filled.isel(member=0, drop=True)
    thirst = from_monthly_table([6, 6, 5, 3, 2, 1, 1, 2, 3, 4, 5, 6], rain)
    beds = garden_demand(Garden(name="beds", bed_area=10, crop="tomato"), rain, thirst).garden_demand
    np.testing.assert_array_equal(asked.sel(use="beds"), beds)
    np.testing.assert_array_equal(asked.sel(use="pond"), pool_demand(Pool(pool_area=3), rain, thirst)[0])
    named = treatment_defaults(results) | defaults_of(results)  # the soil is loam, watered by drip
    assert named["beds: water that the soil holds for plants, loam"].value == 130
    assert named["beds: share of the watering that stays in the root zone, drip"].value == 0.9
    assert named["beds: crop coefficient in mid-season, tomato"].value == CROPS["tomato"].middle
    assert named["beds: root depth"].value == 0.3 and named["pond: drop of the pool"].value == 50
    assert "beds: drop of the pool" not in named and "Dose of ultraviolet light" not in named
    (tmp_path / "plain.toml").write_text(BASE)
    assert float(results.done.recommended) > float(
        study_results(tmp_path / "plain.toml", last="decision").done.recommended
    )
    back = results.done.copy(deep=True)
    back.to_netcdf(tmp_path / "results.nc")
    with xr.open_dataset(tmp_path / "results.nc") as read:
        assert list(read.use.values) == ["toilets", "beds", "pond"]


def test_interruptions_of_the_mains_hold_together(tmp_path):
    path = tmp_path / "study.toml"
    path.write_text(
        BASE + '[arrangement]\nkind = "mains reserve"\nmains_off = ["sun"]\nmains_hours = { fri = 6 }\n'
        "top_up_rate = 400\nspells = { spell_length = 2, interruptions_a_year = 10, seed = 3 }\n"
    )
    results = study_results(path, last="decision")
    days = results.flows.demand.time
    on = mains_supply(results.study.arrangement, days)
    each = [mains_by_rule(days, ["sun"]), mains_by_week(days, {"fri": 6}), mains_in_spells(days, 2, 10, 3)]
    np.testing.assert_array_equal(on, each[0] * each[1] * each[2])
    assert results.done.attrs["mains"] == "; ".join(one.attrs["assumptions"] for one in each)
    path.write_text(path.read_text().replace("spell_length = 2", "spell_length = 4"))
    assert float(study_results(path, last="decision").done.recommended) > float(results.done.recommended) > 0


def test_an_option_pays_for_the_mains_water_that_it_takes(tmp_path):
    """By hand, 4 % over 20 years: each year's tariff 1.02 times the last's, spread evenly, beside page 1's cost."""
    combined = '[[option]]\nname = "combined"\narrangement.kind = "combined"\n'
    (tmp_path / "study.toml").write_text(BASE + "tariff = 2.5\ntariff_growth = 0.02\n" + combined)
    side, _ = side_by_side(tmp_path / "study.toml")
    even = sum(1.02 ** (t - 1) / 1.04**t for t in range(1, 21)) / sum(1.04**-t for t in range(1, 21))
    paid = side.mains_a_year / 1000 * 2.5 * even
    np.testing.assert_allclose(side.annual_with_mains - side.annual, paid, rtol=1e-9)
    assert float(paid[0]) == 0 < float(paid[1])
    said = " ".join(options_said(side, 0.8))
    assert "mains water counted, is paid for “as described”" in said


def test_an_option_without_a_number_says_so():
    assert (_if_known(nominal)(float("nan")), _if_known(nominal)(4_950.0)) == ("none", "5,000 L")


def test_a_report_lists_only_the_defaults_that_entered_it(tmp_path):
    """No roof for a reserve but in the option that has one, no valve in a tank without, no height of tanks that
    are bought, nothing that the file gives; an option's own are named after it."""
    tanks = (RECORDS.parent / "catalogues" / "invented_tanks.csv").as_posix()
    mains = '[arrangement]\nkind = "{}"\n{}\n'
    rain_too = '[[option]]\nname = "rain too"\narrangement.kind = "combined"\n'
    cases = {
        "reserve": mains.format("mains reserve", 'mains_off = ["sun"]') + rain_too,
        "top-up": mains.format("combined", "") + "[tank]\ndead_share = 0.05\n[drought]\nhelp_days = 14\n",
        "change-over": mains.format("combined", "change_over = true"),
        "bought": f'[catalogue]\nfile = "{tanks}"\nmost_linked = 4\n',
    }
    named = {}
    for name, more in cases.items():
        (tmp_path / "study.toml").write_text(BASE + more)
        named[name] = set(defaults_of(study_results(tmp_path / "study.toml", last="decision")))
    both = {"Filter efficiency", "hall: runoff coefficient", "First flush", "Pipe roughness"}
    assert not both & named["reserve"] and {f"Option “rain too”: {one}" for one in both} <= named["reserve"]
    assert both < named["top-up"] & named["change-over"] & named["bought"]
    valve = {"Mains speed", "Least air gap elsewhere"}
    assert valve <= named["reserve"] & named["top-up"] and not valve & (
        named["change-over"] | named["bought"]
    )
    assert "Height" in named["top-up"] and "Height" not in named["bought"]
    assert "Share of the tank above the overflow" in named["top-up"]
    assert "Share of the tank below the outlet" in named["bought"] - named["top-up"]  # given in the file
    assert "Shortest storm looked at" not in set.union(*named.values())  # nobody has dug a trial pit
    assert all("Filling: rain from which a day is wet" in one for one in named.values())
    plan = xr.Dataset({"stage_level": 0.5, "dry_by_rain": 1}, attrs={"essential_marked": 1})
    listed = set(drought_defaults(Drought(help_days=14, stage_shares=[0.3]), plan))
    assert "Share of the years called dry" in listed and "Time that help takes" not in listed
    assert not [name for name in listed if "stage" in name or "marked essential" in name]
    assert not drought_defaults(Drought(), xr.Dataset())
