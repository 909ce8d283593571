"""What the tests of every figure do: find artists by their names, and see that a figure given again is moved."""

import numpy as np

from rainharvest.core.style import svg


def artist(of, name):
    """Return the one artist of that name, of a figure or of axes."""
    axes = of.axes if isinstance(of.axes, list) else [of]
    (found,) = [one for some in axes for one in some.get_children() if one.get_gid() == name]
    return found


def count(figure):
    """Return how many artists each of the axes holds."""
    return [len(axes.get_children()) for axes in figure.axes]


def texts(figure):
    """Return the words that are written into a figure."""
    return [text.get_text() for axes in figure.axes for text in axes.texts if text.get_text()]


def state(figure):
    """Return what every artist shows, and the titles, limits and ticks of every axis."""
    found = []
    for axes in figure.axes:
        found += [axes.get_title(loc="left"), axes.get_xlim(), axes.get_ylim()]
        found += [[tick.get_text() for tick in axis.get_ticklabels()] for axis in (axes.xaxis, axes.yaxis)]
        for one in (*axes.lines, *axes.patches, *axes.collections, *axes.images, *axes.texts):
            data = [one.get_gid(), one.get_visible()]
            if hasattr(one, "get_xydata"):
                data += [one.get_xydata().tolist()]
            elif hasattr(one, "get_patch_transform"):
                data += [one.get_patch_transform().transform_path(one.get_path()).vertices.tolist()]
            elif hasattr(one, "get_paths"):
                data += [path.vertices.tolist() for path in one.get_paths()]
            elif hasattr(one, "get_extent"):
                data += [np.ma.filled(one.get_array(), -1).tolist(), one.get_extent()]
            elif hasattr(one, "get_text"):
                data += [one.get_text(), one.get_position(), one.get_ha(), one.get_va()]
            found.append(data)
    return repr(found)


def check_moved(draw, first, second):
    """Check that a figure of what is first, given again with what is second, shows that and holds nothing new."""
    figure, fresh = draw(*first), draw(*second)
    held, before, painted = count(figure), state(figure), svg(figure, "t")
    assert draw(*second, figure=figure) is figure and count(figure) == held
    assert before != state(fresh) and state(figure) == state(fresh)
    again = svg(figure, "t")
    assert again.startswith("<svg") and again != painted and svg(figure, "t") == again
