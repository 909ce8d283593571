"""No bytes, made up or mutated from the gallery, end in anything but a record or a clear error."""

import functools
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from gallery.rain_faults import REFUSALS
from gallery.rain_layouts import CASES
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
        {
            "time": pd.date_range("2000-01-01", periods=6),
            "lat": [-33.0, -34.0],
            "lon": [18.0, 19.0],
        },
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


@RELAXED
@given(st.binary(max_size=400), HINTS)
def test_any_bytes(data, hints):
    check(data, **hints)


@RELAXED
@given(
    st.sampled_from(
        [
            b"\x1f\x8b\x08",
            b"PK\x03\x04",
            b"CDF\x01",
            b"\x89HDF\r\n\x1a\n",
            b"BZh9",
            b"\xfd7zXZ\0",
            b"\xff\xfe",
            b"\xef\xbb\xbf",
        ]
    ),
    st.binary(max_size=300),
)
def test_any_bytes_behind_a_known_beginning(head, data):
    check(head + data)


@RELAXED
@given(st.text(alphabet="0123456789-/.:,;\t |\nTNAdate rain_mm#\"'=+eE°é", max_size=300), HINTS)
def test_any_text_of_the_trade(words, hints):
    check(words.encode(), **hints)


@RELAXED
@given(
    st.text(alphabet="0123456789-/.:,;\t |\nTNAeE\"'#*<", max_size=200),
    st.sampled_from(
        [
            "date,rain_mm\n1990-01-01,1\n",
            "date;rain_mm;days;quality\n01.02.1990;1,5;1;ok\n",
            "Year Month Day rain_mm\n1990 1 1 0.0\n",
        ]
    ),
)
def test_any_text_under_a_sound_beginning(words, head):
    check((head + words).encode())


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
            piece = draw(
                st.sampled_from(
                    [
                        b",",
                        b";",
                        b"\n",
                        b"-",
                        b"9999",
                        b'"',
                        b"T",
                        b" ",
                        b"1990-02-30",
                        b"\x00",
                        b"1e308",
                        b"#",
                        b"99999999999",
                    ]
                )
            )
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
