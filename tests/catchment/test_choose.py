"""Choices: bore, dry or wet, which roof first; standing water; overflow; cautions."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from rainharvest import InputError
from rainharvest.catchment.chain import LOSSES
from rainharvest.catchment.collect import collect, collect_finer, collect_totals, daily_rain
from rainharvest.catchment.compare import best_bore, compare_conveyance, gutter_hours, roof_order, vary
from rainharvest.catchment.drainage import daily_overflow, most_through_pipe, peak_overflow
from rainharvest.catchment.hydraulics import (
    friction_head,
    held_volume,
    pipe_capacity,
    pipe_limit,
    section,
    standing_days,
    standing_spells,
)
from rainharvest.catchment.intensity import Intensity, estimate_intensity
from rainharvest.catchment.tables import CAUTIONS, Catchment, Conveyance, Roof, roof_cautions, run_of_kind

WET = Conveyance(kind="wet", run=60, bore=80, outlet_level=3.0, inlet_level=2.4, bleed=40.0)
HARD = Intensity(mean_intensity=3.5, variation=1.3, depth_growth=0.6)
GENTLE = Intensity(mean_intensity=0.9, variation=1.0, depth_growth=0.6)


def some_rain(days=3653, wet=0.3, depth=9.0, seed=1):
    rng = np.random.default_rng(seed)
    values = np.where(rng.random(days) < wet, rng.exponential(depth, days), 0.0)
    return pd.Series(values, index=pd.date_range("2001-01-01", periods=days))


# ---- bore


def test_best_bore_is_an_optimum_that_moves_with_climate_and_bleed():
    site = Catchment(roofs=(Roof(area=250),), conveyance=WET)
    bores = np.arange(30, 301, 10.0)
    hard = best_bore(some_rain(), site, bores, intensity=HARD)
    gentle = best_bore(some_rain(), site, bores, intensity=GENTLE)
    best = hard.attrs["best_bore"]
    assert bores[0] < best < bores[-1]
    at = hard.inflow.sel(bore=best)
    assert float(hard.inflow[0]) < float(at) and float(hard.inflow[-1]) < float(at)
    assert gentle.attrs["best_bore"] < best
    kept = site.model_copy(update={"conveyance": WET.model_copy(update={"bleed": 1000.0})})
    assert best_bore(some_rain(), kept, bores, intensity=HARD).attrs["best_bore"] < best
    assert float(hard.limit.sel(bore=80)) == pytest.approx(pipe_limit(site))


def test_without_bleed_a_wider_pipe_never_brings_less_but_for_its_first_filling():
    site = Catchment(roofs=(Roof(area=250),), conveyance=WET.model_copy(update={"bleed": 0.0}))
    data = best_bore(some_rain(), site, [40, 60, 80, 100, 150, 300], intensity=HARD)
    after_filling = data.inflow * 3653 + data.held.sel(store="pipe")
    assert (after_filling.diff("bore") >= -1e-6).all()
    assert data.attrs["best_bore"] < 300


def test_vary_agrees_with_collect_and_names_its_dimension():
    site = Catchment(roofs=(Roof(area=250),), conveyance=WET)
    data = vary(some_rain(500), site, "first_flush", [0.0, 0.5, 20.0])
    assert data.inflow.dims == ("first_flush",) and data.first_flush.attrs["units"] == "mm"
    alone = collect(some_rain(500), site.roofs, site.conveyance, first_flush=20.0)
    assert float(data.inflow.sel(first_flush=20)) == pytest.approx(float(alone.inflow.mean()))
    assert (data.inflow.diff("first_flush") < 0).all()
    for field in ("roofs", "colour"):
        with pytest.raises(InputError, match="no setting"):
            vary(some_rain(50), site, field, [1])
    with pytest.raises(InputError, match="bore is zero"):
        vary(some_rain(50), site, "bore", [0.0])


# ---- limits shared by roofs


def test_limit_of_a_run_shared_by_roofs_with_limits_of_their_own():
    """Two roofs of 100 m2, coefficient 1; one gutter passes 0.5 L/s = 18 mm/h. Pipe 2.0 L/s = 7,200 L/h.

    Above 18 mm/h the first gives 1,800 L/h, the second 100 L/h for each mm/h: 1,800 + 100 c = 7,200, c = 54.
    """
    roofs = (
        Roof(name="a", area=100, runoff_coefficient=1, gutter_capacity=0.5),
        Roof(name="b", area=100, runoff_coefficient=1),
    )
    run = Conveyance(kind="wet", run=60, bore=100, outlet_level=3.0, inlet_level=2.4)
    scale = pipe_capacity(run) / 2.0
    roofs = tuple(r.model_copy(update={"area": r.area * scale}) for r in roofs)
    roofs = (roofs[0].model_copy(update={"gutter_capacity": 0.5 * scale}), roofs[1])
    assert pipe_limit(Catchment(roofs=roofs, conveyance=run, filter_efficiency=1)) == pytest.approx(54)
    assert pipe_limit(Catchment(roofs=roofs[:1], conveyance=run)) == np.inf
    assert pipe_limit(Catchment(roofs=roofs)) == np.inf


def test_hours_of_overflow_against_hourly_rain(airports):
    rain = airports["LGA"]
    site = Catchment(roofs=(Roof(area=100, runoff_coefficient=1, gutter_capacity=0.2),))  # 7.2 mm/h
    truth = int((rain > 7.2).sum())
    hours = gutter_hours(daily_rain(rain), site, estimate_intensity(rain))
    assert hours == pytest.approx(truth, rel=0.25) and truth > 10


# ---- dry against wet


def test_comparison_is_one_table_that_agrees_with_the_chain():
    rain = some_rain(1500)
    site = Catchment(roofs=(Roof(area=250),))
    dry = Conveyance(kind="dry", run=15, bore=125, outlet_level=3.0, inlet_level=2.4)
    runs = {"near, dry": dry, "far, wet": WET, "far, dry": run_of_kind(WET, "dry")}
    table = compare_conveyance(rain, site, runs, design_intensity=75)
    assert list(table.columns) == list(runs)
    assert table.loc["works", "near, dry"] == "yes"
    # 60 m at 1 % fit exactly; 80 mm are too narrow
    assert table.loc["works", "far, dry"].startswith("in part")
    wet = table["far, wet"]
    assert wet["delivered"] == pytest.approx(
        float(collect(rain, site.roofs, WET).inflow.mean()) * 365.25, rel=1e-9
    )
    lost = wet[list(LOSSES)].sum()
    fallen = rain.sum() * 250
    years = 1500 / 365.25
    assert (wet["delivered"] + lost) * years + wet["left"] == pytest.approx(fallen)
    assert table.loc["held", "near, dry"] == 0 and wet["held"] > 100
    assert table.loc["held in pipe", "near, dry"] == 0 < wet["held in pipe"]
    assert table.loc["standing_share", "near, dry"] == 0 < wet["standing_share"] < 1
    assert wet["margin"] < 0 < wet["share_passed"] < 1 and wet["works"].startswith("in part")


def test_a_run_that_cannot_work_has_reasons_and_no_numbers():
    high = WET.model_copy(update={"outlet_level": 2.0})
    table = compare_conveyance(
        some_rain(100), Catchment(roofs=(Roof(area=100),)), {"good": WET, "high": high}, design_intensity=75
    )
    assert table.loc["works", "high"].startswith("no: ") and table["high"].iloc[1:].isna().all()


# ---- which roof first


def test_roof_order_takes_the_most_litres_per_metre_first():
    roofs = (
        Roof(name="barn", area=300, pipe_to_add=60),
        Roof(name="porch", area=10, pipe_to_add=0),
        Roof(name="house", area=120, pipe_to_add=8),
    )
    order = roof_order(some_rain(), Catchment(roofs=roofs))
    assert order.index.to_list() == ["porch", "house", "barn"]
    assert order.added.sum() == pytest.approx(order.total.iloc[-1])
    assert order.added_per_metre["house"] == pytest.approx(order.added["house"] / 8)


def test_roof_order_counts_what_the_shared_run_can_still_pass():
    roofs = (Roof(name="one", area=200, pipe_to_add=10), Roof(name="two", area=200, pipe_to_add=10.001))
    narrow = WET.model_copy(update={"bore": 32.0, "bleed": 0.0})
    order = roof_order(some_rain(), Catchment(roofs=roofs, conveyance=narrow), intensity=HARD)
    assert order.index[0] == "one" and order.added["two"] < 0.8 * order.added["one"]


def test_roof_order_needs_distances_and_names():
    with pytest.raises(InputError, match="no pipe_to_add"):
        roof_order(some_rain(10), Catchment(roofs=(Roof(area=1),)))
    with pytest.raises(InputError, match="bear the name"):
        roof_order(some_rain(10), Catchment(roofs=(Roof(area=1, pipe_to_add=1),) * 2))


# ---- standing water


def test_standing_days_by_hand():
    rain = pd.Series([9, 0, 0, 0, 9, 0, 0, 0.0], index=pd.date_range("2001-01-01", periods=8))
    run = WET.model_copy(update={"bleed": 0.0, "emptied_after": 3.0})
    water = collect(rain, Roof(area=200), run)
    # Emptied on the third dry day: it stands for two days, twice.
    assert standing_days(water).values.tolist() == [0, 1, 2, 0, 0, 1, 2, 0]
    spells = standing_spells(water, standing_limit=1)
    assert (int(spells.longest), int(spells.spells), int(spells.spells_beyond)) == (2, 2, 2)
    assert float(spells.share) == 0.5


def test_standing_over_members_and_none_in_a_dry_run():
    rain = xr.DataArray(
        np.stack([some_rain(400, seed=s).values for s in range(3)]),
        dims=("member", "time"),
        coords={"time": some_rain(400).index},
    )
    spells = standing_spells(collect(rain, Roof(area=200), WET.model_copy(update={"bleed": 0.0})))
    assert spells.longest.dims == ("member",) and (spells.longest > 5).all()
    dry = Conveyance(kind="dry", run=10, bore=100, outlet_level=3, inlet_level=2)
    none = standing_spells(collect(rain, Roof(area=200), dry))
    assert int(none.longest.max()) == 0


def test_an_inflow_that_renews_a_part_of_the_water_leaves_the_rest_its_age():
    """By hand: 331 L of pipe; 100 L enter every third day, and push out 100 L of the oldest each time.

    The pipe fills with 1,600 L on day 0. Day 3 leaves 231 L of day 0, day 6 leaves 131, day 9 leaves 31; day 12
    pushes out the last of them: then the oldest are what is left of day 3, nine days old.
    """
    held = held_volume(WET)
    assert held == pytest.approx(331, abs=1)
    time = pd.date_range("2001-01-01", periods=14)
    inflow = np.zeros(14)
    inflow[0], inflow[[3, 6, 9, 12]] = 1600 - held, 100.0
    water = xr.Dataset(
        {
            "inflow": ("time", inflow),
            "lost": (("time", "loss"), np.zeros((14, 1))),
            "held": (("time", "store"), np.full((14, 1), held)),
        },
        {"time": time, "loss": ["held in pipe"], "store": ["pipe"]},
    )
    assert standing_days(water).values.tolist() == [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 9, 10]
    spells = standing_spells(water, standing_limit=7)
    assert int(spells.spells) == 1 and int(spells.spells_beyond) == 1
    assert float(spells.share_beyond) == pytest.approx(6 / 14)


def test_the_age_of_the_water_is_that_of_a_queue_of_parcels():
    """An independent loop: every day's water stands in a list and leaves it in turn."""
    water = collect(some_rain(1000), Roof(area=20), WET)
    held, lost = water.held.sel(store="pipe").values, water.lost.sel(loss="held in pipe").values
    parcels, ages = [], []
    for day in range(1000):
        out = water.inflow.values[day] + lost[day]
        came = out + held[day] - (held[day - 1] if day else 0.0)
        parcels.append([day, came])
        while parcels and out >= parcels[0][1] - 1e-4:
            out -= parcels.pop(0)[1]
        if parcels:
            parcels[0][1] -= out
        ages.append(day - parcels[0][0] if parcels and held[day] > 1e-4 else 0)
    stood = standing_days(water).values
    assert stood.tolist() == ages and max(ages) > 7


# ---- overflow


def test_peak_overflow_is_the_least_of_roofs_gutters_and_pipe():
    roofs = (Roof(area=100, gutter_capacity=1.0), Roof(area=80))
    free = peak_overflow(Catchment(roofs=roofs), 90)
    assert (free.roofs, free.gutters, free.flow, free.governed_by) == (4.5, 3.0, 3.0, "gutters")
    narrow = peak_overflow(Catchment(roofs=roofs, conveyance=WET), 90)
    assert narrow.flow == narrow.pipe == pytest.approx(pipe_capacity(WET)) and narrow.governed_by == "pipe"


def test_overflow_counts_on_a_dry_run_that_fills_in_the_storm():
    dry = Conveyance(kind="dry", run=20, bore=100, outlet_level=3.0, inlet_level=2.0)
    full = most_through_pipe(dry)
    # 1 m of head drives 20 m along and 1 m down, an entrance, three bends and the exit.
    needed = (
        friction_head(full, 100, 21, dry.roughness) + (full / 1000 / section(100)) ** 2 / 2 / 9.80665 * 4.2
    )
    assert needed == pytest.approx(1.0, rel=1e-9) and full > 2 * pipe_capacity(dry)
    roofs = Catchment(roofs=(Roof(area=580),), conveyance=dry)
    assert peak_overflow(roofs, 75).flow == pytest.approx(full)
    flat = dry.model_copy(update={"inlet_level": 2.8})  # nothing but its fall: part full passes as much
    assert most_through_pipe(flat) >= pipe_capacity(flat) > 0
    assert most_through_pipe(dry.model_copy(update={"inlet_level": 3.5})) == 0


def test_daily_overflow():
    time = pd.date_range("2001-01-01", periods=1461)
    spill = xr.DataArray(np.zeros((1461, 2)), dims=("time", "member"), coords={"time": time})
    spill[10, 0], spill[700, 0] = 300.0, 900.0
    out = daily_overflow(spill)
    assert out.days_a_year.values.tolist() == [0.5, 0] and out.volume_a_year.values.tolist() == [300, 0]
    assert str(out.largest_day.values[0])[:10] == str(time[700])[:10] and np.isnat(out.largest_day.values[1])
    assert float(out.overflow_of_day.sel(quantile=0.5)[0]) == 600
    with pytest.raises(InputError, match="gaps"):
        daily_overflow(spill.where(spill.time > time[0]))


# ---- cautions


def test_roof_cautions_come_from_material_and_from_the_study():
    named = roof_cautions(Roof(area=1, material="tile", concerns=("lead flashing", "trees overhead")))
    assert [c.split(":")[0] for c in named] == ["lead flashing", "trees overhead"]
    assert any("asbestos" in c for c in roof_cautions(Roof(area=1, material="fibre cement")))
    assert all(len(text) > 40 for text in CAUTIONS.concern.values())
    assert set(CAUTIONS.work) == {"roof work", "excavation", "pressure", "standing water"}
    assert {name for names in CAUTIONS.material.values() for name in names} <= set(CAUTIONS.concern)
    with pytest.raises(ValueError, match="concerns"):
        Roof(area=1, concerns=("ghosts",))


# ---- the whole of it, at speed


def combinations():
    return [
        Catchment(
            roofs=(Roof(area=a, material=m),),
            conveyance=WET.model_copy(update={"bore": bore, "bleed": bleed}),
            first_flush=flush,
        )
        for a, m in ((120, "metal"), (300, "tile"))
        for bore in (50.0, 65.0, 80.0, 100.0, 150.0)
        for bleed in (0.0, 20.0, 60.0, 200.0)
        for flush in (0.0, 0.4, 1.0, 2.0, 5.0)
    ]


@pytest.mark.long
def test_200_combinations_over_60_years(benchmark):
    """200 combinations of bore, bleed, first flush and roof over 60 years of daily rain."""
    rain = some_rain(21915)
    catchments = combinations()
    assert len(catchments) == 200
    data = benchmark(collect_totals, rain, catchments)
    assert data.inflow.shape == (200,)
    closes = data.inflow + data.lost.sum("loss") + data.held.sum("store") / 21915 - data.rain_on_roof
    assert float(abs(closes / data.rain_on_roof).max()) < 1e-9


def test_finer_agrees_with_totals_over_wet_runs(airports):
    """A wet run at the hour closes too, and its pipe loses what the daily chain says, nearly."""
    rain = airports["JFK"]
    fine = collect_finer(rain, Roof(area=200), WET)
    day = collect(daily_rain(rain), Roof(area=200), WET, intensity=estimate_intensity(rain))
    gap = fine.rain_on_roof.sum() - fine.inflow.sum() - fine.lost.sum() - fine.held.isel(time=-1).sum()
    assert abs(float(gap)) < 1e-6
    assert float(fine.inflow.sum()) == pytest.approx(float(day.inflow.sum()), rel=0.03)
