"""The figure of a study's options side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from rainharvest.core.quantities import label
from rainharvest.core.style import DASHES, INK, PALETTE, STONE, STYLE, keep, new_figure, round_ticks

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
    lines = sorted(_shared(options), key=lambda line: -line[0].mean())
    for k, (values, which) in enumerate(lines):
        colour, dash = PALETTE[k % len(PALETTE)], DASHES[k % len(DASHES)]
        look = {"color": colour, "linestyle": dash, "zorder": 3}
        keep(axes, f"option {k + 1}", lambda look=look: axes.plot([], [], **look)[0]).set_data(size, values)
        own = options.isel(study_option=which)
        dots = keep(
            axes,
            f"tanks of option {k + 1}",
            lambda colour=colour: axes.plot([], [], "o", ms=10, mec=INK, mew=1.2, color=colour, zorder=4)[0],
        )
        dots.set_data(own.described_nominal.values / scale, 100 * own.rain_reliability.values)
    names = [" / ".join(str(options.study_option.values[i]) for i in which) for _, which in lines]
    handles = [keep(axes, f"option {k + 1}", dict) for k in range(len(lines))]
    with rc_context(STYLE):
        axes.legend(
            handles,
            ["\n".join(textwrap.wrap(text, WORDS)) for text in names],
            loc="center left",
            bbox_to_anchor=(1.01, 0.5),
            frameon=False,
            fontsize=13,
            handlelength=3,
        )
    keep(
        axes, "target", lambda: axes.axhline(0, color=STONE, linestyle=(0, (6, 3)), linewidth=1.8)
    ).set_ydata([100 * target] * 2)
    if looked_at is not None:
        mark = keep(
            axes,
            "size looked at",
            lambda: axes.axvline(1, color=INK, linewidth=1.6, linestyle=(0, (1.5, 1.5))),
        )
        mark.set_xdata([looked_at / scale] * 2)
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
