"""The figure of a study's options side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core import draw
from rainharvest.core.quantities import label
from rainharvest.core.style import DASHES, INK, PALETTE, STYLE, new_figure, round_ticks

if TYPE_CHECKING:
    from matplotlib.figure import Figure


WORDS = 28

"""Letters on a line of the names."""


def options_figure(
    options: xr.Dataset, target: float, figure: Figure | None = None, *, looked_at: float | None = None
) -> Figure:
    """Draw reliability against nominal tank size, a line an option, its own tank marked."""
    import textwrap

    from matplotlib import rc_context

    from rainharvest.core.reader import large_volume

    scale, unit = large_volume()
    size = options.nominal.values / scale
    if figure is None:
        figure, axes = new_figure("What each option supplies", height=4.6)
        axes.set_xscale("log")
        axes.set_xlabel(label("nominal", unit))
        axes.set_ylabel(label(options.attrs["measure"], "%"))
        axes.set_ylim(0, 104)
    axes = figure.axes[0]
    lines, handles = sorted(_shared(options), key=lambda line: -line[0].mean()), []
    for k, (values, which) in enumerate(lines):
        colour, dash = PALETTE[k % len(PALETTE)], DASHES[k % len(DASHES)]
        look = {"color": colour, "linestyle": dash, "zorder": 3}
        handles.append(draw.line(axes, f"option {k + 1}", size, values, **look))
        own, look = options.isel(study_option=which), {"ms": 10, "mec": INK, "mew": 1.2, "zorder": 4}
        tanks = own.described_nominal.values / scale, 100 * own.rain_reliability.values
        draw.line(axes, f"tanks of option {k + 1}", *tanks, "o", color=colour, **look)
    names = [" / ".join(str(options.study_option.values[i]) for i in which) for _, which in lines]
    said = ["\n".join(textwrap.wrap(text, WORDS)) for text in names]
    look = {"loc": "center left", "bbox_to_anchor": (1.01, 0.5), "frameon": False}
    with rc_context(STYLE):  # anew: options may come to share a line
        axes.legend(handles, said, fontsize=13, handlelength=3, **look)
    draw.level(axes, "target", 100 * target, **draw.DASHED)
    if looked_at is not None:
        look = {"color": INK, "linewidth": 1.6, "linestyle": (0, (1.5, 1.5))}
        draw.upright(axes, "size looked at", looked_at / scale, **look)
    if axes.get_xlim() != (size[0], size[-1]):
        axes.set_xlim(size[0], size[-1])
        round_ticks(axes.xaxis, size[0], size[-1])
    return figure


def _shared(options: xr.Dataset) -> list[tuple[np.ndarray, list[int]]]:
    """Return the curves in per cent, each with the options that have it (to a tenth of a per cent)."""
    lines: list[tuple[np.ndarray, list[int]]] = []
    for i, values in enumerate(100 * options.reliability.values):
        same = next((which for line, which in lines if np.abs(line - values).max() < 0.1), None)
        if same is None:
            lines.append((values, [i]))
        else:
            same.append(i)
    return lines
