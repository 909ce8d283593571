"""A second process that works beside this one: Python computes on one processor at a time."""

from __future__ import annotations

import gc
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from itertools import count, islice
from queue import SimpleQueue
from threading import Thread

Work = Callable[..., Iterator]

"""A function of a module that yields its results, one after the other."""


@contextmanager
def second_process(
    *modules: str, warm: Callable[[], None] | None = None
) -> Iterator[Callable[..., Iterator]]:
    """Yield what begins work in a process that loads some modules first, and gives the results; it ends with the block.

    One work after the other, each to its end. Without a second processor, and where the process is lost, it is done
    here, as its results are asked for. What warms it, a function of a module, is done there alone, before any work.
    """
    if (os.cpu_count() or 1) < 2 or not sys.executable:
        yield lambda work, *given: work(*given)
        return
    named = warm and (warm.__module__, warm.__name__)
    serve = f"from rainharvest.core.beside import serve; serve({modules!r}, {named})"
    path = os.pathsep.join(part or os.getcwd() for part in sys.path)
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    command = [sys.executable, "-P", "-c", serve]  # it seeks modules where this one does, and nowhere else
    other = subprocess.Popen(command, env=os.environ | {"PYTHONPATH": path}, **pipes)

    def begin(work: Work, *given: object) -> Iterator:
        try:
            pickle.dump((work, given), other.stdin, pickle.HIGHEST_PROTOCOL)
            other.stdin.flush()
        except OSError:
            return work(*given)
        return results(work, given)

    def results(work: Work, given: tuple) -> Iterator:
        for number in count():
            try:
                how, value = pickle.load(other.stdout)
            except (OSError, EOFError, pickle.UnpicklingError):
                yield from islice(work(*given), number, None)
                return
            if how == "raised":
                raise value
            if how == "ended":
                return
            yield value

    try:
        yield begin
    finally:
        other.kill()
        other.communicate()


def serve(modules: tuple[str, ...], warm: tuple[str, str] | None = None) -> None:
    """Do what comes in and hand back its results, until nobody is left to work for: the second process."""
    gc.disable()  # it lives for seconds
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began this ends it
    out, asked = os.fdopen(os.dup(1), "wb"), SimpleQueue()
    os.dup2(2, 1)  # what the work prints is no result

    def listen() -> None:
        """Take in work; end with whoever asks for it, in the midst of work too."""
        try:
            while True:
                asked.put(pickle.load(sys.stdin.buffer))
        finally:
            os._exit(0)

    def hand_back(how: str, value: object) -> None:
        out.write(pickle.dumps((how, value), pickle.HIGHEST_PROTOCOL))
        out.flush()

    for name in modules:
        import_module(name)
    Thread(target=listen, daemon=True).start()
    if warm:
        getattr(import_module(warm[0]), warm[1])()
    while True:
        work, given = asked.get()
        try:
            for value in work(*given):
                hand_back("gave", value)
            hand_back("ended", None)
        except Exception as error:
            hand_back("raised", error)
