"""Quantities of the study and its report."""

ROWS: tuple[tuple[str, ...], ...] = ()
