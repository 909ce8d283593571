"""A figure to keep: as PNG, as SVG, and what it draws as CSV with its units in the heads."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np

from rainharvest.core.outputs import no_formula
from rainharvest.core.style import STYLE, svg

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure


def figure_files(figure: Figure, name: str, words: str = "") -> dict[str, bytes]:
    """Return a figure as files."""
    drawing = svg(figure, name, words)
    width, height = figure.get_size_inches()
    alone = drawing.replace(
        'style="width:100%;height:auto;display:block"', f'width="{width}in" height="{height}in"'
    )
    return {
        f"{name}.png": figure_png(figure, 150),
        f"{name}.svg": ('<?xml version="1.0" encoding="utf-8"?>\n' + alone).encode(),
        f"{name}.csv": figure_table(figure).encode("utf-8-sig"),  # so that a spreadsheet reads its signs
    }


@contextmanager
def _canvas(figure: Figure, dpi: float) -> Iterator[FigureCanvasAgg]:
    """Give a canvas that draws a figure once: matplotlib's own way to a file draws it a first time to lay it out."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    before = figure.dpi
    with rc_context(STYLE):
        canvas = FigureCanvasAgg(figure)
        figure.dpi = dpi
        try:
            yield canvas
        finally:
            figure.dpi = before


def figure_png(figure: Figure, dpi: float) -> bytes:
    """Return a figure as PNG."""
    file = io.BytesIO()
    with _canvas(figure, dpi) as canvas:
        canvas.print_png(file, metadata={"Software": None})
    return file.getvalue()


def still_picture(figures: Sequence[Figure], wide: int = 1100, colours: int = 96) -> bytes:
    """Return several figures as one picture: the first at full width, the others below it in pairs."""
    from PIL import Image

    pairs = len(figures) > 2
    drawn = []
    for k, figure in enumerate(figures):
        across = wide // 2 if pairs and k else wide
        with _canvas(figure, across / figure.get_size_inches()[0]) as canvas:
            canvas.draw()
            drawn.append(Image.fromarray(np.array(canvas.buffer_rgba())).convert("RGB"))
    places, top, low = [(0, 0)], drawn[0].height, 0
    for k, image in enumerate(drawn[1:]):
        right = pairs and k % 2
        top, low = (top, max(low, image.height)) if right else (top + low, image.height)
        places.append((wide // 2 if right else 0, top))
    whole = Image.new("RGB", (wide, top + low), "white")
    for image, place in zip(drawn, places, strict=True):
        whole.paste(image, place)
    file = io.BytesIO()
    whole.quantize(colours, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(
        file, "PNG", optimize=True
    )
    return file.getvalue()


def figure_table(figure: Figure) -> str:
    """Return what a figure draws as CSV.

    Columns stand side by side, each series below the words of its axis and the name of its artist; a series
    that shares the places of the one before shares their column.
    """
    columns: list[tuple[str, list]] = []
    several = sum(1 for axes in figure.axes if _series(axes)) > 1
    for axes in figure.axes:
        about = axes.get_title("left") or axes.get_title()
        before = f"{about}: " if several and about else ""
        shared = None
        for name, (along, places, values) in _series(axes).items():
            across = axes.yaxis if along is axes.xaxis else axes.xaxis
            if places and shared != places:
                columns.append((f"{before}{_head(along, 'place')}", places))
                shared = places
            for kind, column in values.items():
                what = ", ".join(part for part in (name, kind) if part)
                columns.append((f"{before}{what}: {_head(across, 'value')}", column))
    rows = max((len(column) for _, column in columns), default=0)
    text = io.StringIO()
    write = csv.writer(text, lineterminator="\n")
    write.writerow([no_formula(head) for head, _ in columns])
    for row in range(rows):
        write.writerow([no_formula(column[row]) if row < len(column) else "" for _, column in columns])
    return text.getvalue()


def _head(axis: Axis, otherwise: str) -> str:
    return " ".join(_named(axis).label.get_text().split()) or otherwise


def _named(axis: Axis) -> Axis:
    """Return the axis that bears the name and the unit: this one, or another that shares its scale."""
    way = axis.axis_name
    beside = getattr(axis.axes, f"get_shared_{way}_axes")().get_siblings(axis.axes)
    both = (axis, *(getattr(axes, f"{way}axis") for axes in beside))
    return next((one for one in both if one.label.get_text()), axis)


def _series(axes: Axes) -> dict[str, tuple[Axis, list, dict[str, list]]]:
    """Return what the kept artists of the axes draw, by name: along which axis, at which places, which values."""
    from matplotlib.contour import ContourSet
    from matplotlib.patches import Rectangle

    out: dict[str, tuple[Axis, list, dict[str, list]]] = {}
    bars: dict[str, list[Rectangle]] = {}
    for artist in axes.get_children():
        name = (artist.get_gid() or "").replace("-", " ").replace("_", " ")
        if not name or not artist.get_visible():
            continue
        if isinstance(artist, Rectangle):
            bars.setdefault(re.sub(r"\W*\d+$", "", name) or name, []).append(artist)
            continue
        if isinstance(artist, ContourSet):
            for level, path in zip(artist.levels, artist.get_paths(), strict=True):
                if len(path.vertices):
                    x, y = path.vertices.T
                    out[f"{name} {level:g}"] = (
                        axes.xaxis,
                        _as_read(x, axes.xaxis),
                        {"": _as_read(y, axes.yaxis)},
                    )
            continue
        x, values = _points(artist, axes)
        if any(len(column) for column in values.values()):
            shown = {kind: _as_read(column, axes.yaxis) for kind, column in values.items()}
            out[name] = (axes.xaxis, _as_read(x, axes.xaxis), shown)
    boxes_of = {name: np.array([bar.get_bbox().extents for bar in each]) for name, each in bars.items()}
    lying = any(_lie(boxes) for boxes in boxes_of.values())  # a series of empty bars shows not how it lies
    for name, boxes in boxes_of.items():
        boxes = boxes[:, [1, 0, 3, 2]] if lying else boxes
        along, across = (axes.yaxis, axes.xaxis) if lying else (axes.xaxis, axes.yaxis)
        ends = {"from": _as_read(boxes[:, 1], across), "to": _as_read(boxes[:, 3], across)}
        ends = ends if boxes[:, 1].any() else {"": ends["to"]}
        out[name] = (along, _as_read((boxes[:, 0] + boxes[:, 2]) / 2, along), ends)
    return out


def _lie(boxes: np.ndarray) -> bool:
    """Return whether bars lie: at one left edge, or of one height and several lengths."""
    lengths, heights = boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    at_one_edge = np.ptp(boxes[:, 0]) == 0 < np.ptp(boxes[:, 1])
    return bool(at_one_edge or np.ptp(heights) < 1e-9 < np.ptp(lengths))


def _points(artist: Artist, axes: Axes) -> tuple[list, dict[str, list]]:
    """Return places and values of one artist in the axes' own numbers; no values if it draws none."""
    from matplotlib.collections import FillBetweenPolyCollection, LineCollection, PathCollection, QuadMesh
    from matplotlib.image import AxesImage
    from matplotlib.lines import Line2D

    if isinstance(artist, Line2D):
        x, y = (np.asarray(v, float) for v in artist.get_data(orig=False))
        if artist.get_transform() == axes.transData:
            return list(x), {"": list(y)}
        return [], {"": list(y[:1]) if artist.get_transform() == axes.get_yaxis_transform() else []}
    if isinstance(artist, FillBetweenPolyCollection) and artist.get_paths():
        corners = artist.get_paths()[0].vertices
        n = (len(corners) - 3) // 2
        low, high = corners[1 : n + 1], corners[n + 2 : 2 * n + 2][::-1]
        return list(low[:, 0]), {"from": list(low[:, 1]), "to": list(high[:, 1])}
    if isinstance(artist, LineCollection):
        strokes = [stroke for stroke in artist.get_segments() if len(stroke)]
        ends = {"from": [stroke[0][1] for stroke in strokes], "to": [stroke[-1][1] for stroke in strokes]}
        return [stroke[0][0] for stroke in strokes], ends if any(ends["from"]) else {"": ends["to"]}
    if isinstance(artist, PathCollection):
        places = np.asarray(artist.get_offsets(), float)
        return list(places[:, 0]), {"": list(places[:, 1])}
    if isinstance(artist, QuadMesh | AxesImage):
        cells = np.ma.filled(np.ma.masked_invalid(artist.get_array()).astype(float), np.nan)
        if cells.ndim == 2:
            x, y = _cells(artist, *cells.shape)
            return list(x), dict(zip(_as_read(y, axes.yaxis), map(list, cells), strict=True))
    return [], {}


def _cells(artist: Artist, rows: int, columns: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the middles of a mesh's or an image's columns and rows."""
    if hasattr(artist, "get_coordinates"):
        edges = artist.get_coordinates()
        x, y = edges[0, :, 0], edges[:, 0, 1]
    else:
        left, right, low, high = artist.get_extent()
        x, y = np.linspace(left, right, columns + 1), np.linspace(high, low, rows + 1)
    return (x[1:] + x[:-1]) / 2, (y[1:] + y[:-1]) / 2


def _names(axis: Axis) -> dict[float, str]:
    """Return the names that the axis gives to places; nothing where it counts."""
    names = {
        at: tick.get_text()
        for at, tick in zip(axis.get_majorticklocs(), axis.get_majorticklabels(), strict=False)
    }
    return {} if all(re.fullmatch(r"[\d.,−-]*", name) for name in names.values()) else names


def _as_read(values, axis: Axis) -> list:
    """Return an axis' numbers as its reader says them: days as dates, named places by name, the rest as numbers."""
    from matplotlib.dates import num2date

    numbers = np.asarray(values, float)
    if "Date" in type(axis.get_major_formatter()).__name__:
        return [f"{num2date(v):%Y-%m-%d}" if np.isfinite(v) else "" for v in numbers]
    names = _names(axis)
    if names and numbers.size:
        nearest = [min(names, key=lambda at, v=v: abs(at - v)) for v in numbers]
        if all(abs(at - v) < 0.5 for at, v in zip(nearest, numbers, strict=True)):
            return [names[at] for at in nearest]
    return ["" if np.isnan(v) else f"{v:.7g}" for v in numbers * getattr(_named(axis), "reader_factor", 1.0)]
