"""Quantities of the site works."""

ROWS: tuple[tuple[str, ...], ...] = ()
