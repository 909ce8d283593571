"""How long a slider of the outlook waits: 60 years, 20 members, 365 days, 10 readings. Printed, never asserted."""

import numpy as np
import pytest
import xarray as xr
from rain import invent_rain

from rainharvest.core.style import svg
from rainharvest.drought.facts_outlook import outlook_from, windows_from
from rainharvest.drought.figures import chances_figure, fan_figure
from rainharvest.drought.outlook import as_flows


@pytest.fixture(scope="module")
def long_basis(basis):
    """The demo study on 61 years in 20 versions that all differ."""
    from dataclasses import replace

    versions = [invent_rain("winter_rain", 62, seed=k).isel(site=0, drop=True) * 500 for k in range(20)]
    inflow = xr.concat(versions, "member").assign_coords(member=np.arange(20))
    demand = xr.full_like(inflow.isel(member=0, drop=True), 500.0)
    return replace(basis, flows=as_flows(inflow, demand, demand * 0.5))


def test_a_move_of_the_gauge(benchmark, long_basis):
    windows = windows_from(long_basis, 10, 1)
    assert windows.inflow.shape == (365, 61 * 20)
    figures = [None, None]

    def redraw(gauge):
        found = outlook_from(long_basis, windows, gauge, 0.2)
        figures[0] = fan_figure(found, (10, 1), 3, figures[0])
        figures[1] = chances_figure(found, (10, 1), figures[1])
        return [svg(figure, name) for figure, name in zip(figures, ("fan", "chances"), strict=True)]

    gauge = iter(np.tile(np.linspace(0.1, 0.9, 9) * long_basis.capacity, 1000))
    drawn = benchmark(lambda: redraw(next(gauge)))
    assert all(text.startswith("<svg") for text in drawn)


def test_a_move_of_the_date(benchmark, long_basis):
    day = iter(np.tile(np.arange(1, 29), 1000))
    windows = benchmark(lambda: windows_from(long_basis, 10, int(next(day))))
    assert windows.inflow.shape[0] == 365
