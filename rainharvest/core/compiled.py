"""Compiled code says when it compiles: once on a machine, then it is read from numba's cache."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from numba.core import event


class _Notice(event.Listener):
    """Say so on standard error when numba begins to compile; silent when the cache serves."""

    def __init__(self, what: str):
        self.what, self.said = what, False

    def on_start(self, _event: event.Event) -> None:
        if not self.said:
            self.said = True
            clear = "\r\x1b[K" if sys.stderr.isatty() else ""  # a progress bar may stand on this line
            words = f"Compiling {self.what} (once on this machine, some seconds)..."
            print(clear + words, file=sys.stderr, flush=True)

    def on_end(self, _event: event.Event) -> None:
        pass


@contextmanager
def compiling_notice(what: str) -> Iterator[None]:
    """Say that ``what`` is being compiled, if the block does compile anything."""
    with event.install_listener("numba:compile", _Notice(what)):
        yield
