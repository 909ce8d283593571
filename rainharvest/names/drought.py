"""Quantities of the drought years."""

ROWS: tuple[tuple[str, ...], ...] = ()
