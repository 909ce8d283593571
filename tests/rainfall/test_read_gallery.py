"""Each small file of the gallery: exactly what it must return, or how it must refuse."""

import hashlib

import numpy as np
import pandas as pd
import pytest
from gallery.rain_faults import REFUSALS
from gallery.rain_layouts import CASES

from rainharvest.core.errors import InputError
from rainharvest.rainfall.flags import Flag
from rainharvest.rainfall.read import read_rain


def put(folder, case):
    file = folder / f"{case.name}{case.suffix}"
    file.write_bytes(case.data)
    return file


def test_the_gallery_is_large_and_small():
    names = [c.name for c in (*CASES, *REFUSALS)]
    assert len(names) == len(set(names)) >= 90
    assert all(len(c.data) < 10_000 for c in CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_layout(tmp_path, case):
    rain = read_rain(put(tmp_path, case), **case.hints)
    want = pd.date_range(case.start, periods=len(case.rain))
    assert list(rain.indexes["time"]) == list(want)
    np.testing.assert_array_equal(rain.values, np.array(case.rain, dtype=float))
    if case.flag is None:
        assert set(rain.flag.values[~np.isnan(rain.values)].tolist()) <= {Flag.MEASURED, Flag.TRACE}
        assert (rain.flag.values[np.isnan(rain.values)] == Flag.MISSING).all()
    else:
        assert rain.flag.values.tolist() == case.flag
    totals = case.total_days or [int(not np.isnan(x)) for x in case.rain]
    assert rain.total_days.values.tolist() == totals
    for key, value in case.facts.items():
        assert rain.attrs[key] == value
    for words in case.says:
        assert words in rain.attrs["assumptions"]
    assert rain.attrs["units"] == "mm/day"
    assert rain.attrs["sha256"] == hashlib.sha256(case.data).hexdigest()


@pytest.mark.parametrize("case", REFUSALS, ids=lambda c: c.name)
def test_refusal_names_the_doubt_and_what_settles_it(tmp_path, case):
    file = put(tmp_path, case)
    with pytest.raises(InputError) as caught:
        read_rain(file, **case.hints)
    error = caught.value
    assert case.words in error.problem
    assert error.place.startswith(case.place)
    assert error.remedy and error.file == str(file)
    assert "\n" not in str(error)
    if case.settled:
        argument = next(iter(case.settled))
        assert argument in f"{error.remedy} {error.place}"
        assert read_rain(file, **case.settled).notnull().any()
