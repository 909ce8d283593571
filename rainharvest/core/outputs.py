"""Outputs are written whole or not at all: prepared beside their place, then moved into it."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rainharvest.core.errors import InputError, require

UNFINISHED, FINISHED = ".unfinished-", ".finished-"


ROOM = 100_000_000

"""Bytes that must be free where a command writes: several times what the largest study of the demo leaves."""


_FULL = (errno.ENOSPC, errno.EDQUOT)


def check_folder(folder: str | os.PathLike, place: str = "--out") -> None:
    """Raise InputError unless a folder can be written, or made: asked before hours of work, it writes nothing."""
    there = folder = Path(folder)
    while not there.exists() and there != there.parent:
        there = there.parent
    try:
        require(there.is_dir(), f"{there} is a file", "name a folder", place, folder)
        with tempfile.TemporaryFile(dir=there) as probe:
            probe.write(b"0")
        free = shutil.disk_usage(there).free
    except OSError as error:
        raise _unwritable(error, folder, place) from None
    remedy = "make room, or name a folder on another disk"
    require(free >= ROOM, f"the disk is full: {free / 1e6:.0f} MB are free", remedy, place, folder)


def _unwritable(error: OSError, folder: Path, place: str = "--out") -> InputError:
    full = error.errno in _FULL
    remedy = "make room, or name a folder on another disk" if full else "name a folder that you may write to"
    return InputError(f"cannot write there ({error.strerror})", remedy, place, folder)


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
        raise _unwritable(error, folder) from None
    try:
        yield scratch
        for file in sorted(scratch.iterdir()):
            with open(file, "rb") as handle:
                os.fsync(handle.fileno())
        os.replace(scratch, folder / scratch.name.replace(UNFINISHED, FINISHED, 1))
        _move_finished(folder)
    except OSError as error:
        if error.errno not in _FULL:
            raise
        raise _unwritable(error, folder) from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _move_finished(folder: Path) -> None:
    """Move the files that were finished together into their place."""
    for finished in sorted(folder.glob(f"{FINISHED}*")):
        for file in sorted(finished.iterdir()):
            os.replace(file, folder / file.name)
        finished.rmdir()
