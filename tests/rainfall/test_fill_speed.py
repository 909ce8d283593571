"""How long filling and checking take; printed, not judged: 60 years with two neighbours."""

import numpy as np
import pytest

from rainharvest.rainfall.check import check_rain
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.rainfall.fill_skill import hide_blocks
from rainharvest.rainfall.invented import invent_rain


@pytest.fixture(scope="module")
def sixty_years():
    three = invent_rain("temperate_all_year", 60, seed=2)
    here = three.isel(site=0).to_series().copy()
    hidden = hide_blocks(here.to_numpy(), 0.15, (1, 3, 10, 31, 90), np.random.default_rng(1))
    here[hidden] = np.nan
    return here, three.isel(site=slice(1, None))


def test_filling_speed(benchmark, sixty_years):
    here, beside = sixty_years
    filled = benchmark.pedantic(fill_gaps, (here, beside), {"members": 20}, rounds=3, warmup_rounds=1)
    assert filled.shape == (20, len(here)) and not filled.isnull().any()


def test_filling_alone_speed(benchmark, sixty_years):
    here, _ = sixty_years
    filled = benchmark.pedantic(fill_gaps, (here,), {"members": 20}, rounds=3, warmup_rounds=1)
    assert not filled.isnull().any()


def test_checking_speed(benchmark, sixty_years):
    here, beside = sixty_years
    table = benchmark.pedantic(check_rain, (here, beside), rounds=3, warmup_rounds=1)
    assert (table["check"] == "completeness").any()
