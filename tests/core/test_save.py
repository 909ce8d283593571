"""Figures as files: what the CSV says is what is drawn, with units; painting by parts equals painting anew."""

import csv
import io
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from rainharvest.core.reader import US, reading
from rainharvest.core.save import figure_files, figure_table, still_picture
from rainharvest.core.style import keep, new_figure, number_axis, svg


def drawn(figure=None, k=1.0, high=10):
    """Draw one artist of each kind, or move them."""
    if figure is None:
        figure, axes = new_figure("One of each")
        axes.set_xlabel("Size (kL)")
        axes.set_ylabel("Share (%)")
    axes = figure.axes[0]
    x = np.arange(5.0)
    keep(axes, "curve", lambda: axes.plot([], [])[0]).set_data(x, k * x**2)
    keep(axes, "band", lambda: axes.fill_between([], [])).set_data(x, k * x, k * x + 1)
    strokes = [[(a, 0), (a, k * a)] for a in x]
    keep(axes, "failed-years", lambda: axes.vlines([0], [0], [0], color="r", linewidth=5)).set_segments(
        strokes
    )
    keep(axes, "target", lambda: axes.axhline(0)).set_ydata([k, k])
    keep(axes, "chosen", lambda: axes.scatter([0], [0])).set_offsets([[2, k]])
    axes.set_xlim(0, 5)
    axes.set_ylim(0, high)
    return figure


def table(figure):
    head, *rows = csv.reader(io.StringIO(figure_table(figure)))
    return head, rows


def test_the_table_is_what_is_drawn_with_units_in_its_heads():
    head, rows = table(drawn(k=2.0))
    column = dict(zip(head, zip(*rows, strict=True), strict=True))
    assert column["curve: Share (%)"] == ("0", "2", "8", "18", "32")
    assert column["band, from: Share (%)"] == ("0", "2", "4", "6", "8")
    assert column["band, to: Share (%)"] == ("1", "3", "5", "7", "9")
    assert column["failed years: Share (%)"] == ("0", "2", "4", "6", "8")
    assert column["target: Share (%)"] == ("2", "", "", "", "") == column["chosen: Share (%)"]
    assert head[0] == "Size (kL)" and head.count("Size (kL)") == 2, "the point has a place of its own"


def test_the_table_is_in_the_units_of_its_heads():
    with reading(US):
        figure, both = new_figure("", ncols=2, sharey=True)
        number_axis(both[0].yaxis, "Rain ({})", "mm")  # the other shares it
        for axes, name in zip(both, "ab", strict=True):
            axes.set_title(name)
            number_axis(axes.xaxis, "Tank ({})", "kL")
            keep(axes, "curve", lambda axes=axes: axes.plot([10.0, 20.0], [25.4, 50.8])[0])
        head, rows = table(figure)
    assert head == [f"{name}: {what}" for name in "ab" for what in ("Tank (1,000 gal)", "curve: Rain (in)")]
    # 1 US gallon is 3.785411784 L exactly (NIST SP 811), 1 in is 25.4 mm
    assert np.asarray(rows, float) == pytest.approx(
        np.array([[2.641721, 1] * 2, [5.283441, 2] * 2]), rel=1e-6
    )


def test_days_are_dates_and_named_bars_have_their_names():
    figure, axes = new_figure("Days")
    days = np.array(["2001-02-03", "2001-02-04"], "datetime64[D]")
    keep(axes, "rain", lambda: axes.plot(days, [1, 2])[0])
    assert [row[0] for row in table(figure)[1]] == ["2001-02-03", "2001-02-04"]
    for lying in (True, False):
        figure, axes = new_figure("Bars")
        (axes.set_yticks if lying else axes.set_xticks)([0, 1, 2], ["oak", "ash", "elm"])
        for k in range(3):
            keep(
                axes,
                f"tree-{k}",
                lambda k=k, axes=axes, f=lying: (axes.barh if f else axes.bar)(k, k + 1, 0.6)[0],
            )
        head, rows = table(figure)
        assert [r[0] for r in rows] == ["oak", "ash", "elm"] and [r[1] for r in rows] == ["1", "2", "3"], (
            lying
        )
        assert head[1].startswith("tree: ")


def test_an_image_is_saved_cell_by_cell():
    figure, axes = new_figure("Map")
    keep(axes, "depth", lambda: axes.pcolormesh([0, 1, 2], [10, 20, 30], [[1, 2], [3, np.nan]]))
    head, rows = table(figure)
    assert head == ["place", "depth, 15: value", "depth, 25: value"]
    assert rows == [["0.5", "1", "3"], ["1.5", "2", ""]]


def test_three_files_that_can_be_opened():
    files = figure_files(drawn(), "a-b", "A <b>curve</b> & a band.")
    assert list(files) == ["a-b.png", "a-b.svg", "a-b.csv"] and files["a-b.png"].startswith(b"\x89PNG")
    root = ET.fromstring(files["a-b.svg"])
    assert root.get("width") == "11.0in" and root.get("aria-label") == "A curve & a band."
    assert files["a-b.csv"].decode("utf-8-sig").startswith("Size (kL)")


@pytest.mark.parametrize("change", [{"k": 1.5}, {"high": 20}, {"high": 2000}, {"k": 1.5, "high": 20}])
def test_a_moved_figure_is_painted_as_one_made_anew(change):
    moved = drawn()
    svg(moved, "t")
    (words, places), (new_words, new_places) = map(
        parted, (svg(drawn(moved, **change), "t"), svg(drawn(**change), "t"))
    )
    assert words == new_words
    np.testing.assert_allclose(
        places, new_places, atol=0.2
    )  # points: an older library lays out anew to a tenth


def parted(text):
    """Return a drawing without the running numbers of its groups and without its places, and these."""
    text = re.sub(r' id="[a-z.A-Z]+\w*_\d+"', "", text)
    text = re.sub(r"\b(p)[0-9a-f]{10}\b", r"\1", text)  # a clip's id is made of its places to the last digit
    text = re.sub(r"\bm[0-9a-f]{10}\b", "m", text)  # so is that of a tick
    place = r"-?\d+\.\d+"
    return re.sub(place, "#", text), [float(at) for at in re.findall(place, text)]


def test_axes_are_not_painted_anew_for_a_move_within_them(monkeypatch):
    from matplotlib.axis import Axis

    figure, painted = drawn(), []
    svg(figure, "t")
    own = Axis.draw
    monkeypatch.setattr(Axis, "draw", lambda self, *a, **k: (painted.append(1), own(self, *a, **k)))
    svg(drawn(figure, k=1.5), "t")
    assert not painted
    svg(drawn(figure, high=20), "t")
    assert painted


def test_a_still_is_the_same_bytes_each_time_and_small():
    figures = [drawn(k=k) for k in (1, 2, 3, 4)]
    one = still_picture(figures)
    assert one == still_picture(figures) and len(one) < 100_000
    width, height = (int.from_bytes(one[k : k + 4], "big") for k in (16, 20))
    assert (width, height) == (1100, 800), "one, then a pair and one below it"
