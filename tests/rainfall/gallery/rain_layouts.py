"""Invented small files, one a layout: text that read_rain must read, and exactly what it must return."""

from __future__ import annotations

import gzip
import io
from dataclasses import dataclass, field

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


def _wide(year: int, month: int, values: dict[int, str], blank: str = "") -> list[str]:
    return [str(year), str(month), *(values.get(d, blank) for d in range(1, 32))]


def _dates():
    import datetime as dt

    return [dt.datetime(1990, 1, 30), dt.datetime(1990, 1, 31), dt.datetime(1990, 2, 1)]


BOM_STYLE = (
    "Product code,Station number,Year,Month,Day,Rainfall amount (millimetres),"
    "Period over which rainfall was measured (days),Quality"
)

CASES = [
    Case(
        "iso",
        text("date,rain_mm", "2000-02-28,1.5", "2000-02-29,0", "2000-03-01,0.2"),
        "2000-02-28",
        [1.5, 0, 0.2],
    ),
    Case(
        "comments_tell_place_and_unit",
        text(
            "# site: Upper Weir",
            "# latitude: -33.1",
            "# longitude = 18.5",
            "# elevation: 120 m",
            "# unit: 0.1 mm",
            "date,rain",
            "1990-01-01,15",
            "1990-01-02,0",
        ),
        "1990-01-01",
        [1.5, 0],
        facts={"site": "Upper Weir", "latitude": -33.1, "longitude": 18.5, "elevation": 120.0},
    ),
    Case(
        "semicolon_decimal_comma_day_first",
        text("Datum;Niederschlag (mm)", "30.01.1990;1,5", "31.01.1990;0,0", "01.02.1990;12,25"),
        "1990-01-30",
        [1.5, 0, 12.25],
        says=("decimals are written with a comma",),
    ),
    Case(
        "tabs_month_first_inches",
        text("DATE\tPRCP (inches)", "1/30/1990\t1.00", "1/31/1990\t0", "2/1/1990\t0.05"),
        "1990-01-30",
        [25.4, 0, 1.27],
    ),
    Case(
        "whitespace_separate_date_parts",
        text(
            "Day   Month   Year   Tmax(C)   Prcp(mm)",
            " 31   12   1999   20.1   5.3",
            "  1    1   2000   19.0   0.0",
        ),
        "1999-12-31",
        [5.3, 0],
        suffix=".txt",
    ),
    Case("pipes", text("date|rain_mm", "1990-01-01|1.0", "1990-01-02|2.0"), "1990-01-01", [1, 2]),
    Case(
        "unit_row_behind_a_hash",
        text("date,tmax,Prec,Q", "#,°C,mm/day,m³/s", "01.01.1979,-12.9,1,143", "02.01.1979,-10.9,0.6,110"),
        "1979-01-01",
        [1, 0.6],
        says=("in which they run from day to day",),
    ),
    Case(
        "met_year_and_day_of_year",
        text(
            "!site: 7",
            "latitude = 42.0",
            "longitude = -93.0",
            "tav = 8.95",
            "year day radn maxt mint rain",
            "() () (MJ/m2) (oC) (oC) (mm)",
            "1990.0 365.0 8.1 0 -10 0.0",
            "1991.0 1.0 8.4 8 -4 2.31",
        ),
        "1990-12-31",
        [0, 2.31],
        facts={"site": "7", "latitude": 42.0, "longitude": -93.0},
        suffix=".met",
    ),
    Case(
        "no_header_day_of_year",
        text(*(f"1984 {d} {d % 3}.5" for d in range(48, 64))),
        "1984-02-17",
        [d % 3 + 0.5 for d in range(48, 64)],
        hints={"units": "mm"},
        says=("the file names no columns",),
    ),
    Case(
        "no_header_compact_dates",
        text("19900131,0.4", "19900201,T", "19900202,7.0"),
        "1990-01-31",
        [0.4, 0, 7],
        [0, 1, 0],
        hints={"units": "mm"},
        says=("the file names no columns",),
    ),
    Case(
        "month_names",
        text("date,rain_mm", "31-Dec-1999,1", "1-Jan-2000,2", "2-Jan-2000,3"),
        "1999-12-31",
        [1, 2, 3],
    ),
    Case(
        "month_names_in_another_tongue",
        text("fecha;lluvia (mm)", "31 dic 1999;1,5", "1 ene 2000;2", "2 ene 2000;0"),
        "1999-12-31",
        [1.5, 2, 0],
    ),
    Case(
        "month_before_day_in_words",
        text("date\train_mm", "December 31, 1999\t1", "January 1, 2000\t2"),
        "1999-12-31",
        [1, 2],
    ),
    Case(
        "utf16_with_mark",
        text("date,rain_mm", "1990-01-01,1.0", "1990-01-02,0.0", encoding="utf-16"),
        "1990-01-01",
        [1, 0],
    ),
    Case(
        "utf8_mark_and_dos_lines",
        b"\xef\xbb\xbf" + text("date,rain_mm", "1990-01-01,1.0", "1990-01-02,0.0", end="\r\n"),
        "1990-01-01",
        [1, 0],
    ),
    Case(
        "latin_letters",
        text("jour;pluie (mm);année", "1990-01-01;1,0;x", "1990-01-02;0,0;x", encoding="cp1252"),
        "1990-01-01",
        [1, 0],
        says=("Windows-1252",),
    ),
    Case(
        "old_mac_lines",
        text("date,rain_mm", "1990-01-01,1.0", "1990-01-02,0.0", end="\r"),
        "1990-01-01",
        [1, 0],
    ),
    Case(
        "gzip",
        gzip.compress(text("date,rain_mm", "1990-01-01,1.0", "1990-01-02,0.0"), mtime=0),
        "1990-01-01",
        [1, 0],
        suffix=".csv.gz",
    ),
    Case(
        "missing_codes_and_traces",
        text(
            "date,rain_mm",
            "1990-01-01,-9999",
            "1990-01-02,NA",
            "1990-01-03,",
            "1990-01-04,---",
            "1990-01-05,T",
            "1990-01-06,<0.1",
            "1990-01-07,999.9",
            "1990-01-08,4.0",
            "1990-01-09,-99.9",
        ),
        "1990-01-01",
        [N, N, N, N, 0, 0, N, 4, N],
        [2, 2, 2, 2, 1, 1, 2, 0, 2],
        says=("999.9 taken for a missing code (1 day)",),
    ),
    Case(
        "declared_missing_code",
        text("# missing: 77", "date,rain_mm", "1990-01-01,77", "1990-01-02,76"),
        "1990-01-01",
        [N, 76],
    ),
    Case(
        "a_high_day_is_no_code",
        text("date,rain_mm", "1990-01-01,99.9", "1990-01-02,0"),
        "1990-01-01",
        [99.9, 0],
    ),
    Case(
        "days_without_a_row",
        text("date,rain_mm", "1990-01-01,0", "1990-01-04,2.0", "1990-01-05,0"),
        "1990-01-01",
        [0, N, N, 2, 0],
        [0, 2, 2, 0, 0],
        [1, 0, 0, 1, 1],
        says=("2 days without a row in the file are unknown, not dry",),
    ),
    Case(
        "blank_is_zero_as_asked",
        text("date,rain_mm", *(f"1990-01-{d:02d},{d}.0" for d in (1, 5, 9, 14, 20, 27))),
        "1990-01-01",
        [float(d) if d in (1, 5, 9, 14, 20, 27) else 0.0 for d in range(1, 28)],
        hints={"blank_is_zero": True},
        says=("21 blank days taken for dry, as asked",),
    ),
    Case(
        "totals_over_days",
        text(
            BOM_STYLE,
            "P1,066062,1969,04,16,103.9,1,Y",
            "P1,066062,1969,04,17,,,",
            "P1,066062,1969,04,18,,,",
            "P1,066062,1969,04,19,30.0,3,N",
            "P1,066062,1969,04,20,1.2,,",
        ),
        "1969-04-16",
        [103.9, N, N, 30, 1.2],
        [0, 6, 6, 5, 0],
        [1, 0, 0, 3, 1],
        facts={"site": "066062"},
        says=("1 value is a total over several days", "1 value not yet checked"),
    ),
    Case(
        "total_reaches_back_before_the_first_row",
        text("date,rain_mm,days", "1990-01-03,6.0,3", "1990-01-04,0.0,1"),
        "1990-01-01",
        [N, N, 6, 0],
        [6, 6, 5, 0],
        [0, 0, 3, 1],
    ),
    Case(
        "quality_words",
        text("date,rain_mm,quality", "1990-01-01,1,ok", "1990-01-02,2,suspect", "1990-01-03,3,reject"),
        "1990-01-01",
        [1, 2, N],
        [0, 3, 4],
        says=("1 value that the source rejects", "1 value that the source doubts"),
    ),
    Case(
        "accumulated_by_a_flag_letter",
        text(
            "Date,Total Precip (mm),Total Precip Flag",
            "1990-01-01,1.0,",
            "1990-01-02,,M",
            "1990-01-03,5.0,A",
            "1990-01-04,0.0,T",
            "1990-01-05,2.0,E",
        ),
        "1990-01-01",
        [1, N, 5, 0, 2],
        [0, 6, 5, 1, 0],
        [1, 0, 2, 1, 1],
        says=("estimated; kept", "1 accumulated value"),
    ),
    Case(
        "accumulated_by_a_mark_behind_the_amount",
        text(
            "date,rain_mm",
            "1990-01-01,1",
            "1990-01-02,",
            "1990-01-03,5.0A",
            "1990-01-04,T",
            "1990-01-05,2.0 acc.",
        ),
        "1990-01-01",
        [1, N, 5, 0, 2],
        [0, 6, 5, 1, 0],
        [1, 0, 2, 1, 1],
        says=("2 accumulated values taken to cover the days since the last value",),
    ),
    Case(
        "days_said_to_be_in_the_amount_that_follows",
        text(
            "date,rain_mm",
            "1990-01-01,",
            "1990-01-02,acc",
            "1990-01-03,Included",
            "1990-01-04,9",
            "1990-01-05,",
            "1990-01-06,1",
            "1990-01-07,acc",
        ),
        "1990-01-01",
        [N, N, N, 9, N, 1, N],
        [2, 6, 6, 5, 2, 0, 2],
        [0, 0, 0, 3, 0, 1, 0],
        says=("1 accumulated value",),
    ),
    Case(
        "accumulated_by_a_word_of_the_quality",
        text(
            "date,rain_mm,quality",
            "1990-01-01,1,ok",
            "1990-01-04,6,accumulated",
            "1990-01-05,,",
            "1990-01-06,7,2-day total",
            "1990-01-07,,in_total",
            "1990-01-08,4,total",
        ),
        "1990-01-01",
        [1, N, N, 6, N, 7, N, 4],
        [0, 6, 6, 5, 6, 5, 6, 5],
        [1, 0, 0, 3, 0, 2, 0, 2],
        says=("2 accumulated values", "3 values are totals"),
    ),
    Case(
        "accumulated_by_a_remark",
        text(
            "date,rain_mm,remark", "1990-01-01,1,dry", "1990-01-04,6,Accumulated", "1990-01-05,2,total loss"
        ),
        "1990-01-01",
        [1, N, N, 6, 2],
        [0, 6, 6, 5, 0],
        [1, 0, 0, 3, 1],
        says=("1 accumulated value",),
    ),
    Case(
        "first_and_last_date_of_each_amount",
        text(
            "from,to,rain_mm", "1990-01-01,1990-01-01,1", "1990-01-02,1990-01-04,9", "1990-01-05,1990-01-05,T"
        ),
        "1990-01-01",
        [1, N, N, 9, 0],
        [0, 6, 6, 5, 1],
        [1, 0, 0, 3, 1],
        says=("each row runs to its 'to', that day included",),
    ),
    Case(
        "last_date_of_an_amount_is_the_first_of_the_next",
        text("start date,end date,rain_mm", "01/02/1990,13/02/1990,9", "13/02/1990,14/02/1990,2"),
        "1990-02-01",
        [*[N] * 11, 9, 2],
        [*[6] * 11, 5, 0],
        [*[0] * 11, 12, 1],
        hints={"day_first": True},
        says=("runs to its 'end date', which is the next one begun",),
    ),
    Case(
        "hours_over_which_an_amount_was_measured",
        text("date,rain_mm,ob_hour_count", "1990-01-01,1,24", "1990-01-04,6,72", "1990-01-05,0,24"),
        "1990-01-01",
        [1, N, N, 6, 0],
        [0, 6, 6, 5, 0],
        [1, 0, 0, 3, 1],
    ),
    Case(
        "fill_value_below_zero",
        text("date,rain_mm", "1990-01-01,1", "1990-01-02,-3.4e38", "1990-01-03,-0.5"),
        "1990-01-01",
        [1, N, -0.5],
        [0, 4, 0],
        says=("1 value beyond the world's record of rain, as far as -3.4e+38 mm",),
    ),
    Case(
        "rows_out_of_order_and_twice",
        text("date,rain_mm", "1990-01-03,3", "1990-01-01,1", "1990-01-03,3", "1990-01-02,2"),
        "1990-01-01",
        [1, 2, 3],
        says=("were not in order", "1 day stood twice with the same value"),
    ),
    Case(
        "a_foot_and_a_second_header",
        text(
            "date,rain_mm",
            "1990-01-01,1",
            "date,rain_mm",
            "1990-01-02,2",
            "",
            "Total,3",
            "Checked by,the clerk",
        ),
        "1990-01-01",
        [1, 2],
        says=("1 line of the header", "2 rows at the end without a date"),
    ),
    Case(
        "one_site_of_two",
        text(
            "location,date,rain_mm",
            "East,1990-01-01,1",
            "West,1990-01-01,5",
            "East,1990-01-02,2",
            "West,1990-01-02,6",
        ),
        "1990-01-01",
        [5, 6],
        hints={"at": "west"},
        facts={"site": "West"},
    ),
    Case(
        "one_column_of_two",
        text("date,rain_a (mm),rain_b (mm)", "1990-01-01,1,5", "1990-01-02,2,6"),
        "1990-01-01",
        [5, 6],
        hints={"column": "rain_b (mm)"},
    ),
    Case(
        "day_first_as_asked",
        text("date,rain_mm", "03/04/1990,1", "05/04/1990,2"),
        "1990-04-03",
        [1, N, 2],
        hints={"day_first": True},
        says=("day-month-year, as asked",),
    ),
    Case(
        "two_digit_years",
        text("date,rain_mm", "30/12/99,1", "31/12/99,0", "01/01/00,2"),
        "1999-12-30",
        [1, 0, 2],
        says=("two-digit years",),
    ),
    Case(
        "beyond_the_record_of_the_world",
        text("date,rain_mm", "1990-01-01,1", "1990-01-02,1e308", "1990-01-03,2500", "1990-01-04,1825"),
        "1990-01-01",
        [1, N, N, 1825],
        flag=[0, 4, 4, 0],
        says=("2 values beyond the world's record of rain, as far as 1e+308 mm, set to unknown",),
    ),
    Case(
        "codes_that_a_line_declares",
        text("# missing: 999", "date,rain_mm", "1990-01-01,600", "1990-01-02,999", "1990-01-03,0"),
        "1990-01-01",
        [600, N, 0],
    ),
    Case(
        "quoted_cells_and_thousands",
        text('"date","rain_mm","remark"', '"1990-01-01","1,234.5","big, very"', '"1990-01-02","0.0",""'),
        "1990-01-01",
        [1234.5, 0],
    ),
    Case(
        "knmi_style_explained_in_the_preamble",
        text(
            "THESE DATA MAY BE USED FREELY",
            "STN      LON   LAT  NAME",
            "RD = Daily precipitation amount in 0.1 mm",
            "STN,YYYYMMDD,   RD,   SX,",
            "  550,19900101,   12,    0,",
            "  550,19900102,     ,    0,",
            "  550,19900103,    3,    0,",
        ),
        "1990-01-01",
        [1.2, N, 0.3],
        facts={"site": "550"},
        suffix=".txt",
    ),
    Case(
        "trace_by_a_code_told_in_the_preamble",
        text(
            "# RH = Daily sum (in 0.1 mm) (-1 for <0.05 mm)",
            "STN,YYYYMMDD,RH",
            "260,19900101,-1",
            "260,19900102,25",
        ),
        "1990-01-01",
        [0, 2.5],
        [1, 0],
        hints={"column": "RH"},
        suffix=".txt",
    ),
    Case(
        "ecad_blended",
        text(
            "EUROPEAN STYLE FILE, file created on 01-01-2020",
            "This is a blended series, station X (STAID: 1)",
            "",
            "FILE FORMAT (MISSING VALUE CODE IS -9999):",
            "",
            "01-06 STAID: Station identifier",
            "24-28 RR   : Precipitation amount in 0.1 mm",
            "30-34 Q_RR : Quality code (0='valid'; 1='suspect'; 9='missing')",
            "",
            " STAID, SOUID,    DATE,   RR, Q_RR",
            "     1, 35381,19900101,   15,    0",
            "     1, 35381,19900102,  200,    1",
            "     1, 35381,19900103,-9999,    9",
        ),
        "1990-01-01",
        [1.5, 20, N],
        [0, 3, 2],
        facts={"site": "1"},
        says=("1 value that the source doubts",),
        suffix=".txt",
    ),
    Case(
        "ecad_single_source",
        text(
            "FILE FORMAT (MISSING VALUE CODE IS -9999):",
            "",
            " SOUID,    DATE,   RR, Q_RR",
            " 35381,19900101,   15,    0",
            " 35381,19900102,    0,    0",
        ),
        "1990-01-01",
        [1.5, 0],
        suffix=".txt",
    ),
    Case(
        "ghcn_fixed_width",
        text(
            monthly_line("XX000000001", 1990, 2, "TMAX", {1: 250}),
            monthly_line(
                "XX000000001",
                1990,
                2,
                "PRCP",
                {1: 15, 2: (0, "T  "), 3: (999, " X "), 7: (0, "P  "), 28: (5, "  S")},
            ),
            monthly_line("XX000000001", 1990, 2, "MDPR", {6: 300}),
            monthly_line("XX000000001", 1990, 2, "DAPR", {6: 3}).rstrip(),
        ),
        "1990-02-01",
        [1.5, 0, N, N, N, 30, 0, *[N] * 20, 0.5],
        [0, 1, 4, 6, 6, 5, 0, *[2] * 20, 0],
        [1, 1, 0, 0, 0, 3, 1, *[0] * 20, 1],
        facts={"site": "XX000000001"},
        says=(
            "1 value rejected (quality flags X)",
            "1 zero that the source presumes",
            "come from the source S",
        ),
        suffix=".dly",
    ),
    Case(
        "ghcn_long_csv",
        text(
            "XX000000001,19900101,PRCP,15,,,E,",
            "XX000000001,19900101,TMAX,250,,,E,",
            "XX000000001,19900102,PRCP,0,T,,E,0700",
            "XX000000001,19900103,PRCP,99,,D,E,",
            "XX000000001,19900105,MDPR,40,,,E,",
            "XX000000001,19900105,DAPR,2,,,E,",
        ),
        "1990-01-01",
        [1.5, 0, N, N, 4],
        [0, 1, 4, 6, 5],
        [1, 1, 0, 0, 2],
    ),
    Case(
        "ghcn_long_csv_with_missing_days",
        text(
            "XX000000001,19891231,PRCP,-9999,,,E,",
            "XX000000001,19900101,PRCP,15,,,E,",
            "XX000000001,19900102,PRCP,-9999,,,E,",
            "XX000000001,19900104,PRCP,0,,,E,",
        ),
        "1990-01-01",
        [1.5, N, N, 0],
        [0, 2, 2, 0],
        says=("1 day without a row in the file is unknown",),
    ),
    Case(
        "unit_in_a_title",
        text(
            "Daily rainfall in inches, an invented school", "", "date,rain", "1990-01-01,0.1", "1990-01-02,0"
        ),
        "1990-01-01",
        [2.54, 0],
    ),
    Case(
        "ghcn_long_csv_with_header_and_stations",
        text(
            "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME",
            "XX000000001,19900101,PRCP,15,,,E,",
            "XX000000002,19900101,PRCP,25,,,E,",
            "XX000000002,19900102,PRCP,0,,,E,",
        ),
        "1990-01-01",
        [2.5, 0],
        hints={"at": "XX000000002"},
    ),
    Case(
        "ghcn_daily_summaries",
        text(
            '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES",'
            '"MDPR","MDPR_ATTRIBUTES","DAPR","DAPR_ATTRIBUTES"',
            '"XX000000001","1990-01-01","-33.5","150.2","12.0","UPPER WEIR, XX","   28",",,E","","","",""',
            '"XX000000001","1990-01-02","-33.5","150.2","12.0","UPPER WEIR, XX","    0","T,,E","","","",""',
            '"XX000000001","1990-01-04","-33.5","150.2","12.0","UPPER WEIR, XX","","","   50",",,E",'
            '"    2",",,E"',
        ),
        "1990-01-01",
        [2.8, 0, N, 5],
        [0, 1, 6, 5],
        [1, 1, 0, 2],
        facts={"site": "UPPER WEIR, XX", "latitude": -33.5, "longitude": 150.2, "elevation": 12.0},
        says=("tenths of mm",),
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
        "row_a_month",
        text(
            "Year,Month," + ",".join(map(str, range(1, 32))) + ",Total",
            "# unit: mm",
            ",".join(_wide(1990, 2, {1: "1.5", 28: "2", 30: "0", 31: "-"})) + ",3.5",
            ",".join(_wide(1990, 3, {1: "T", 2: "0.2"})) + ",0.2",
        ),
        "1990-02-01",
        [1.5, *[N] * 26, 2, 0, 0.2, *[N] * 29],
        hints={"units": "mm"},
    ),
    Case(
        "row_a_month_without_header_named_months",
        text(
            *(
                "\t".join(["7", "1991", month, *("0.1" if d <= length else "" for d in range(1, 32))])
                for month, length in (("Jan", 31), ("Feb", 28))
            )
        ),
        "1991-01-01",
        [0.1] * 59,
        hints={"units": "mm"},
        suffix=".txt",
    ),
    Case(
        "row_a_day_column_a_month",
        text(
            "# unit: mm",
            "Year: 1992",
            "Day,Jan,Feb,Mar,Apr,May,Jun,Jul,Aug,Sep,Oct,Nov,Dec",
            *(
                ",".join(
                    [
                        str(d),
                        *(
                            f"{m}" if not (m == 2 and d > 29 or m in (4, 6, 9, 11) and d > 30) else ""
                            for m in range(1, 13)
                        ),
                    ]
                )
                for d in range(1, 32)
            ),
            "Sum,31,58,93,120,155,180,217,248,270,310,330,372",
        ),
        "1992-01-01",
        [
            m
            for m, n in zip(range(1, 13), (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31), strict=True)
            for _ in range(n)
        ],
    ),
    Case(
        "hourly_summed_to_days",
        text(
            "time,rain_mm",
            *(f"1990-01-01 {h:02d}:00,0.5" for h in range(24)),
            *(f"1990-01-02 {h:02d}:00,0" for h in range(23)),
        ),
        "1990-01-01",
        [12, N],
        [0, 2],
        says=(
            "readings every 3600 s were summed to days from midnight",
            "1 day with missing readings left unknown",
        ),
    ),
    Case(
        "hours_one_to_twenty_four",
        text(
            "year,month,day,hour,precip (mm)",
            *(f"1990,12,31,{h},1" for h in range(24)),
            *(f"1991,1,1,{h},0" for h in range(24)),
        ),
        "1990-12-31",
        [24, 0],
    ),
    Case(
        "morning_stamps",
        text("date,rain_mm", "1990-01-01 09:00,1", "1990-01-02 09:00,2"),
        "1990-01-01",
        [1, 2],
        says=("stamped 09:00, was taken for the day of its date",),
    ),
    Case(
        "workbook",
        workbook(Rain=[("Upper Weir",), ("Date", "Rain (mm)"), *zip(_dates(), (1.5, None, 2), strict=True)]),
        "1990-01-30",
        [1.5, N, 2],
        suffix=".xlsx",
    ),
    Case(
        "workbook_sheet_as_asked",
        workbook(
            A=[("Date", "Rain (mm)"), *zip(_dates(), (1, 1, 1), strict=True)],
            B=[("Date", "Rain (mm)"), *zip(_dates(), (2, "T", 0.0), strict=True)],
        ),
        "1990-01-30",
        [2, 0, 0],
        [0, 1, 0],
        hints={"at": "B"},
        suffix=".xlsx",
    ),
    Case(
        "own_record",
        text(
            "date,rain_mm,flag,donor",
            "1990-01-01,1.5,measured,",
            "1990-01-02,0.0,trace,",
            "1990-01-03,3.0,filled,East",
        ),
        "1990-01-01",
        [1.5, 0, 3],
        [0, 1, 8],
    ),
    Case(
        "days_counted_beside_a_long_preamble",
        text(
            "Conventions,G,BADC-CSV,1",
            "location,G,51.479,-0.449",
            "height,G,25.0,m",
            "date_valid,G,1990-01-01 00:00:00,1990-12-31 23:59:59",
            "long_name,prcp_amt,precipitation amount,mm",
            "data",
            "ob_date,id,ob_day_cnt,prcp_amt,ob_day_cnt_q,prcp_amt_q",
            "1990-01-01 00:00:00,5336,1,0.2,0,0",
            "1990-01-02 00:00:00,5336,1,NA,0,0",
            "1990-01-04 00:00:00,5336,2,3.4,0,0",
            "end data",
        ),
        "1990-01-01",
        [0.2, N, N, 3.4],
        [0, 2, 6, 5],
        [1, 0, 0, 2],
        hints={"units": "mm"},
        facts={"site": "5336"},
        says=("'prcp_amt_q' has codes without a meaning known here ('0')", "('end data') left out"),
    ),
    Case(
        "german_style",
        text(
            "STATIONS_ID;MESS_DATUM;QN_6;  RS;RSF;SH_TAG;eor",
            "       3987;19900101;    9;   0.4;   0;   0;eor",
            "       3987;19900102;    9;-999;   6;   1;eor",
        ),
        "1990-01-01",
        [0.4, N],
        hints={"units": "mm"},
        facts={"site": "3987"},
    ),
    Case(
        "french_style",
        text(
            "NUM_POSTE;LAT;LON;ALTI;AAAAMMJJ;RR;QRR;TN",
            "01014002;46.2;5.6;534;19900101;0.2;1;-1",
            "01014002;46.2;5.6;534;19900102;;;-1",
        ),
        "1990-01-01",
        [0.2, N],
        hints={"units": "mm"},
        facts={"latitude": 46.2, "longitude": 5.6},
    ),
    Case(
        "canadian_style",
        text(
            '"Longitude (x)","Latitude (y)","Station Name","Date/Time","Year","Month","Day","Total Rain (mm)",'
            '"Total Rain Flag","Total Precip (mm)","Total Precip Flag"',
            '"-123.1","49.2","VAN","1990-01-01","1990","01","01","1.0","","1.2",""',
            '"-123.1","49.2","VAN","1990-01-02","1990","01","02","","M","","M"',
            '"-123.1","49.2","VAN","1990-01-03","1990","01","03","0.0","T","0.0","T"',
        ),
        "1990-01-01",
        [1.2, N, 0],
        [0, 2, 1],
        hints={"column": "Total Precip (mm)"},
        facts={"site": "VAN", "latitude": 49.2, "longitude": -123.1},
    ),
    Case(
        "summary_of_the_day_in_inches",
        text(
            "STATION,DATE,LATITUDE,LONGITUDE,NAME,PRCP,PRCP_ATTRIBUTES",
            "722,1990-01-01,1.0,2.0,X,0.10,G",
            "722,1990-01-02,1.0,2.0,X,99.99,",
        ),
        "1990-01-01",
        [2.54, N],
        hints={"units": "in"},
        says=("99.99 taken for a missing code",),
    ),
    Case(
        "hours_one_to_twenty_four_end_at_their_stamp",
        text(
            "Date,Time,Rain (mm)",
            *(f"12/{d}/1990,{h:02d}:00,{d}" for d in (30, 31) for h in range(1, 25)),
        ),
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
        "preamble_in_two_columns",
        text(
            '"Station","Foo Weir"',
            '"Latitude","-33.5"',
            "Longitude,150.1",
            "",
            "Date,Rainfall (mm)",
            "1990-01-31,2",
            "1990-02-01,",
        ),
        "1990-01-31",
        [2, N],
        facts={"site": "Foo Weir", "latitude": -33.5, "longitude": 150.1},
    ),
    Case(
        "months_side_by_side_under_a_year",
        text(
            "Year,1990",
            "Day,Jan,Feb,Mar,Apr,May,Jun,Jul,Aug,Sep,Oct,Nov,Dec",
            *(f"{d}," + ",".join(str(d % 2) if m == 1 else "" for m in range(1, 13)) for d in range(1, 32)),
            "1991",
            "Day,Jan,Feb,Mar,Apr,May,Jun,Jul,Aug,Sep,Oct,Nov,Dec",
            "1,2,,,,,,,,,,,",
        ),
        "1990-01-01",
        [*(d % 2 for d in range(1, 32)), *[N] * 334, 2, *[N] * 334],
        hints={"units": "mm"},
    ),
    Case(
        "overlapping_totals_of_a_station_file",
        text(
            "XX000000001,19900101,PRCP,15,,,E,",
            "XX000000001,19900104,MDPR,40,,,E,",
            "XX000000001,19900104,DAPR,3,,,E,",
            "XX000000001,19900105,MDPR,60,,,E,",
            "XX000000001,19900105,DAPR,2,,,E,",
            "XX000000001,19900108,MDPR,70,,,E,",
        ),
        "1990-01-01",
        [1.5, N, N, 4, N, N, N, 7],
        [0, 6, 6, 5, 4, 6, 6, 5],
        [1, 0, 0, 3, 0, 0, 0, 3],
        says=("1 total over several days left out", "1 total of unstated length"),
    ),
]
