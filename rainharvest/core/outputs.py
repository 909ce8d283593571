"""Outputs are written whole or not at all: prepared beside their place, then moved into it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rainharvest.core.errors import InputError

UNFINISHED, FINISHED = ".unfinished-", ".finished-"


@contextmanager
def whole_files(folder: str | os.PathLike) -> Iterator[Path]:
    """Give a scratch folder whose files move into ``folder`` together when the block ends well.

    The scratch folder lies inside ``folder``, so that each move is one rename on one file system: a kill
    at any moment leaves each file old or new, never half written. When all are written the scratch folder
    is renamed as finished, and only then do they move: where a kill falls between two moves, the rest stand
    there and the next call moves them first. When the block raises, nothing moves. Other files of the
    folder are left alone.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _move_finished(folder)
        scratch = Path(tempfile.mkdtemp(prefix=UNFINISHED, dir=folder))
    except OSError as error:
        raise InputError(
            f"cannot write there ({error.strerror})", "name a folder that you may write to", "--out", folder
        ) from None
    try:
        yield scratch
        for file in sorted(scratch.iterdir()):
            with open(file, "rb") as handle:
                os.fsync(handle.fileno())
        os.replace(scratch, folder / scratch.name.replace(UNFINISHED, FINISHED, 1))
        _move_finished(folder)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _move_finished(folder: Path) -> None:
    """Move the files that were finished together into their place."""
    for finished in sorted(folder.glob(f"{FINISHED}*")):
        for file in sorted(finished.iterdir()):
            os.replace(file, folder / file.name)
        finished.rmdir()
