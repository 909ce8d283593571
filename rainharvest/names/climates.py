"""Quantities of many climates."""

ROWS: tuple[tuple[str, ...], ...] = ()
