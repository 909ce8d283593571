"""Sentences: a room's text.j2, with the one set of filters that writes numbers for a reader.

A consultant who wants other words, or another language, edits the room's ``text.j2``. Macros take facts and compute
nothing; a missing fact is an error.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemBytecodeCache, FileSystemLoader, StrictUndefined

from rainharvest.core import reader

_FILTERS = "number measure depths per_volume litres percent days date marks aim rounded middle label_for_reader".split()


class Texts:
    """The named macros of a room's text.j2; each gives its text on one line."""

    def __init__(self, module: object):
        self._module = module

    def __getattr__(self, name: str) -> Callable[..., str]:
        macro = getattr(self._module, name)

        def shown(*facts: object, **more: object) -> str:
            # Not str.split: a number may hold a space that must not break.
            return re.sub(r"[ \t\n]+", " ", str(macro(*facts, **more))).strip()

        return shown


class _Compiled(FileSystemBytecodeCache):
    """Compiled sentences, kept where Python keeps what it compiles, if it may."""

    def dump_bytecode(self, bucket) -> None:
        with suppress(OSError):
            Path(self.directory).mkdir(exist_ok=True)
            super().dump_bytecode(bucket)


def templates(*folders: Path, **more: object) -> Environment:
    """Return what makes text of the templates in some folders."""
    lines = {"trim_blocks": True, "lstrip_blocks": True}
    return Environment(loader=FileSystemLoader(folders), undefined=StrictUndefined, **lines, **more)


@cache
def texts_of(room: str) -> Texts:
    """Return the sentences of a room of the package: a callable for each macro of its text.j2."""
    here = Path(__file__).parents[1]
    kept = _Compiled(str(here / "__pycache__"))
    # `{% import "sizing/text.j2" as sizing %}` for another's
    environment = templates(here / room, here, extensions=["jinja2.ext.do"], bytecode_cache=kept)
    environment.filters |= {name: getattr(reader, name) for name in _FILTERS}
    environment.tests["finite"] = math.isfinite
    environment.globals |= {"MONTHS": reader.MONTHS, "in_units": reader.in_units, "gallons": reader.gallons}
    return Texts(environment.get_template("text.j2").module)
