"""The gallery of invented small files: those of layouts.toml and refusals.toml, and those that are no short text."""

from __future__ import annotations

import datetime as dt
import gzip
import io
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

N = float("nan")


@dataclass(frozen=True)
class Case:
    """One small file: its bytes, the hints given, and the rain that must come out."""

    name: str
    data: bytes
    start: str
    rain: list
    flag: list | None = None
    total_days: list | None = None
    facts: dict = field(default_factory=dict)
    says: tuple = ()
    hints: dict = field(default_factory=dict)
    suffix: str = ".csv"


@dataclass(frozen=True)
class Refusal:
    """One small file that leaves a doubt or is damaged: what the error must name, and what settles it."""

    name: str
    data: bytes
    words: str
    place: str = ""
    hints: dict = field(default_factory=dict)
    settled: dict = field(default_factory=dict)
    suffix: str = ".csv"


def text(*lines: str, encoding: str = "utf-8", end: str = "\n") -> bytes:
    return (end.join(lines) + end).encode(encoding)


def hours(
    day: str, amount: object, first: int = 0, last: int = 23, form: str = "{day} {hour:02d}:00,{amount}"
) -> list:
    """Return a line an hour of a day, all with one amount."""
    return [form.format(day=day, hour=hour, amount=amount) for hour in range(first, last + 1)]


def monthly_line(station: str, year: int, month: int, element: str, values: dict[int, object]) -> str:
    """Write a GHCN-Daily fixed-width line: values by day, each a number or a number and three flags."""
    out = f"{station}{year:04d}{month:02d}{element}"
    for day in range(1, 32):
        value = values.get(day, -9999)
        number, flags = value if isinstance(value, tuple) else (value, "   ")
        out += f"{number:5d}{flags}"
    assert len(out) == len(station) + 258
    return out


def workbook(**sheets) -> bytes:
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


STATION, LENGTHS = "XX000000001", (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
DAY_AND_MONTHS = "Day,Jan,Feb,Mar,Apr,May,Jun,Jul,Aug,Sep,Oct,Nov,Dec"
HEAD, FIRST = ("Date", "Rain (mm)"), ("1990-01-01", 1)


def sheet(*amounts) -> list:
    """Return a sheet of three days."""
    days = dt.datetime(1990, 1, 30), dt.datetime(1990, 1, 31), dt.datetime(1990, 2, 1)
    return [HEAD, *zip(days, amounts, strict=True)]


def _of(file: str, kind: type) -> list:
    """Return the cases of a table of texts."""
    out = []
    for name, row in tomllib.loads((Path(__file__).parent / file).read_text(encoding="utf-8")).items():
        form = {key: row.pop(key) for key in ("encoding", "end") if key in row}
        data = text(*row.pop("text").splitlines(), **form)
        out.append(kind(name, gzip.compress(data, mtime=0) if row.pop("packed", False) else data, **row))
    return out


PARTS = "{day},{hour},{amount}"
PRCP = {1: 15, 2: (0, "T  "), 3: (999, " X "), 7: (0, "P  "), 28: (5, "  S")}

CASES = [
    *_of("layouts.toml", Case),
    Case(
        "ghcn_fixed_width",
        text(
            monthly_line(STATION, 1990, 2, "TMAX", {1: 250}),
            monthly_line(STATION, 1990, 2, "PRCP", PRCP),
            monthly_line(STATION, 1990, 2, "MDPR", {6: 300}),
            monthly_line(STATION, 1990, 2, "DAPR", {6: 3}).rstrip(),
        ),
        "1990-02-01",
        [1.5, 0, N, N, N, 30, 0, *[N] * 20, 0.5],
        [0, 1, 4, 6, 6, 5, 0, *[2] * 20, 0],
        [1, 1, 0, 0, 0, 3, 1, *[0] * 20, 1],
        facts={"site": STATION},
        says=(
            "1 value rejected (quality flags X)",
            "1 zero that the source presumes",
            "come from the source S",
        ),
        suffix=".dly",
    ),
    Case(
        "cooperative_month_lines_in_hundredths_of_inches",
        text(monthly_line("011084", 1926, 1, "PRCP", {1: 100, 2: 0, 3: (0, "T  ")})),
        "1926-01-01",
        [25.4, 0, 0],
        [0, 0, 1],
        suffix=".txt",
    ),
    Case(
        "row_a_day_column_a_month",
        text(
            "# unit: mm",
            "Year: 1992",
            DAY_AND_MONTHS,
            *(
                f"{d}," + ",".join(str(m) if d <= n else "" for m, n in enumerate(LENGTHS, 1))
                for d in range(1, 32)
            ),
            "Sum,31,58,93,120,155,180,217,248,270,310,330,372",
        ),
        "1992-01-01",
        [m for m, n in enumerate(LENGTHS, 1) for _ in range(n)],
    ),
    Case(
        "hourly_summed_to_days",
        text("time,rain_mm", *hours("1990-01-01", 0.5), *hours("1990-01-02", 0, last=22)),
        "1990-01-01",
        [12, N],
        [0, 2],
        says=("every 3600 s were summed to days from midnight", "1 day with missing readings left unknown"),
    ),
    Case(
        "hours_one_to_twenty_four",
        text(
            "year,month,day,hour,precip (mm)",
            *hours("1990,12,31", 1, form=PARTS),
            *hours("1991,1,1", 0, form=PARTS),
        ),
        "1990-12-31",
        [24, 0],
    ),
    Case(
        "workbook",
        workbook(Rain=[("Upper Weir",), *sheet(1.5, None, 2)]),
        "1990-01-30",
        [1.5, N, 2],
        suffix=".xlsx",
    ),
    Case(
        "workbook_sheet_as_asked",
        workbook(A=sheet(1, 1, 1), B=sheet(2, "T", 0.0)),
        "1990-01-30",
        [2, 0, 0],
        [0, 1, 0],
        hints={"at": "B"},
        suffix=".xlsx",
    ),
    Case(
        "hours_one_to_twenty_four_end_at_their_stamp",
        text("Date,Time,Rain (mm)", *(f"12/{d}/1990,{h:02d}:00,{d}" for d in (30, 31) for h in range(1, 25))),
        "1990-12-30",
        [720, 744],
        says=("an hour 24 occurs, so that stamps are the end of each reading",),
    ),
    Case(
        "clock_in_a_column_of_its_own_month_first",
        text(
            "Date,Time,Rain (mm)",
            *(f"1/{d}/1990,{h % 12 or 12}:30 {'AP'[h // 12]}M,0.5" for d in (12, 13) for h in range(24)),
        ),
        "1990-01-12",
        [12, 12],
    ),
    Case(
        "months_side_by_side_under_a_year",
        text(
            "Year,1990",
            DAY_AND_MONTHS,
            *(f"{d},{d % 2}" + "," * 11 for d in range(1, 32)),
            "1991",
            DAY_AND_MONTHS,
            "1,2,,,,,,,,,,,",
        ),
        "1990-01-01",
        [*(d % 2 for d in range(1, 32)), *[N] * 334, 2, *[N] * 334],
        hints={"units": "mm"},
    ),
]

OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600
DAYS = [f"1990-01-{d:02d},{d}" for d in range(1, 31)]
LINE = monthly_line(STATION, 1990, 1, "PRCP", {1: 5})

REFUSALS = [
    *_of("refusals.toml", Refusal),
    Refusal("empty", b"", "empty"),
    Refusal("picture", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00", "neither text, netCDF nor a workbook"),
    Refusal("old_workbook", OLD_WORKBOOK, "old binary workbook", suffix=".xls"),
    Refusal("damaged_workbook", workbook(A=[HEAD, FIRST])[:-40], "damaged", suffix=".xlsx"),
    Refusal("cut_gzip", gzip.compress(text("date,rain_mm", *DAYS))[:-12], "damaged", suffix=".gz"),
    Refusal("open_quote", text("date,rain_mm", "1990-01-01,1", '1990-01-02,"2') + b"x" * 140_000, "", "line"),
    Refusal(
        "one_endless_line", text("date,rain_mm") + b"1990-01-01,1" * 9000, "longer than 65536 bytes", "line 2"
    ),
    Refusal("ghcn_line_cut", text(LINE, STATION[:9]), "no month of a station", "line 2", suffix=".dly"),
    Refusal("ghcn_without_rain", text(LINE.replace("PRCP", "TMAX")), "has no rain", suffix=".dly"),
    Refusal(
        "two_sheets",
        workbook(A=[HEAD, FIRST], B=[HEAD, ("1990-01-01", 2)]),
        "several sheets hold rows: A, B",
        "at",
        settled={"at": "B"},
        suffix=".xlsx",
    ),
    Refusal(
        "day_and_month_changed_over",
        text(
            "date,rain_mm",
            *(f"1990-{day:02d}-{month:02d},1" for month in range(1, 13) for day in range(1, 13)),
        ),
        "the rows of 1990 are out of order, and in order once day and month change places",
    ),
]
