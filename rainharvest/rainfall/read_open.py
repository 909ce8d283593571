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
from pathlib import Path

from rainharvest.core.errors import InputError

SAMPLE = 1 << 18

"""Bytes looked at to work out encoding and layout."""


LONGEST_LINE = 1 << 16

"""Bytes in a line beyond which a file is no table (and would not fit bounded memory)."""


LARGE = 50_000_000

"""Bytes from which reading shows a progress bar."""


PATIENCE = 1.0

"""Seconds before the progress bar shows."""


DAMAGED = (OSError, EOFError, zlib.error, lzma.LZMAError, zipfile.BadZipFile, NotImplementedError)


@dataclass(frozen=True)
class Source:
    """A file, its digest and what its first bytes say it is."""

    path: Path  # The file
    sha256: str  # Digest of the file's bytes as they lie on the disk
    kind: str  # "text", "netcdf", "excel"
    packing: str = ""  # "", "gzip", "bzip2", "xz" or "zip" (one text file inside)
    encoding: str = ""  # For text: the encoding that its first bytes fit
    notes: tuple[str, ...] = ()  # Assumptions made in opening it


def open_source(path: str | os.PathLike) -> Source:
    """Look at a file: digest, kind, packing, encoding."""
    try:
        path = Path(path)
        with open(path, "rb") as handle:
            sha256 = hashlib.file_digest(handle, "sha256").hexdigest()
            handle.seek(0)
            head = handle.read(8)
    except (TypeError, ValueError) as error:
        raise InputError(f"this is no path ({error})", "give the path of a rain file", "path") from None
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", "check the path", "", path) from None
    if not head:
        raise InputError("the file is empty", "fetch or export it again", "", path)
    packing = _packing(path, head)
    with unpacked(path, packing) as handle:
        sample = handle.read(SAMPLE)
    if packing == "excel":
        return Source(path, sha256, "excel")
    if sample[:4] in (b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF"):
        return Source(path, sha256, "netcdf", packing)
    if head == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise InputError("this is an old binary workbook (.xls)", "save it as .xlsx or as CSV", "", path)
    if not sample.strip():
        raise InputError("the file holds nothing but blanks", "fetch or export it again", "", path)
    encoding, notes = _encoding(sample, path)
    return Source(path, sha256, "text", packing, encoding, notes)


def _packing(path: Path, head: bytes) -> str:
    if head.startswith(b"\x1f\x8b"):
        return "gzip"
    if head.startswith(b"BZh"):
        return "bzip2"
    if head.startswith(b"\xfd7zXZ"):
        return "xz"
    if not head.startswith(b"PK\x03\x04"):
        return ""
    try:
        with zipfile.ZipFile(path) as archive:
            names = [n for n in archive.namelist() if not n.endswith("/")]
    except DAMAGED as error:
        raise InputError(f"the archive is damaged ({error})", "fetch it again", "", path) from None
    if "xl/workbook.xml" in names:
        return "excel"
    if len(names) == 1:
        return "zip"
    raise InputError(
        f"the archive holds {len(names)} files",
        "unpack it and name the file with the daily rain (workbooks: save as .xlsx or CSV)",
        "",
        path,
    )


@contextmanager
def unpacked(path: Path, packing: str) -> Iterator[io.BufferedIOBase]:
    """Give the file's content as a binary stream, unpacked as it is read; large files show progress."""
    try:
        with open(path, "rb") as raw:
            size = os.fstat(raw.fileno()).st_size
            with _progress(raw, size, path.name) as counted:
                if packing == "gzip":
                    yield gzip.GzipFile(fileobj=counted)
                elif packing == "bzip2":
                    yield bz2.BZ2File(counted)
                elif packing == "xz":
                    yield lzma.LZMAFile(counted)
                elif packing == "zip":
                    with zipfile.ZipFile(counted) as archive, archive.open(archive.namelist()[-1]) as member:
                        yield member
                else:
                    yield counted
    except InputError:
        raise
    except (*DAMAGED, RuntimeError) as error:
        raise InputError(f"the file is damaged or locked ({error})", "fetch it again", "", path) from None


@contextmanager
def _progress(raw: io.BufferedReader, size: int, name: str) -> Iterator[io.BufferedIOBase]:
    if size < LARGE:
        yield raw
        return
    from tqdm.auto import tqdm

    with tqdm.wrapattr(raw, "read", total=size, desc=f"Reading {name}", delay=PATIENCE) as counted:
        yield counted


def _encoding(sample: bytes, path: Path) -> tuple[str, tuple[str, ...]]:
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF32_BE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if sample.startswith(mark):
            return name, ()
    zeros = sample.count(0)
    if zeros:
        odd, even = sample[1::2].count(0), sample[::2].count(0)
        if odd > 0.4 * len(sample[1::2]) and even < 0.02 * len(sample):
            return "utf-16-le", ("the text has no byte-order mark and was read as UTF-16",)
        if even > 0.4 * len(sample[::2]) and odd < 0.02 * len(sample):
            return "utf-16-be", ("the text has no byte-order mark and was read as UTF-16",)
        raise InputError(
            "this is neither text, netCDF nor a workbook",
            "export the record as CSV, .xlsx or CF netCDF",
            "",
            path,
        )
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        return "cp1252", ("the text is not UTF-8 and was read as Windows-1252",)
    return "utf-8", ()


def lines(source: Source) -> Iterator[str]:
    """Give the lines of a text source one by one, in bounded memory."""
    with unpacked(source.path, source.packing) as raw:
        # a damaged byte far down must not stop the reading before the cell that holds it is named
        yield from io.TextIOWrapper(_Lines(raw, source.path), source.encoding, errors="replace")


class _Lines(io.RawIOBase):
    """Let a text wrapper read a stream that offers only ``read``, and stop at a line without end."""

    def __init__(self, stream, path: Path):
        self._stream, self._path = stream, path
        self._length = 0
        self._ends = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer) -> int:
        data = self._stream.read(len(buffer))
        end = max(data.rfind(b"\n"), data.rfind(b"\r"))
        self._length = len(data) - end - 1 if end >= 0 else self._length + len(data)
        self._ends += data.count(b"\n") or data.count(b"\r")
        if self._length > LONGEST_LINE:
            raise InputError(
                f"the line is longer than {LONGEST_LINE} bytes, so this is no table of days",
                "give one day, or one month, a line",
                f"line {self._ends + 1}",
                self._path,
            )
        buffer[: len(data)] = data
        return len(data)


def workbook_lines(path: str | os.PathLike, sheet: object = None) -> Iterator[str]:
    """Give the rows of a sheet as tab-separated lines."""
    book = _open(Path(path))
    try:
        for row in _sheet(book, path, sheet).iter_rows(values_only=True):
            yield "\t".join(map(_text, row)).rstrip("\t") + "\n"
    except InputError:
        raise
    except Exception as error:  # the parser of the workbook format raises whatever its XML brings
        raise InputError(
            f"the workbook is damaged ({error})", "save it again, or save it as CSV", "", path
        ) from None
    finally:
        book.close()


def sheet_names(path: str | os.PathLike) -> list[str]:
    """Return the names of a workbook's sheets."""
    book = _open(Path(path))
    try:
        return [*book.sheetnames]
    finally:
        book.close()


def _open(path: Path):
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore"
            )  # styles and extensions that openpyxl does not know: no rain in them
            return openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:
        raise InputError(
            f"the workbook is damaged ({error})", "save it again, or save it as CSV", "", path
        ) from None


def _sheet(book, path, name: object):
    sheets = {s.title: s for s in book.worksheets}
    if name is not None and str(name) in sheets:
        return sheets[str(name)]
    full = [title for title, sheet in sheets.items() if _has_rows(sheet)]
    if not full:
        raise InputError("the workbook has no rows", "check that this is the file meant", "", path)
    if len(full) > 1:
        raise InputError(
            f"several sheets hold rows: {', '.join(full[:12])}", "say which with at=, by its name", "at", path
        )
    return sheets[full[0]]


def _has_rows(sheet) -> bool:
    rows = (
        sum(cell is not None for cell in row) > 1 for row in sheet.iter_rows(values_only=True, max_row=400)
    )
    return sum(rows) > 1


def _text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, dt.datetime):
        return cell.strftime("%Y-%m-%d") if cell.time() == dt.time() else cell.isoformat(" ", "seconds")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    return " ".join(str(cell).split())
