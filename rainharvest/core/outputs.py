"""Outputs are written whole or not at all: prepared apart, then put in their place as one set."""

from __future__ import annotations

import ctypes
import errno
import glob
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from rainharvest.core.errors import InputError, require

if TYPE_CHECKING:
    import pandas as pd

try:
    import fcntl
except ImportError:  # Windows has no such lock
    fcntl = None

UNFINISHED, FINISHED = ".unfinished-", ".finished-"

_LEAST_ROOM = 1 << 16  # bytes; with less on the disk, an error while writing is for want of room

_ABANDONED = 86400.0  # seconds after which a scratch folder is left over, where the system has no locks


ROOM = 100_000_000

"""Bytes that must be free where a command writes: several times what the largest study of the demo leaves."""


OUT, MAKE_ROOM = "--out", "make room, or name a folder on another disk"

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def check_folder(folder: str | os.PathLike) -> None:
    """Raise InputError unless a folder can be written, or made: asked before hours of work, it writes nothing."""
    there = folder = Path(folder)
    while not there.exists() and there != there.parent:
        there = there.parent
    try:
        require(there.is_dir(), f"{there} is a file", "name a folder", OUT, folder)
        with tempfile.TemporaryFile(dir=there) as probe:
            probe.write(b"0")
        free = shutil.disk_usage(there).free
    except OSError as error:
        raise _unwritable(error, folder) from None
    require(free >= ROOM, f"the disk is full: {free / 1e6:.0f} MB are free", MAKE_ROOM, OUT, folder)


def _unwritable(error: OSError, folder: Path) -> InputError:
    remedy = MAKE_ROOM if error.errno in _FULL else "name a folder that you may write to"
    return InputError(f"cannot write there ({error.strerror})", remedy, OUT, folder)


@contextmanager
def whole_files(folder: str | os.PathLike) -> Iterator[Path]:
    """Give a scratch folder whose files take their place in ``folder`` as one set when the block ends well.

    Where ``folder`` holds nothing but an older set and the system can exchange two folders in one step, the
    new one takes its place so, and a kill at any moment leaves the set old or new. Otherwise the scratch
    folder is renamed as finished and its files move one by one: where a kill falls between two moves the
    rest stand there, and the next call moves them first. A file that cannot be replaced, because another
    program holds it open, is named, and those before it are put back. When the block raises, nothing moves.
    Runs into one folder at once take their turns; what a killed one left behind is cleared away.
    """
    folder = Path(folder)
    with scratch_folder(folder) as scratch:
        with _turn(folder):
            _move_finished(folder)
        yield scratch
        for file in sorted(scratch.iterdir()):
            with open(file, "rb") as handle:
                os.fsync(handle.fileno())
        with _turn(folder):
            if not _exchanged(folder, scratch):
                os.replace(scratch, folder / scratch.name.replace(UNFINISHED, FINISHED, 1))
                _move_finished(folder)


@contextmanager
def scratch_folder(folder: Path) -> Iterator[Path]:
    """Give a scratch folder inside a folder for the length of a block; clear away those of runs that are no more."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _turn(folder):
            _clear(folder)
            scratch = Path(tempfile.mkdtemp(prefix=UNFINISHED, dir=folder))
            mine = _lock(scratch)
    except OSError as error:
        raise _unwritable(error, folder) from None
    try:
        yield scratch
    except (OSError, RuntimeError) as error:
        full = getattr(error, "errno", 0) in _FULL or shutil.disk_usage(folder).free < _LEAST_ROOM
        if not full:
            raise
        raise _unwritable(OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), folder) from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
        _unlock(mine)


def _lock(folder: Path, wait: bool = True) -> int | None:
    """Return a lock on a folder, which ends with the process at the latest; None where there are no locks."""
    if fcntl is None:
        return None
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        os.close(handle)
        raise
    except OSError:  # a file system without locks
        os.close(handle)
        return None
    return handle


def _unlock(handle: int | None) -> None:
    if handle is not None:
        os.close(handle)


@contextmanager
def _turn(folder: Path) -> Iterator[None]:
    """Hold a folder for the moment of a change; it may have been exchanged for another while waiting."""
    while True:
        handle = _lock(folder)
        with suppress(FileNotFoundError):
            if handle is None or os.path.samestat(os.fstat(handle), os.stat(folder)):
                break
        _unlock(handle)
    try:
        yield
    finally:
        _unlock(handle)


def _clear(folder: Path) -> None:
    """Clear away the scratch folders of runs that are no more."""
    aside = folder.parent.glob(f"{glob.escape(_aside(folder))}*") if folder.name else ()
    for left in [*folder.glob(f"{UNFINISHED}*"), *aside]:
        with suppress(OSError):
            if not left.is_dir():
                continue
            handle = _lock(left, wait=False)
            if handle is not None or time.time() - left.stat().st_mtime > _ABANDONED:
                shutil.rmtree(left, ignore_errors=True)
            _unlock(handle)


def _aside(folder: Path) -> str:
    return f".{folder.name}{UNFINISHED}"


def _exchanged(folder: Path, scratch: Path) -> bool:
    """Exchange a folder for the finished one in one step; False where that cannot be, and nothing is done."""
    names = {file.name for file in scratch.iterdir()}
    others = {file.name for file in folder.iterdir()} - names - {scratch.name}
    if others or not folder.name or folder.is_symlink() or folder.resolve() in _here():
        return False
    aside = folder.with_name(_aside(folder) + scratch.name.removeprefix(UNFINISHED))
    try:
        shutil.copymode(folder, scratch)
        os.replace(scratch, aside)
    except OSError:
        return False
    if _exchange(aside, folder):
        shutil.rmtree(aside, ignore_errors=True)
        return True
    os.replace(aside, scratch)
    return False


def _here() -> set[Path]:
    """Return the folder in which the program runs and those above it: they stay what they are."""
    try:
        return {Path.cwd(), *Path.cwd().parents}
    except OSError:
        return set()


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change names in one step, as Linux and macOS can on most file systems."""
    here, swap = -100, 2  # AT_FDCWD, and RENAME_EXCHANGE of Linux or RENAME_SWAP of macOS
    names = [os.fsencode(path) for path in (one, other)]
    try:
        system = ctypes.CDLL(None)
        if sys.platform == "darwin":
            return system.renamex_np(*names, swap) == 0
        return system.renameat2(here, names[0], here, names[1], swap) == 0
    except (AttributeError, OSError, TypeError):
        return False


def _move_finished(folder: Path) -> None:
    """Move the files that were finished together into their place; where one cannot, put the others back."""
    for finished in sorted(folder.glob(f"{FINISHED}*")):
        with tempfile.TemporaryDirectory(prefix=UNFINISHED, dir=folder) as kept:
            moved: list[Path] = []
            for file in sorted(finished.iterdir()):
                target, old = folder / file.name, Path(kept) / file.name
                try:
                    if target.exists():
                        _copy(target, old)
                    os.replace(file, target)
                except OSError as error:
                    for back in moved:
                        before = Path(kept) / back.name
                        os.replace(before, back) if before.exists() else back.unlink()
                    shutil.rmtree(finished)
                    raise InputError(
                        f"it cannot be replaced ({error.strerror}); the older files were left as they are",
                        "close it where it is open, and run again",
                        file=target,
                    ) from None
                moved.append(target)
        finished.rmdir()


def no_formula(cell: object) -> object:
    """Return a cell of a table as spreadsheets show it: text that they would compute bears an apostrophe before it.

    >>> no_formula("=1+1"), no_formula("-1.5"), no_formula("+ more"), no_formula(-2)
    ("'=1+1", '-1.5', "'+ more", -2)
    """
    if not isinstance(cell, str) or not cell.startswith(("=", "+", "-", "@", "\t", "\r")):
        return cell
    return cell if re.fullmatch(r"[-+]?[\d.]+(e[-+]?\d+)?", cell) else f"'{cell}"


def write_csv(table: pd.DataFrame, path: Path, **form: object) -> None:
    """Write a table as CSV without formulas."""
    text = table.select_dtypes(exclude=["number", "bool"]).columns
    plain = table.assign(**{name: table[name].map(no_formula) for name in text})
    plain.rename(columns=no_formula).to_csv(path, lineterminator="\n", **form)


def _copy(source: Path, target: Path) -> None:
    """Give a file a second name or, where the file system has none, a copy."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)
