"""What the tests of every panel do: move each control to both ends and read what the panel says."""

import datetime

import ipywidgets as widgets


def said(panel):
    """Return the sentences of a panel by its figures."""
    return panel.rh_said()


def walk(widget):
    """Return a widget and all that lies in it."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from walk(child)


def button(panel, words):
    """Return the button of a panel with these words."""
    return next(w for w in walk(panel) if isinstance(w, widgets.Button) and w.description == words)


def put(panel, name, data):
    """Put a file into a panel as the browser does."""
    file = {"name": name, "type": "text/csv", "size": len(data), "content": memoryview(data)}
    panel.rh_controls["upload"].value = (
        file | {"last_modified": datetime.datetime(2024, 1, 1, tzinfo=datetime.UTC)},
    )


def ends_of(control):
    """Return two values of a control, as far apart as can be; none of one that takes files or a table."""
    if hasattr(control, "max"):
        return [control.min, control.max]
    options = getattr(control, "_options_values", ())
    return [options[0], options[-1]] if len(options) > 1 else []


def check_both_ends(panel, alike=()):
    """Check that each control but those ``alike`` changes what is said, that nothing fails, and the way back."""
    assert panel.rh_words.value == ""
    first = said(panel)
    assert not [line for line in first.values() if "nan" in line.lower().split()]
    for name, control in panel.rh_controls.items():
        seen, start = [], control.value
        for end in ends_of(control):
            control.value = end
            assert panel.rh_words.value == "", (name, end, panel.rh_words.value)
            seen.append(said(panel))
        assert not seen or name in alike or seen[0] != seen[1], f"{name} changes nothing"
        control.value = start
    assert said(panel) == first, "the way back is exact"
    assert all(picture.value.startswith("<svg") for picture, _ in panel.rh_pictures.values())
