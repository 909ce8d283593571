"""Compile everything that the book runs, so that its first slider answers at once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr

from rainharvest.catchment.collect import collect, collect_totals
from rainharvest.catchment.compare import compare_conveyance
from rainharvest.catchment.tables import Conveyance, Roof, make_catchment
from rainharvest.climates.cells import Plan, over_cells
from rainharvest.demand.garden import root_zone
from rainharvest.storage.simulate import simulate


def make_ready() -> None:
    """Run each form of the compiled loops once, on a few days.

    What is compiled is kept beside the package; on a machine where it is there already this takes a second
    or two.
    """
    days = pd.date_range("2001-01-01", periods=40)
    depth = np.where(np.arange(40) % 5 == 0, 12.0, 0.0)
    rain = xr.DataArray(depth, {"time": days}, ("time",))
    several = rain.expand_dims(member=70).copy()  # more than a block of lanes
    wet = Conveyance(kind="wet", run=20, bore=100, outlet_level=3.5, inlet_level=2.0)
    catchment = make_catchment(roofs=(Roof(area=100, material="metal"),), conveyance=wet)
    collect(several, catchment.roofs, wet)
    collect_totals(rain, [catchment])
    compare_conveyance(rain, catchment, {"wet": wet}, design_intensity=75.0)
    fixed = depth.copy()
    fixed.flags.writeable = False  # as pandas hands out its days
    for values in (depth, fixed):
        root_zone(values, values, depth > 0, 50.0, 0.5)
    rationing = {"ration_level": 500.0, "ration_share": 0.5, "essential": 10.0}
    valve = {"top_up_trigger": 100.0, "top_up_level": 200.0}
    size = np.array([1000.0, 2000.0])
    for settings in ({}, rationing, valve, rationing | valve):
        for trace in (False, True):
            simulate(100 * rain, 200.0, size, **settings, trace=trace)
    for settings, trace in (({}, False), (rationing, False), (rationing, True)):  # a series a lane
        simulate(100 * several, 200.0, 1000.0, **settings, trace=trace)
    year = pd.date_range("2001-01-01", periods=365)
    over_cells(
        xr.DataArray(np.tile(depth, 10)[:365], {"time": year}, ("time",)),
        Plan({"wet": catchment}, xr.DataArray(np.full(365, 200.0), {"time": year}, ("time",)), (1e3, 2e3)),
    )
