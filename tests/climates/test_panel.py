"""The panels of many climates: every control moves what is drawn and said; the sea has no answer."""

import numpy as np
import pytest
from panels import check_both_ends
from places import DATA, SCHOOL

from rainharvest import collect, simulate
from rainharvest.climates.exercises import check_explaining, check_hardest_climate, check_places_reached
from rainharvest.climates.facts import both_runs, explained, in_each_climate, sides_facts, wet_against_dry
from rainharvest.climates.panel import LAYERS, prepare_sides, region_for, region_panel, sides_panel


@pytest.fixture(scope="module")
def sides():
    return prepare_sides(SCHOOL, DATA / "records")


@pytest.fixture(scope="module")
def region():
    return region_for(SCHOOL, DATA / "region" / "rain.nc", run=45.0, low_level=-0.6, bleed=20.0)


def said(panel):
    return [sentence for _, sentence in panel.rh_figures.values()]


def test_each_slider_of_the_five_climates_changes_what_is_said(sides):
    panel = sides_panel(sides)
    assert panel.rh_words.value == "" and len(panel.rh_figures) == 2
    check_both_ends(panel)


def test_what_the_five_climates_say_is_what_was_computed(sides):
    done = in_each_climate(sides, area=580.0, capacity=15_000.0, bore=80.0, run=45.0, bleed=20.0)
    text = said(sides_panel(sides))[0]
    size = done.reaching.sel(conveyance="dry run", arrangement="rain only")
    assert [str(n) for n in done.climate.values[np.isnan(size)]] == ["semi-arid"]
    assert text.endswith("no size tried reaches it with semi-arid.")
    dry = {"conveyance": "dry run", "arrangement": "rain only", "capacity": 15_000.0}
    reached = done.volume_reliability.sel(dry).to_series()
    best_first = [f"{name} {100 * share:.0f} %" for name, share in reached.sort_values()[::-1].items()]
    assert f"supplies: {', '.join(best_first)}." in text and best_first[-1].startswith("semi-arid")


def test_the_cost_of_the_wet_run_in_five_climates_is_that_at_the_tap(sides):
    """The sign and the order are other than at the inlet: checked by direct calls of simulate."""
    done = in_each_climate(sides, area=580.0, capacity=20_000.0, bore=80.0, run=45.0, bleed=20.0)
    inlet = 1 - done.brought_a_year.sel(conveyance="wet run") / done.brought_a_year.sel(conveyance="dry run")
    assert (done.wet_cost > 0).all() and (inlet < 0).any()
    assert done.wet_cost.values.argmax() != inlet.values.argmax()
    for k, (name, climate) in enumerate(sides.climates.items()):
        water = []
        for run in both_runs(sides.catchment.conveyance, bore=80.0, run=45.0, bleed=20.0).values():
            own = dict(sides.catchment) | {"conveyance": run}
            roofs = tuple(r.model_copy(update={"outlet_level": None}) for r in own.pop("roofs"))
            inflow = collect(
                climate.rain, roofs, own.pop("conveyance"), **own, intensity=climate.intensity
            ).inflow
            water.append(float(simulate(inflow, sides.demand[name], 20_000.0).delivered[0]))
        assert float(done.wet_cost[k]) == pytest.approx(1 - water[1] / water[0], abs=1e-9)
    facts = sides_facts(done, 20_000.0)
    assert facts["dearest"].name == "semi-arid" and facts["cheapest"].name == "rain all year"
    days = float(done.wet_failed_a_year.sel(climate="semi-arid"))
    text = said(sides_panel(sides))[1]
    assert "At the tap of a tank of 15 kL: with semi-arid the wet run costs" in text and days > 0


def test_every_layer_is_drawn_and_every_place_can_be_picked(region):
    panel = region_panel(region)
    artists = {}
    for layer in LAYERS:
        panel.rh_controls["layer"].value = layer
        assert panel.rh_words.value == ""
        figure = panel.rh_figures["map"][0]
        artists[layer] = len(figure.axes[0].get_children())
        name, factor = LAYERS[layer].quantity, LAYERS[layer].factor
        mesh = next(a for a in figure.axes[0].get_children() if a.get_gid() == "cells")
        drawn = np.ma.filled(mesh.get_array(), np.nan).ravel()
        wet = wet_against_dry(region, 20_000.0)
        if name in wet or name == "group":
            values = wet[name] if name in wet else region[name]
            np.testing.assert_allclose(drawn, factor * values.values.ravel())
    assert len(set(artists.values())) == 1, "artists are moved, not added"
    panel.rh_controls["latitude"].value, panel.rh_controls["longitude"].value = -18.0, -12.0
    assert said(panel)[1] == "This place is at sea: choose another."
    panel.rh_controls["longitude"].value = -11.0
    assert "mm fall in a mean year" in said(panel)[1]
    counts = [int((region.group == k).sum()) for k in (1, 2, 3, 4)]
    assert sum(counts) == 116 and f"{counts[0]} in group 1, {counts[1]} in group 2" in said(panel)[0]


def test_the_place_named_on_the_map_is_the_place_of_the_least_and_the_most(region):
    panel = region_panel(region)
    panel.rh_controls["layer"].value = "cost of the wet run, at the tap of this tank"
    cost = wet_against_dry(region, 20_000.0).wet_cost
    low, high = (cost.where(cost == v, drop=True) for v in (cost.min(), cost.max()))
    for one in (low, high):
        south, west = -float(one.latitude[0]), -float(one.longitude[0])
        at = f"{100 * float(one.squeeze()):.1f} % at {south:.2f}° S, {west:.2f}° W"
        assert at in said(panel)[0]


def test_exercises_know_right_from_wrong(sides, region, capsys):
    five = in_each_climate(sides, area=580.0, capacity=20_000.0, bore=80.0, run=45.0, bleed=20.0)
    count = int((region.reaching.sel(conveyance="dry run") <= 30_000).sum())
    found = explained(region, 20_000.0)
    for check, given, right, wrong in (
        (check_hardest_climate, (five, 5000.0), "semi-arid", "monsoon"),
        (check_places_reached, (region, 30_000.0), count, 2 * count + 5),
        (check_explaining, (found,), "Mean dry spell", "seasonality"),
    ):
        for answer, starts in ((right, "Right."), (wrong, "Not yet: "), (None, "Put "), (..., "Answer:")):
            check(*given, answer)
            assert capsys.readouterr().out.startswith(starts), (check, answer)
