"""What figures are drawn with: words where nothing crosses them."""

import numpy as np
import pytest

from rainharvest.core import draw
from rainharvest.core.style import new_figure


@pytest.mark.parametrize(
    ("share", "first", "side", "below"),
    [
        (0.9, 5, "left", False),  # the curve begins far below
        (0.9, 91, "right", True),  # it crosses them at the left, and above the line at the right
        (0.3, 28, "right", False),  # steep: at the right it is far above
        (0.95, 20, "left", True),  # no room above a high line
    ],
)
def test_the_words_of_a_target_stand_where_no_curve_crosses_them(share, first, side, below):
    figure, axes = new_figure("A curve")
    axes.set_xscale("log")
    axes.set(xlim=(1, 1000), ylim=(0, 104))
    draw.line(axes, "curve", np.geomspace(1, 1000, 50), np.linspace(first, 95, 50))
    for _ in range(2):  # drawn again too
        draw.target(axes, share)
    (words,) = axes.texts
    assert words.get_text() == f"target {100 * share:.0f} %" and words.get_ha() == side
    assert (words.get_position()[1] < 100 * share) == below
