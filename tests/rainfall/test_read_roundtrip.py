"""Any rain written in any dialect reads back to itself; where dates fit both ways the reader asks."""

import calendar
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from gallery.rain_files import monthly_line
from hypothesis import given, settings
from hypothesis import strategies as st

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain

MANY = settings(max_examples=100, deadline=None)
DATES = {
    "%Y-%m-%d": "",
    "%Y/%m/%d": "",
    "%Y%m%d": "",
    "%d/%m/%Y": "numbers",
    "%m/%d/%Y": "numbers",
    "%d.%m.%Y": "numbers",
    "%d-%b-%Y": "",
    "%d %B %Y": "",
    "%Y-%j": "",
    "%Y-%m-%d %H:%M": "",
}
UNITS = {"mm": 1.0, "0.1 mm": 0.1, "in": 25.4, "cm": 10.0}


@st.composite
def records(draw, longest=60):
    """Days and tenths of a mm: None unknown, -1 a trace; never nothing but rain days."""
    first = draw(st.dates(pd.Timestamp("1850-01-01").date(), pd.Timestamp("2020-01-01").date()))
    amount = st.one_of(st.none(), st.just(-1), st.just(0), st.integers(1, 3000))
    amounts = draw(st.lists(amount, min_size=4, max_size=longest))
    return pd.date_range(first, periods=len(amounts) + 1), [0, *amounts]


@st.composite
def dialects(draw):
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    return {
        "separator": separator,
        "decimal": draw(st.sampled_from([".", ","])) if separator in ";\t" else ".",
        "date": draw(st.sampled_from([*DATES])),
        "unit": draw(st.sampled_from([*UNITS])),
        "named": draw(st.booleans()),
        "missing": draw(st.sampled_from(["", "NA", "-9999", "---", "-99.9"])),
        "trace": draw(st.sampled_from(["T", "tr", "<0.1"])),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])),
        "end": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "extra": draw(st.booleans()),
        "shuffled": draw(st.booleans()),
    }


def write(days, tenths, form) -> str:
    factor = UNITS[form["unit"]]

    def cell(tenth):
        if tenth is None:
            return form["missing"]
        if tenth < 0:
            return form["trace"]
        text = f"{tenth / 10 / factor:.10f}".rstrip("0").rstrip(".") or "0"
        return text.replace(".", form["decimal"])

    name = f"rain ({form['unit']})" if form["named"] else "rain"
    rows = [
        [day.strftime(form["date"]), *(["é"] if form["extra"] else []), cell(t)]
        for day, t in zip(days, tenths, strict=True)
    ]
    if form["shuffled"] and not DATES[form["date"]]:
        rows.reverse()
    header = ["date", *(["remark"] if form["extra"] else []), name]
    lines = [] if form["named"] else [f"# unit: {form['unit']}"]
    return form["end"].join([*lines, *(form["separator"].join(row) for row in [header, *rows])]) + form["end"]


def expected(tenths):
    return np.array([np.nan if t is None else max(t, 0) / 10 for t in tenths])


def read(data: bytes, suffix=".csv", **hints):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"a{suffix}"
        file.write_bytes(data)
        return read_rain(file, **hints)


def same(rain, days, tenths):
    """The record runs over the same days (unknown ends may be cut with their rows) with the same rain."""
    assert list(rain.indexes["time"]) == list(days)
    np.testing.assert_allclose(rain.values, expected(tenths), atol=1e-6)
    traces = np.array([t == -1 for t in tenths])
    np.testing.assert_array_equal(rain.flag.values == Flag.TRACE, traces)
    np.testing.assert_array_equal(rain.flag.values == Flag.MISSING, [t is None for t in tenths])


@MANY
@given(records(), dialects())
def test_delimited_text(record, form):
    days, tenths = record
    data = write(days, tenths, form).encode(form["encoding"])
    try:
        rain = read(data)
    except InputError as error:
        assert error.place == "day_first" and DATES[form["date"]]
        rain = read(data, day_first=form["date"].startswith("%d"))
    same(rain, days, tenths)


@MANY
@given(records(), st.sampled_from([" ", "\t", ","]), st.sampled_from(["ymd", "dmy", "doy"]))
def test_date_parts(record, separator, order):
    days, tenths = record
    names = {"ymd": ["Year", "Month", "Day"], "dmy": ["Day", "Month", "Year"], "doy": ["Year", "DOY"]}[order]
    value = {"Year": "%Y", "Month": "%m", "Day": "%d", "DOY": "%j"}
    lines = [separator.join([*names, "rain_mm"])]
    for day, tenth in zip(days, tenths, strict=True):
        cell = "-9999" if tenth is None else "T" if tenth < 0 else f"{tenth / 10}"
        lines.append(separator.join([*(str(int(day.strftime(value[n]))) for n in names), cell]))
    same(read("\n".join(lines).encode()), days, tenths)


def by_month(days, tenths):
    for (year, month), part in pd.Series(list(tenths), days, dtype=object).groupby([days.year, days.month]):
        yield year, month, {day.day: value for day, value in part.items()}


@MANY
@given(records(longest=150))
def test_ghcn_fixed_width(record):
    days, tenths = record
    lines = []
    for year, month, part in by_month(days, tenths):
        values = {d: (0, "T  ") if t == -1 else t for d, t in part.items() if t is not None}
        lines.append(monthly_line("XX000000001", year, month, "PRCP", values))
    rain = read("\n".join(lines).encode(), ".dly")
    known = [k for k, t in enumerate(tenths) if t is not None]
    same(rain, days[known[0] : known[-1] + 1], tenths[known[0] : known[-1] + 1])


@MANY
@given(
    records(longest=150),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["", "-9999", "-"]),
    st.booleans(),
)
def test_row_a_month(record, separator, missing, named):
    days, tenths = record
    lines = ["# unit: mm", separator.join(["Year", "Month", *map(str, range(1, 32))])]
    for year, month, part in by_month(days, tenths):
        cells = [part.get(d) for d in range(1, 32)]
        text = [missing if t is None else "T" if t < 0 else f"{t / 10}" for t in cells]
        lines.append(separator.join([str(year), calendar.month_abbr[month] if named else str(month), *text]))
    rain = read("\n".join(lines).encode())
    first = days[0].replace(day=1)
    last = days[-1] + pd.offsets.MonthEnd(0)
    whole = pd.Series(list(tenths), days, dtype=object).reindex(pd.date_range(first, last))
    same(rain, whole.index, [None if t is None or t != t else t for t in whole])


@MANY
@given(records(), st.integers(0, 3))
def test_ecad_text(record, prose):
    days, tenths = record
    lines = [
        "EUROPEAN STYLE, prose",
        *["more, prose: 01-02-2020"] * prose,
        "",
        " STAID, SOUID,    DATE,   RR, Q_RR",
    ]
    for day, tenth in zip(days, tenths, strict=True):
        value, quality = (-9999, 9) if tenth is None else (max(tenth, 0), 0)
        lines.append(f"     1, 35381,{day:%Y%m%d},{value:5d},{quality:5d}")
    rain = read("\n".join(lines).encode(), ".txt")
    same(rain, days, [None if t is None else max(t, 0) for t in tenths])


@MANY
@given(records(), st.lists(st.integers(2, 6), min_size=1, max_size=4))
def test_totals_over_days(record, spans):
    """Totals written after the record, the days inside them blank, come back with their days."""
    days, tenths = record
    lines = ["date,rain_mm,days"]
    for day, tenth in zip(days, tenths, strict=True):
        lines.append(f"{day:%Y-%m-%d},," if tenth is None else f"{day:%Y-%m-%d},{max(tenth, 0) / 10},1")
    end = days[-1]
    for span in spans:
        for inside in range(1, span):
            lines.append(f"{end + pd.Timedelta(inside, 'D'):%Y-%m-%d},,")
        end += pd.Timedelta(span, "D")
        lines.append(f"{end:%Y-%m-%d},{span}.5,{span}")
    rain = read("\n".join(lines).encode())
    assert rain.indexes["time"][-1] == end
    total = rain.where(rain.flag == Flag.TOTAL, drop=True)
    assert total.values.tolist() == [span + 0.5 for span in spans]
    assert rain.total_days.values[rain.flag == Flag.TOTAL].tolist() == spans
    assert int((rain.flag == Flag.IN_TOTAL).sum()) == sum(spans) - len(spans)
