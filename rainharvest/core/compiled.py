"""Compiled code says when it compiles: once on a machine, then it is read from numba's cache."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from numba import njit
from numba.core import event

_kept: list[bool] = []  # for each loop, whether its compiled form is kept for later runs


def compiled(**options: object) -> Callable:
    """Return numba's decorator, keeping what it compiles where the package's folder or the user's may be written to."""

    def decorate(function: Callable) -> Callable:
        try:
            made, kept = njit(cache=True, **options)(function), True
        except RuntimeError:  # numba finds no place for its cache
            made, kept = njit(**options)(function), False
        _kept.append(kept)
        return made

    return decorate


class _Notice(event.Listener):
    """Say so on standard error when numba begins to compile; silent when the cache serves."""

    def __init__(self, what: str):
        self.what, self.said = what, False

    def on_start(self, _event: event.Event) -> None:
        if not self.said:
            self.said = True
            clear = "\r\x1b[K" if sys.stderr.isatty() else ""  # a progress bar may stand on this line
            often = "once on this machine" if all(_kept) else "at every start: no folder to keep it in"
            words = f"Compiling {self.what} ({often}, some seconds)..."
            print(clear + words, file=sys.stderr, flush=True)

    def on_end(self, _event: event.Event) -> None:
        pass


@contextmanager
def compiling_notice(what: str) -> Iterator[None]:
    """Say that ``what`` is being compiled, if the block does compile anything."""
    with event.install_listener("numba:compile", _Notice(what)):
        yield
