"""How long a slider of the outlook waits: 60 years, 20 members, 365 days, 10 readings. Printed, never asserted."""

from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from rainharvest.core.style import svg
from rainharvest.drought.basis import prepare_drought
from rainharvest.drought.facts import looked_ahead, windows_from
from rainharvest.drought.figures_outlook import chances_figure, fan_figure
from rainharvest.drought.outlook import as_flows
from rainharvest.rainfall.invented import invent_rain

SCHOOL = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


@pytest.fixture(scope="module")
def basis():
    """The demo study on 61 years in 20 versions that all differ."""
    from dataclasses import replace

    basis = prepare_drought(SCHOOL)
    versions = [invent_rain("winter_rain", 62, seed=k).isel(site=0, drop=True) * 500 for k in range(20)]
    inflow = xr.concat(versions, "member").assign_coords(member=np.arange(20))
    asked = xr.full_like(inflow.isel(member=0, drop=True), 500.0)
    return replace(basis, flows=as_flows(inflow, asked, asked * 0.5))


@pytest.fixture(scope="module")
def figures(basis):
    found = looked_ahead(basis, windows_from(basis, 10, 1), 20_000.0)
    return fan_figure(found, (10, 1), 3), chances_figure(found, (10, 1))


def redraw(basis, figures, windows, gauge, cut):
    found = looked_ahead(basis, windows, gauge, cut)
    fan_figure(found, (10, 1), 3, figures[0])
    chances_figure(found, (10, 1), figures[1])
    return [svg(figure, name) for figure, name in zip(figures, ("fan", "chances"), strict=True)]


def test_a_move_of_the_gauge(benchmark, basis, figures):
    windows = windows_from(basis, 10, 1)
    assert windows.inflow.shape == (365, 61 * 20)
    gauge = iter(np.tile(np.linspace(0.1, 0.9, 9) * basis.capacity, 1000))
    drawn = benchmark(lambda: redraw(basis, figures, windows, next(gauge), 0.2))
    assert all(text.startswith("<svg") for text in drawn)


def test_a_move_of_the_date(benchmark, basis):
    day = iter(np.tile(np.arange(1, 29), 1000))
    windows = benchmark(lambda: windows_from(basis, 10, int(next(day))))
    assert windows.inflow.shape[0] == 365


def test_computing_alone(benchmark, basis):
    windows = windows_from(basis, 10, 1)
    found = benchmark(lambda: looked_ahead(basis, windows, 20_000.0, 0.2))
    assert found.level_chance.shape == (10, 3)
