"""No bytes, made up or mutated from the gallery, end in anything but a record or a clear error."""

import datetime as dt
import functools
import os
import random
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from gallery.rain_files import CASES, REFUSALS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain

FILES = [*CASES, *(r for r in REFUSALS if len(r.data) < 10_000)]
RELAXED = settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

HINTS = st.fixed_dictionaries(
    {},
    optional={
        "units": st.sampled_from(["mm", "in", "0.1 mm", "kg m-2 s-1", "", "furlong"]),
        "column": st.sampled_from(["rain_mm", "PRCP", "date", "", "column 2"]),
        "day_first": st.booleans(),
        "at": st.one_of(st.just((-33.0, 18.0)), st.just("East"), st.tuples(st.floats(), st.floats())),
        "blank_is_zero": st.booleans(),
    },
)


@functools.cache
def netcdf_bytes(kind: str) -> bytes:
    data = xr.Dataset(
        {"pr": (("time", "lat", "lon"), np.arange(24.0).reshape(6, 2, 2), {"units": "mm/day"})},
        {"time": pd.date_range("2000-01-01", periods=6), "lat": [-33.0, -34.0], "lon": [18.0, 19.0]},
    )
    with tempfile.TemporaryDirectory() as folder:
        data.to_netcdf(Path(folder) / "a.nc", format=kind)
        return (Path(folder) / "a.nc").read_bytes()


def check(data: bytes, suffix: str = ".csv", **hints) -> None:
    """Read; a record must keep the contract, an error must name the file and a remedy on one line."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"fuzz{suffix}"
        file.write_bytes(data)
        try:
            rain = read_rain(file, **hints)
        except InputError as error:
            assert error.problem and error.remedy and str(file) in str(error)
            return
    assert rain.dims == ("time",) and rain.size and rain.dtype == float
    steps = np.diff(rain.time.values).astype("timedelta64[h]").astype(int)
    assert (steps == 24).all()
    flag, total, unknown = rain.flag.values, rain.total_days.values, np.isnan(rain.values)
    assert np.isfinite(rain.values[~unknown]).all()
    assert (total[unknown] == 0).all() and (total[~unknown] >= 1).all()
    assert set(flag[unknown]) <= {Flag.MISSING, Flag.IN_TOTAL, Flag.REJECTED}
    assert not set(flag[~unknown]) & {Flag.MISSING, Flag.IN_TOTAL, Flag.REJECTED}
    assert (rain.values[flag == Flag.TRACE] == 0).all()
    assert {"units", "sha256", "source_file", "assumptions"} <= set(rain.attrs)


MARKS = [b"", b"\x1f\x8b\x08", b"PK\x03\x04", b"CDF\x01", b"\x89HDF\r\n\x1a\n", b"BZh9"]
MARKS += [b"\xfd7zXZ\0", b"\xff\xfe", b"\xef\xbb\xbf"]


@settings(RELAXED, max_examples=200)
@given(st.sampled_from(MARKS), st.binary(max_size=400), HINTS)
def test_any_bytes_also_behind_a_known_beginning(head, data, hints):
    check(head + data, **hints)


LETTERS = "0123456789-/.:,;\t |\nTNAdate rain_mm#\"'=+*<eE°é"
HEADS = [
    "",
    "date,rain_mm\n1990-01-01,1\n",
    "date;rain_mm;days;quality\n01.02.1990;1,5;1;ok\n",
    "from,to,rain_mm,remark\n1990-01-01,1990-01-03,1,accumulated\n",
    "Year Month Day rain_mm\n1990 1 1 0.0\n",
]


@RELAXED
@given(st.text(alphabet=LETTERS, max_size=300), st.sampled_from(HEADS), HINTS)
def test_any_text_of_the_trade(words, head, hints):
    check((head + words).encode(), **hints)


PIECES = [*"0123456789,;./-: \t#T+*e", '"', *"999 99.9 9999 -9999 1e308 25/12 NA date x A".split()]


def mutate(data: bytes, draw) -> bytes:
    """Cut, repeat, swap or overwrite a stretch, one to three times."""
    for _ in range(draw(st.integers(1, 3))):
        if not data:
            break
        a = draw(st.integers(0, len(data) - 1))
        b = min(len(data), a + draw(st.integers(1, 40)))
        kind = draw(st.sampled_from(["cut", "twice", "over", "insert", "lines"]))
        if kind == "cut":
            data = data[:a] + data[b:]
        elif kind == "twice":
            data = data[:b] + data[a:]
        elif kind == "over":
            data = data[:a] + draw(st.binary(min_size=1, max_size=4)) + data[a + 1 :]
        elif kind == "insert":
            piece = draw(st.sampled_from([*PIECES, "\n", "\0", "1990-02-30", "99999999999"])).encode()
            data = data[:a] + piece + data[a:]
        else:
            lines = data.split(b"\n")
            i, j = draw(st.integers(0, len(lines) - 1)), draw(st.integers(0, len(lines) - 1))
            lines[i], lines[j] = lines[j], lines[i]
            data = b"\n".join(lines)
    return data


@settings(RELAXED, max_examples=400)
@given(st.data(), st.sampled_from(FILES), st.booleans())
def test_mutated_gallery(data, case, hinted):
    check(mutate(case.data, data.draw), case.suffix, **(case.hints if hinted else {}))


@pytest.mark.parametrize("kind", ["NETCDF3_CLASSIC", "NETCDF4"])
@RELAXED
@given(data=st.data())
def test_mutated_netcdf(kind, data):
    check(mutate(netcdf_bytes(kind), data.draw), ".nc", at=(-33.0, 18.0))


def table(form: str, seed: int) -> tuple[list[str], list[str], list[dt.date]]:
    """Return the head, the rows and the days of an invented table, a row a day."""
    pick = random.Random(seed)
    first = dt.date(1990, pick.choice([1, 2, 12]), pick.choice([1, 3, 20]))
    days = [first + dt.timedelta(k) for k in range(pick.choice([9, 40]))]
    rain = [pick.choice([0, 0, 0.2, 3.4, 12.5, 60.1, 9]) for _ in days]
    if form == "codes":  # which stand out only where nothing else is half as large
        rain = [min(value, 12.5) for value in rain]
        rain = [999 if k % 3 == 1 else round(10 * value) for k, value in enumerate(rain)]
    forms = {
        "iso": ("date,rain_mm", lambda d, r: f"{d},{r}"),
        "remarks": ("date,rain_mm,remark", lambda d, r: f'{d},{r},"a, b"'),
        "day first": ("date;rain_mm", lambda d, r: f"{d:%d/%m/%Y};{r}".replace(".", ",")),
        "month first": ("date\train_mm", lambda d, r: f"{d:%m/%d/%Y}\t{r}"),
        "short years": ("date,rain_mm", lambda d, r: f"{d:%d.%m.%y},{r}"),
        "named months": ("Date,Rain (mm)", lambda d, r: f"{d:%d-%b-%Y},{r}"),
        "blanks": ("Year Month Day rain_mm", lambda d, r: f"{d.year} {d.month} {d.day} {r:.1f}"),
        "codes": ("date,tenths of mm", lambda d, r: f"{d:%Y%m%d},{r}"),
        "totals": ("date,rain_mm,days,quality", lambda d, r: f"{d},{r},1,ok"),
        "periods": ("from,to,rain_mm", lambda d, r: f"{d},{d},{r}"),
        "bare": ("", lambda d, r: f"{d} {r}"),
    }
    head, row = forms[form]
    return [head] if head else [], [row(d, r) for d, r in zip(days, rain, strict=True)], days


FORMS = "iso remarks codes totals periods blanks bare".split()
FORMS += ["day first", "month first", "short years", "named months"]


def touched(row: str, pick: random.Random) -> str:
    """Return a row with one to three of its letters taken out, put in or replaced."""
    for _ in range(pick.randint(1, 3)):
        k = pick.randrange(len(row) + 1)
        row = row[:k] + pick.choice(["", *PIECES]) + row[k + pick.choice([0, 1, 1, 2, 5]) :]
    return row


def silent_change(form: str, seed: int, folder: Path) -> str:
    """Return what is wrong after one row was touched: a day of another row that changed; else nothing."""
    pick = random.Random(seed)
    head, rows, days = table(form, seed % 50)
    hints = {} if head else {"units": "mm"}
    file = folder / "rain.csv"

    def read(rows: list[str]) -> pd.DataFrame:
        file.write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
        rain = read_rain(file, **hints)
        names = {"flag": rain.flag.values, "total_days": rain.total_days.values}
        return pd.DataFrame({"rain": rain.values, **names}, rain.indexes["time"])

    before = read(rows)
    k = pick.randrange(len(rows))
    row = touched(rows[k], pick)
    try:
        after = read([*rows[:k], row, *rows[k + 1 :]])
    except InputError:
        return ""
    inside = after.index[after.flag == Flag.IN_TOTAL]  # of a total that the row touched now states
    others = before.index[before.rain.notna()].difference([pd.Timestamp(days[k])]).difference(inside)
    kept = after.reindex(others)
    same = (kept.rain == before.rain[others]) & (kept.flag == before.flag[others])
    # an unknown day has a value now: only the row touched can have given it one
    known = after.index.intersection(before.index[before.rain.isna()])
    gained = int(after.rain[known].notna().sum())
    if same.all() and gained <= 1:
        return ""
    return f"{form} {seed}: {rows[k]!r} to {row!r} changed {int((~same).sum())} other days, gave {gained} a value"


@pytest.mark.parametrize("form", FORMS)
def test_a_row_that_is_touched_changes_no_other_day(tmp_path, form):
    tries = int(os.environ.get("RAINHARVEST_MUTANTS", "600")) // len(FORMS)
    assert [said for seed in range(tries) if (said := silent_change(form, seed, tmp_path))] == []
