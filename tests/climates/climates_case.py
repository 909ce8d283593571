"""A small region and a building to put to it, shared by the tests of many climates."""

import numpy as np
import xarray as xr
from region import invent_grid

from rainharvest.catchment.tables import Catchment, Conveyance, Roof
from rainharvest.climates.cells import Plan

SHARED = {"run": 25, "bore": 80, "outlet_level": 3.4, "inlet_level": 2.3}
ROOFS = (Roof(name="hall", area=220), Roof(name="shed", area=60, material="tile"))
RUNS = {
    "dry run": Conveyance(kind="dry", filter_drop=0.2, **SHARED),
    "wet run": Conveyance(kind="wet", bleed=30.0, **SHARED),
}


def plan_for(days, **changes) -> Plan:
    """A school: less on weekends; two runs, seven sizes."""
    demand = xr.DataArray(np.where(days.dayofweek < 5, 420.0, 60.0), {"time": days}, ("time",))
    given = {
        "catchments": {name: Catchment(roofs=ROOFS, conveyance=run) for name, run in RUNS.items()},
        "demand": demand,
        "capacity": (500.0, 2e3, 5e3, 1e4, 2e4, 4e4, 8e4),
        "target": 0.7,
        "bores": (),
    }
    return Plan(**(given | changes))


def region(rows=6, columns=8, years=11, seed=3, **more) -> xr.Dataset:
    """An invented region with a masked corner."""
    return invent_grid(rows, columns, years, seed, **more)
