"""EN 12056-3:2000, as transcribed in a public source file, and Approved Document H."""

import numpy as np
import pytest

from rainharvest import InputError
from rainharvest.catchment.drainage import (
    design_flow,
    gutter_capacity,
    long_gutter_factor,
    size_drainage,
    vertical_pipe_capacity,
)
from rainharvest.catchment.hydraulics import part_full_flow

# Table 8: vertical rainwater pipes, L/s
DI = [50, 55, 60, 65, 70, 75, 80, 85, 90, 95, 100, 110, 120, 130, 140, 150, 160, 170, 180, 190]
DI += [200, 220, 240, 260, 280, 300]
F20 = [0.7, 0.9, 1.2, 1.5, 1.8, 2.2, 2.6, 3.0, 3.5, 4.0, 4.6, 6.0, 7.6, 9.4, 11.4, 13.7, 16.3, 19.1, 22.3]
F20 += [25.7, 29.5, 38.1, 48.0, 59.4, 72.4, 87.1]
F33 = [1.7, 2.2, 2.7, 3.4, 4.1, 5.0, 5.9, 6.9, 8.1, 9.3, 10.7, 13.8, 17.4, 21.6, 26.3, 31.6, 37.5, 44.1, 51.4]
F33 += [59.3, 68.0, 87.7, 110.6, 137.0, 166.9, 200.6]

# Table C.1: drains at 70 % depth, kb = 1.0 mm, by bore (mm): slopes 0.5, 1 and 5 %, L/s
C1 = {
    96: (2.9, 4.2, 9.4),
    115: (4.8, 6.8, 15.3),
    146: (9.0, 12.8, 28.8),
    184: (16.7, 23.7, 53.3),
    219: (26.5, 37.6, 84.5),
    234: (31.6, 44.9, 100.7),
    292: (56.8, 80.6, 180.8),
}


def test_table_8_vertical_pipes_all_52_values():
    assert len(DI) == len(F20) == len(F33) == 26
    for bore, low, high in zip(DI, F20, F33, strict=True):
        assert round(vertical_pipe_capacity(bore, filling=0.33), 1) == high
        assert vertical_pipe_capacity(bore, filling=0.20) == pytest.approx(low, abs=0.1)


def test_table_c1_part_full_drains():
    for bore, printed in C1.items():
        for slope, flow in zip((0.005, 0.01, 0.05), printed, strict=True):
            assert part_full_flow(bore, slope, 0.7, 1.0) == pytest.approx(flow, abs=0.1)


@pytest.mark.parametrize("width, flow", [(75, 0.379), (100, 0.778), (115, 1.103), (125, 1.359), (150, 2.143)])
def test_half_round_gutters(width, flow):
    assert gutter_capacity(width) == pytest.approx(flow, abs=0.001)


def test_half_round_100_drains_the_area_of_approved_document_h():
    """Approved Document H, Table 2: a 100 mm half-round gutter with a 63 mm outlet drains 37 m2."""
    assert gutter_capacity(100) / 0.021 == pytest.approx(37.0, rel=0.005)


@pytest.mark.parametrize(
    "width, area, flow", [(75, 18, 0.38), (115, 53, 1.11), (125, 65, 1.37), (150, 103, 2.16)]
)
def test_approved_document_h_other_rows(width, area, flow):
    """From memory, not verified; the row printed for 112 mm is that of a 115 mm gutter."""
    capacity = gutter_capacity(width)
    assert capacity == pytest.approx(flow, rel=0.01) and capacity / 0.021 == pytest.approx(area, rel=0.012)


def test_long_gutter_factor_table_6():
    level = (1.0, 0.93, 0.86, 0.80, 0.77, 0.73, 0.70, 0.67, 0.63, 0.60)
    for ratio, factor in zip(range(50, 501, 50), level, strict=True):
        assert long_gutter_factor(ratio * 0.05, 50) == pytest.approx(factor)
        assert long_gutter_factor(ratio * 0.05, 50, fall=0.003) == pytest.approx(factor)
    for fall, at_100, at_200 in ((4, 1.03, 1.10), (6, 1.08, 1.25), (8, 1.13, 1.40), (10, 1.18, 1.55)):
        assert long_gutter_factor(5.0, 50, fall / 1000) == pytest.approx(at_100)
        assert long_gutter_factor(10.0, 50, fall / 1000) == pytest.approx(at_200)
        assert long_gutter_factor(20.0, 50, fall / 1000) == pytest.approx(at_200)
    with pytest.raises(InputError, match="add an outlet"):
        long_gutter_factor(26, 50)


def test_bends_and_what_cannot_be():
    assert gutter_capacity(100, bends=1) == pytest.approx(0.85 * gutter_capacity(100))
    for arguments, words in (({"gutter_length": 5}, "design depth"), ({"gutter_length": -1}, "zero or more")):
        with pytest.raises(InputError, match=words):
            gutter_capacity(100, **arguments)


def test_design_flow():
    assert design_flow(1, 75) == pytest.approx(0.0208, abs=5e-5)
    assert design_flow(100, 75, risk=1.5) == pytest.approx(3.125)


def test_sizes_are_the_smallest_that_pass():
    sizes = size_drainage(flow=1.0, gutter_length=3.0)
    gutter = int(sizes.loc["gutter", "size"])
    assert sizes.loc["gutter", "capacity"] >= 1.0 >= sizes.loc["vertical pipe", "capacity"] * 0.3
    smaller = {115: 100, 125: 115}[gutter]
    assert gutter_capacity(smaller, 3.0, smaller / 2) < 1.0
    assert np.isnan(size_drainage(flow=50, gutter_length=3).loc["gutter", "size"])


def test_vertical_pipe_outside_the_standard():
    with pytest.raises(InputError, match="0.20 to 0.33"):
        vertical_pipe_capacity(100, filling=0.5)
