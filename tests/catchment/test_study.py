"""Dry against wet for the demo's study: the sentences follow the numbers, the exercises know the answers."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from panels import check_both_ends, said
from places import DATA, SCHOOL, whole

from rainharvest import InputError
from rainharvest.catchment import section
from rainharvest.catchment.collect import collect
from rainharvest.catchment.exercises import check_backing_up, check_best_bore, check_dry_reach
from rainharvest.catchment.facts import (
    OWN_RAIN,
    catchment_defaults,
    dry_and_wet,
    first_flush_cost,
    hardness_of,
    which_roof_first,
    with_hardness,
)
from rainharvest.catchment.hydraulics import (
    cannot_work,
    head_margin,
    held_volume,
    pipe_capacity,
    static_pressure,
)
from rainharvest.catchment.intensity import CLIMATES, Intensity, estimate_intensity, intensity_of_file
from rainharvest.catchment.panel import catchment_panel, load_case
from rainharvest.catchment.section import side_by_side, tell_first_flush, tell_roofs, tell_runs
from rainharvest.catchment.tables import COEFFICIENTS, FITTINGS, INTENSITY, Catchment, Conveyance, Roof
from rainharvest.core.text import texts_of
from rainharvest.rainfall.facts import DEMO_STEMS
from rainharvest.study.file import read_study, study_from
from rainharvest.study.run import run_study

SAY = texts_of("catchment")


@pytest.fixture(scope="module")
def case():
    return load_case(SCHOOL, DATA / "records")


def test_the_studys_own_rain_comes_first_and_every_climate_is_whole(case):
    assert list(case.climates) == [OWN_RAIN, *DEMO_STEMS]
    for climate in case.climates.values():
        assert climate.rain.sizes["time"] == 21915 and not climate.rain.isnull().any()


def test_the_studys_own_rain_is_that_of_its_run(case):
    ran = run_study(SCHOOL)
    own = case.climates[OWN_RAIN]
    assert own.intensity.mean_intensity == CLIMATES["humid mid-latitude"].mean_intensity
    assert own.intensity.source.startswith("taken as humid mid-latitude (by the site's latitude)")
    np.testing.assert_allclose(
        own.rain.sum() * case.area, ran.mean_rain_on_roof * ran.sizes["time"], rtol=1e-9
    )


def test_both_runs_account_for_the_rain_of_a_year(case):
    done = dry_and_wet(case, "monsoon", 75.0, bleed=20)
    rain = float(case.climates["monsoon"].rain.mean()) * 365.25 * case.area
    left = done.table.loc["left"].astype(float).to_numpy() / 60
    np.testing.assert_allclose(done.yearly.sum("cause") + left, rain, rtol=1e-9)
    assert float(done.yearly.sel(conveyance="dry run", cause="held in pipe")) == 0
    at_own_bore = done.curve.inflow.sel(bore=100) * 365.25
    np.testing.assert_allclose(done.yearly.sel(conveyance="wet run", cause="delivered"), at_own_bore)


def test_hourly_rain_says_how_hard_it_rains(tmp_path):
    text = whole()
    path = tmp_path / "hourly.toml"
    hours = DATA / "hours" / "winter_rain_2018_2019.csv"
    path.write_text(f'{text}\n[losses.intensity]\nhourly_rain = "{hours.as_posix()}"\n', encoding="utf-8")
    found = read_study(path)[0].losses.intensity
    hourly = pd.read_csv(hours, comment="#", index_col=0, parse_dates=True).rain_mm
    assert found == estimate_intensity(hourly) and found.kind == "estimated"
    assert found.mean_intensity == pytest.approx(hourly[hourly > 0].mean())
    kept = xr.Dataset(attrs={"brought_by_hardness": json.dumps({"dry": 990.0, "monsoon": 1200.0})})
    told = SAY.hardness(hardness_of(found, kept))
    assert SAY.hardness_matters(hardness_of(found, kept)) == ""  # measured
    guessed = SAY.hardness_matters(hardness_of(INTENSITY, kept))
    assert guessed.startswith(
        "How hard it rains within a day is not measured there: were it as in monsoon, 1,200 L"
    )
    assert "estimated from 1-hour rain, 2018-01-01 to 2019-12-31" in told
    assert "as in monsoon, 1,200 L a year would reach the tank, as in dry 990 L" in told
    # Days with a reading missing are left out, like the dry ones.
    wettest = hourly.groupby(hourly.index.floor("D")).sum().idxmax()
    wet_hour = hourly[hourly.index.floor("D") == wettest].idxmax()
    hourly.drop(wet_hour).to_csv(tmp_path / "gap.csv")
    without = hourly.mask(hourly.index.floor("D") == wettest, 0.0)
    assert intensity_of_file(tmp_path / "gap.csv", "mm") == estimate_intensity(without)
    path.write_text(f'{text}\n[losses.intensity]\nhourly_rain = "nowhere.csv"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"hourly.toml: losses.intensity: .*nowhere.csv"):
        read_study(path)


def test_sentences_say_what_fails_and_what_mends_it(case):
    done = dry_and_wet(case, "rain in winter", 75.0, run=120, bleed=20)
    said = SAY.levels(done)
    assert "stand the tank within 90 m" in said and "Wet: the head" in said
    assert SAY.losses(done).startswith("A dry run cannot work here") and "brings most" in SAY.bore(done)
    none = dry_and_wet(case, "rain in winter", 75.0, inlet_level=4.0)
    assert none.curve is None and none.yearly.isnull().all()
    assert "lower the inlet, or raise the outlet" in SAY.levels(none)
    assert SAY.losses(none).startswith("Neither") and SAY.bore(none).startswith("No bore")
    # 300 m2 x 75 mm/h / 3,600 = 6.25 L/s: a half goes up, as on page 1
    assert "brings 6.3 L/s" in SAY.levels(dry_and_wet(case, "rain in winter", 75.0, area=300.0))


def test_a_pipe_is_held_against_what_the_gutters_let_through(case):
    roofs = (Roof(name="hall", area=200, gutter_capacity=2.4), Roof(name="shed", area=48))
    held = replace(case, catchment=case.catchment.model_copy(update={"roofs": roofs}))
    done = dry_and_wet(held, "rain in winter", 75.0)
    # 200 and 48 m2 x 75 mm/h / 3,600 are 4.17 and 1.0 L/s; the hall's gutter lets 2.4 of the 4.17 through. By Colebrook
    # and White 100 mm at 1 in 100, 70 % full, pass 4.67: enough for the 3.4, and not for the 5.17.
    assert (done.shed, done.flow) == (pytest.approx(248 * 75 / 3600), pytest.approx(3.4))
    assert done.levels["dry run"].enough and done.table.loc["works", "dry run"] == "yes"
    assert done.table.loc["storm"].tolist() == [done.flow] * 2 and done.table.loc["share_passed"].eq(1).all()
    assert "brings 5.2 L/s, of which the gutters let through 3.4 L/s. Dry:" in SAY.levels(done)
    assert "gutters" not in SAY.levels(dry_and_wet(case, "rain in winter", 75.0))


def test_page_03_opens_on_the_studys_own_design_storm(case):
    # 580 m2 x 120 mm/h / 3,600 = 19.3 L/s, as page 1 has it
    hard = replace(case, design_intensity=120.0)
    assert "brings 19.3 L/s" in said(catchment_panel(hard))["levels"]
    assert dry_and_wet(hard, OWN_RAIN).flow == pytest.approx(580 * 120 / 3600)


def test_table_and_sentences_are_rounded_and_complete(case, capsys):
    done = dry_and_wet(case, "rain in winter", 75.0, bleed=20)
    shown = side_by_side(done)
    assert shown.map(lambda v: isinstance(v, str)).all(None) and list(shown.columns) == ["dry run", "wet run"]
    assert shown.loc["velocity at the design storm (m/s)", "dry run"] == "–"
    held = done.table.loc["held", "wet run"]
    assert shown.loc["water held (L)", "wet run"] == f"{held:.0f}"
    assert "spells a year beyond 7 days" in shown.index
    tell_runs(done)
    said = capsys.readouterr().out
    assert "above the guideline of 0.7" in said and max(map(len, said.splitlines())) <= 100


def test_every_roof_has_its_cautions(case, capsys):
    tell_roofs(case)
    said = capsys.readouterr().out
    assert "classroom block, 420 m² of metal:\n  - copper or zinc: " in said
    assert "clinic, 160 m² of tile:\n  - nothing known" in said


def test_which_roof_first_is_litres_for_a_metre(case):
    near = which_roof_first(case, "monsoon", {"classroom block": 60, "clinic": 5})
    far = which_roof_first(case, "monsoon", {"classroom block": 5, "clinic": 60})
    assert list(near.index) == ["clinic", "classroom block"] == list(far.index[::-1])
    np.testing.assert_allclose(near.total.iloc[-1], far.total.iloc[-1])
    with pytest.raises(InputError, match="classroom block"):
        which_roof_first(case, "monsoon", {"clinic": 5})


def test_more_roof_widens_the_best_bore_and_more_bleed_narrows_it(case):
    def best(**changes):
        return dry_and_wet(case, "rain in winter", 75.0, run=60, **changes).curve.attrs["best_bore"]

    assert best(bleed=20, area=100) < best(bleed=20, area=2000)
    assert best(bleed=200) < best(bleed=20)


def test_first_flush_costs_more_the_deeper_and_most_where_rain_is_light(case, capsys):
    cost = first_flush_cost(case, (0.0, 0.4, 10.0))
    assert (cost.sel(first_flush=0.0) == 0).all() and (cost.diff("first_flush") > 0).all()
    assert float(cost.sel(climate="monsoon", first_flush=10)) == float(cost.sel(first_flush=10).min())
    tell_first_flush(case, (0.4,))
    assert f"{100 * float(cost.sel(climate='monsoon', first_flush=0.4)):.1f} %" in capsys.readouterr().out


@pytest.mark.parametrize(
    "check, right, wrong",
    [
        (lambda case, x: check_dry_reach(case, x), 90, 50),
        (lambda case, x: check_backing_up(case, x), 4.9, 10),
        (lambda case, x: check_best_bore(case, "semi-arid", 100, x), None, 300),
    ],
)
def test_exercises_know_right_from_wrong(case, capsys, check, right, wrong):
    if right is None:
        right = dry_and_wet(case, "semi-arid", 75.0, bleed=100).curve.attrs["best_bore"]
    check(case, right)
    assert capsys.readouterr().out.startswith("Right.")
    check(case, wrong)
    assert capsys.readouterr().out.startswith("Not yet: ")


def test_a_study_without_a_run_is_refused_by_name(tmp_path):
    before, after = whole().split("[[option]]")[0].split("[conveyance]")
    path = tmp_path / "no_run.toml"
    path.write_text(before + "[calendar]" + after.split("[calendar]")[1], encoding="utf-8")
    with pytest.raises(InputError, match="no run of pipe"):
        load_case(path, DATA / "records")


# ---- the panel without a browser: every control to both ends, each is heard and answered


@pytest.fixture(scope="module")
def panel(case):
    return catchment_panel(case)


def test_every_slider_changes_what_is_said_at_both_ends_and_the_way_back_is_exact(panel):
    check_both_ends(panel)


def test_another_climate_gives_another_answer(panel):
    control = panel.rh_controls["climate"]
    answers = set()
    for climate in control.options:
        control.value = climate
        answers.add("".join(said(panel).values()))
    assert len(answers) == len(control.options)
    control.value = control.options[0]


# ---- every default that a catchment works with is named with its source; the user's own numbers are not

LEVELS = dict(run=20, bore=100, outlet_level=3.0, inlet_level=2.4)


def test_defaults_of_a_wet_run():
    site = Catchment(
        roofs=(Roof(name="hall", area=100, material="tile"),), conveyance=Conveyance(kind="wet", **LEVELS)
    )
    used = catchment_defaults(site)
    assert used["hall: runoff coefficient"] is COEFFICIENTS["tile"]
    assert used["Loss of bend 90 (velocity heads)"] is FITTINGS["bend 90"]
    assert used["Wet-hour intensity"].source.startswith("hourly rain of three airports")
    assert "Fall" not in used and used["Pipe roughness"].kind == "standard"
    assert all(d.source and d.kind for d in used.values())


def test_what_the_user_gave_is_no_default():
    dry = Conveyance(kind="dry", fall=0.02, roughness=0.25, **LEVELS)
    site = Catchment(
        roofs=(Roof(area=100, wetting=0, runoff_coefficient=0.9),), conveyance=dry, first_flush=0.41
    )
    mine = Intensity(mean_intensity=2, variation=1)
    used = catchment_defaults(site, intensity=mine)
    assert set(used) == {
        "First-flush bleed",
        "First-flush reset",
        "Filter efficiency",
        "Filling",
        "Viscosity",
    }
    none = site.model_copy(update={"first_flush": 0.0})
    assert set(catchment_defaults(none, mine)) == {"Filter efficiency", "Filling", "Viscosity"}


def test_intensity_counts_only_where_something_is_limited():
    assert "Wet-hour intensity" not in catchment_defaults(Catchment(roofs=(Roof(area=1),)))
    site = Catchment(roofs=(Roof(area=1, gutter_capacity=1),))
    used = catchment_defaults(site, intensity=CLIMATES["monsoon"])
    assert used["Wet-hour intensity"].kind == "own choice" and used["Wet-hour intensity"].value == 3.0


RANDOM = 60


def random_study(rng) -> dict:
    """Return the tables of a study with some run of pipe, every key of it drawn or left out."""
    kind = rng.choice(["dry", "wet"])
    inlet = round(rng.uniform(0.4, 3.0), 2)
    run = {
        "kind": str(kind),
        "run": float(rng.integers(0, 80)),
        "bore": float(rng.choice([50, 80, 100, 150])),
        "inlet_level": inlet,
        "outlet_level": round(inlet + rng.uniform(-0.2, 2.0), 2),
    }
    maybe = {"roughness": 0.15, "filter_drop": 0.1, "downpipes": 2, "fittings": {"bend 90": 5, "screen": 1}}
    own = {
        "dry": {"fall": 0.005, "filling": 0.5},
        "wet": {
            "low_level": round(min(inlet, run["outlet_level"]) - rng.uniform(0.1, 4), 2),
            "bleed": 30.0,
            "emptied_after": 5.0,
        },
    }[kind]
    run |= {key: value for key, value in (maybe | own).items() if rng.random() < 0.5}
    if kind == "wet" and "low_level" not in run and min(inlet, run["outlet_level"]) < -0.5:
        run["low_level"] = own["low_level"]
    return {
        "title": "some roof",
        "site": {"name": "somewhere", "latitude": float(rng.integers(-60, 60)), "invented": True},
        "rain": {"file": "winter_rain.csv"},
        "use": [{"name": "toilets", "kind": "dual_flush", "people": 4}],
        "roof": [{"name": "house", "area": float(rng.integers(20, 400))}],
        "conveyance": run,
        "tank": {"freeboard_share": round(rng.uniform(0.02, 0.2), 2)},
        "site_works": {"height": round(rng.uniform(1.0, 3.0), 1)} if rng.random() < 0.5 else {},
    }


def test_the_reports_table_is_a_direct_call_with_the_studys_own_run(monkeypatch, count=RANDOM):
    """On random studies: every number as the public functions give it, and never "yes" beside a negative margin."""
    monkeypatch.setattr(section, "picture", lambda *_, **__: None)
    rng = np.random.default_rng(7)
    wet = rng.random(800) < 0.3
    days = pd.date_range("2001-01-01", periods=800)
    rain = xr.DataArray(np.where(wet, rng.exponential(9, 800), 0.0)[None], {"time": days}, ("member", "time"))
    seen = set()
    for _ in range(count):
        tables = random_study(rng)
        study, mistakes = study_from(tables, DATA / "records")
        written, works = tables["conveyance"], tables["site_works"]
        full = (1 - tables["tank"]["freeboard_share"]) * works["height"] if works else None
        run = Conveyance(**written, tank_water_level=full)
        refused = [m for m in mistakes if not m.doubt]
        if cannot_work(run):
            assert [(m.place, m.problem, m.remedy) for m in refused] == [("conveyance", *cannot_work(run))]
            seen.add((run.kind, "no"))
            continue
        assert not refused
        record = SimpleNamespace(filled=rain)
        water = with_hardness(study, record, xr.Dataset())
        results = SimpleNamespace(study=study, record=record, flows=SimpleNamespace(water=water), done={})
        shown = next(
            block
            for block in section.catchment_section(results).blocks
            if getattr(block, "caption", "") == section.WORDS["comparison"]["caption"]
        )
        water_level = study.conveyance.tank_water_level
        assert water_level == (full and pytest.approx(full))
        run = Conveyance(**written, tank_water_level=water_level)
        column = ("dry", "wet").index(run.kind) + 1
        cells = {row[0]: row[column] for row in shown.rows}
        flow = tables["roof"][0]["area"] * 75 / 3600
        margin = head_margin(run, flow)
        water = collect(rain.isel(member=0), study.roof, run, intensity=study.losses.intensity)
        direct = {
            "delivered": float(water.inflow.mean()) * 365.25,
            "passes": pipe_capacity(run),
            "margin": margin,
            "held": held_volume(run),
            "pressure": static_pressure(run),
            "storm_pressure": static_pressure(run, backed_up=True),
        }
        for name, value in direct.items():
            said, unit = section.WORDS["comparison"]["rows"][name]
            shown_as = next(cell for head, cell in cells.items() if head.startswith(said))
            assert shown_as == section._cell(value, unit), (name, written)
        enough = margin >= 0 and (run.kind == "wet" or pipe_capacity(run) >= flow)
        assert cells["can it work"] == ("yes" if enough else "in part: it backs up in the design storm")
        assert not (
            cells["can it work"] == "yes" and cells["head margin at the design storm (m)"].startswith("-")
        )
        seen.add((run.kind, "yes" if enough else "in part"))
    assert len(seen) == 6 or count < RANDOM
