"""A small table that is edited in place: a control of the board like any other."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import traitlets


class Table(widgets.GridBox):
    """Rows with a name and numbers; ``value`` holds the numbers, a tuple a row."""

    value = traitlets.Tuple()


def table(
    heads: Sequence[str], names: Sequence[str], rows: Sequence[Sequence[float]], most: float = 1e5
) -> Table:
    """Return a small editable table of numbers.

    Parameters
    ----------
    heads : list of str
        Heads of the columns, that of the names first.
    names : list of str
        Name of each row.
    rows : list of list of float
        The numbers, a list a row.
    most : float
        Largest number that can be typed.

    Returns
    -------
    Table
        Its ``value`` follows what is typed, and what is typed follows it.
    """
    fields = [
        [
            widgets.BoundedFloatText(
                value=number,
                min=0,
                max=most,
                step=1 if float(number).is_integer() else 0.5,
                layout={"width": "8em"},
                continuous_update=False,
                tooltip=f"{name}: {head}",
            )
            for head, number in zip(heads[1:], row, strict=True)
        ]
        for name, row in zip(names, rows, strict=True)
    ]
    cells = [widgets.HTML(f"<b>{head}</b>") for head in heads]
    for name, row in zip(names, fields, strict=True):
        cells += [widgets.HTML(name), *row]
    out = Table(
        cells,
        value=tuple(tuple(f.value for f in row) for row in fields),
        layout={
            "grid_template_columns": "minmax(12em, max-content) " + "9em " * (len(heads) - 1),
            "grid_gap": "0 14px",
            "width": "100%",
            "margin": "4px 0 8px 1em",
        },
    )

    def typed(_change) -> None:
        out.value = tuple(tuple(f.value for f in row) for row in fields)

    def told(change) -> None:
        for row, numbers in zip(fields, change["new"], strict=True):
            for field, number in zip(row, numbers, strict=True):
                if field.value != number:
                    field.value = number

    for row in fields:
        for field in row:
            field.observe(typed, "value")
    out.observe(told, "value")
    return out
