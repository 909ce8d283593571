"""Opening a file as it comes: its digest, what kind it is, its encoding, its lines; workbooks too."""

from __future__ import annotations

import bz2
import codecs
import datetime as dt
import gzip
import hashlib
import io
import lzma
import os
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pandas as pd

from rainharvest.core.errors import InputError, require_file
from rainharvest.rainfall.refusals import refusal, refuse_unless

SAMPLE = 1 << 18  # bytes looked at to work out encoding and layout

LONGEST_LINE = 1 << 16  # letters in a line beyond which a file is no table (and would not fit bounded memory)

LARGE = 50_000_000  # bytes from which reading shows a progress bar

PATIENCE = 1.0  # seconds before the progress bar shows

DAMAGED = (OSError, EOFError, zlib.error, lzma.LZMAError, zipfile.BadZipFile, NotImplementedError)

PACKINGS = {
    "gzip": (b"\x1f\x8b", gzip.open),
    "bzip2": (b"BZh", bz2.open),
    "xz": (b"\xfd7zXZ", lzma.open),
    "zip": (b"PK\x03\x04", lambda file: zipfile.ZipFile(file).open(_members(zipfile.ZipFile(file))[0])),
}

"""How packed files begin, and what unpacks them as a stream."""


NETCDF = (b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF")

ENCODINGS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF32_LE: "utf-32",
    codecs.BOM_UTF32_BE: "utf-32",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}

"""Encodings by the mark with which a text begins; the marks of UTF-32 begin with those of UTF-16."""


@dataclass(frozen=True)
class Source:
    """A file, its digest and what its first bytes say it is."""

    path: Path  # The file
    sha256: str  # Digest of the file's bytes as they lie on the disk
    kind: str  # "text", "netcdf", "excel"
    packing: str = ""  # "" or a key of PACKINGS ("zip": one text file inside)
    encoding: str = ""  # For text: the encoding that its first bytes fit
    notes: tuple[str, ...] = ()  # Assumptions made in opening it


def open_source(path: str | os.PathLike) -> Source:
    """Look at a file: digest, kind, packing, encoding."""
    try:
        path = Path(path)
        require_file(path)
        # also what the system makes as it is read, and may never end, has no size
        refuse_unless(path.stat().st_size, "empty_file", path)
        with open(path, "rb") as handle:
            sha256 = hashlib.file_digest(handle, "sha256").hexdigest()
            handle.seek(0)
            head = handle.read(8)
    except TypeError as error:
        raise refusal("no_path", error=error) from None
    except OSError as error:
        raise refusal("unreadable", path, why=error.strerror) from None
    packing = next((name for name, (mark, _) in PACKINGS.items() if head.startswith(mark)), "")
    if packing == "zip":
        try:
            with zipfile.ZipFile(path) as archive:
                names = _members(archive)
        except DAMAGED as error:
            raise refusal("damaged_archive", path, error=error) from None
        if "xl/workbook.xml" in names:
            return Source(path, sha256, "excel")
        refuse_unless(len(names) == 1, "several_files", path, count=len(names))
    with unpacked(path, packing) as handle:
        sample = handle.read(SAMPLE)
    if sample[:4] in NETCDF:
        return Source(path, sha256, "netcdf", packing)
    old = head == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
    refuse_unless(not old, "old_workbook", path)
    refuse_unless(sample.strip(), "only_blanks", path)
    encoding, *notes = _encoding(sample, path)
    return Source(path, sha256, "text", packing, encoding, tuple(notes))


def _members(archive: zipfile.ZipFile) -> list[str]:
    """Return the names of the files in an archive, without its folders."""
    return [name for name in archive.namelist() if not name.endswith("/")]


@contextmanager
def unpacked(path: Path, packing: str) -> Iterator[io.BufferedIOBase]:
    """Give the file's content as a binary stream, unpacked as it is read; large files show progress."""
    try:
        with open(path, "rb") as raw, _progress(raw, path.name) as counted:
            if not packing:
                yield counted
                return
            with PACKINGS[packing][1](counted) as stream:
                yield stream
    except InputError:
        raise
    except (*DAMAGED, RuntimeError) as error:
        raise refusal("damaged_file", path, error=error) from None


@contextmanager
def _progress(raw: io.BufferedReader, name: str) -> Iterator[io.BufferedIOBase]:
    size = os.fstat(raw.fileno()).st_size
    if size < LARGE:
        yield raw
        return
    from tqdm.auto import tqdm

    with tqdm.wrapattr(raw, "read", total=size, desc=f"Reading {name}", delay=PATIENCE) as counted:
        counted.wrapper_setattr("read1", counted.read)  # which a text wrapper calls; only read counts
        yield counted


def _encoding(sample: bytes, path: Path) -> tuple[str, ...]:
    """Return the encoding that a text's first bytes fit, and what had to be assumed."""
    for mark, name in ENCODINGS.items():
        if sample.startswith(mark):
            return (name,)
    if 0 in sample:
        odd, even = sample[1::2].count(0), sample[::2].count(0)
        for name, many, few, length in (
            ("utf-16-le", odd, even, len(sample[1::2])),
            ("utf-16-be", even, odd, len(sample[::2])),
        ):
            if many > 0.4 * length and few < 0.02 * len(sample):
                return name, "the text has no byte-order mark and was read as UTF-16"
        raise refusal("no_text", path)
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        return "cp1252", "the text is not UTF-8 and was read as Windows-1252"
    return ("utf-8",)


def lines(source: Source) -> Iterator[str]:
    """Give the lines of a text source one by one, in bounded memory."""
    with unpacked(source.path, source.packing) as raw:
        # a damaged byte far down must not stop the reading before the cell that holds it is named
        text = io.TextIOWrapper(raw, source.encoding, errors="replace")
        for number, line in enumerate(iter(partial(text.readline, LONGEST_LINE + 1), ""), 1):
            refuse_unless(len(line) <= LONGEST_LINE, "long_line", source.path, most=LONGEST_LINE, line=number)
            yield line


def workbook_lines(path: Path, at: object) -> tuple[list[str], bool]:
    """Return the rows of a workbook's sheet as tab-separated lines, and whether ``at`` can be no site in it."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions unknown to the reader: no rain in them
            sheets = pd.read_excel(path, sheet_name=None, header=None, dtype=object, na_filter=False)
    except Exception as error:  # the parser of the workbook format raises whatever its XML brings
        raise refusal("damaged_workbook", path, error=error) from None
    # at least two rows of at least two cells
    full = [title for title, sheet in sheets.items() if ((sheet != "").sum(axis=1) > 1).sum() > 1]
    title = str(at) if str(at) in sheets else next(iter(full), "")
    refuse_unless(title, "empty_workbook", path)
    settled = len(full) <= 1 or title == str(at)
    refuse_unless(settled, "several_sheets", path, sheets=", ".join(full[:12]))
    rows = sheets[title].itertuples(index=False)
    lines = ["\t".join(map(_text, row)).rstrip("\t") + "\n" for row in rows]
    return lines, not isinstance(at, str) or at in sheets


def _text(cell: object) -> str:
    """Return a workbook's cell as text files would write it."""
    if isinstance(cell, dt.datetime):
        return cell.strftime("%Y-%m-%d") if cell.time() == dt.time() else cell.isoformat(" ", "seconds")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    return " ".join(str(cell).split())
