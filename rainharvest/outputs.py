"""Outputs are written whole or not at all: prepared beside their place, then moved into it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rainharvest.errors import InputError


@contextmanager
def whole_files(folder: str | os.PathLike) -> Iterator[Path]:
    """Give a scratch folder whose files move into ``folder`` together when the block ends well.

    The scratch folder lies inside ``folder``, so that each move is one rename on one file system: a kill
    at any moment leaves each file old or new, never half written. When the block raises, nothing moves.
    Other files of the folder are left alone.

    Parameters
    ----------
    folder : str or path
        Where the files belong; made if need be.

    Yields
    ------
    Path
        The scratch folder to write into (files only, no subfolders).

    Raises
    ------
    InputError
        If the folder cannot be made or written.
    """
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=".unfinished-", dir=folder))
    except OSError as error:
        raise InputError(
            f"cannot write there ({error.strerror})", "name a folder that you may write to", "--out", folder
        ) from None
    try:
        yield scratch
        for file in sorted(scratch.iterdir()):
            with open(file, "rb") as handle:
                os.fsync(handle.fileno())
        for file in sorted(scratch.iterdir()):
            os.replace(file, folder / file.name)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
