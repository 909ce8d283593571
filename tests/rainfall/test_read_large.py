"""Large files: a progress bar, memory that does not grow with the file; speed is printed, not judged."""

import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from rainharvest.rainfall import read_open
from rainharvest.rainfall import read_rows as read_delimited
from rainharvest.rainfall.read import read_rain

RECORDS = Path(__file__).parents[2] / "data" / "records"


def minutes(file, days):
    time = pd.date_range("2000-01-01", periods=days * 1440, freq="min").strftime("%Y-%m-%d %H:%M")
    file.write_text("time,rain_mm\n" + "\n".join(f"{t},{i % 9 / 10}" for i, t in enumerate(time)) + "\n")
    return file


def peak(file):
    tracemalloc.start()
    rain = read_rain(file)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return most, rain


def test_memory_does_not_grow_with_the_file(tmp_path, monkeypatch):
    monkeypatch.setattr(read_delimited, "CHUNK", 5000)
    small, _ = peak(minutes(tmp_path / "small.csv", 20))
    large, rain = peak(minutes(tmp_path / "large.csv", 100))
    assert rain.sizes["time"] == 100 and not rain.isnull().any()
    np.testing.assert_allclose(rain.values, 1440 * 0.4)
    assert large < 1.3 * small


def test_progress_bar_only_where_the_file_is_large(tmp_path, monkeypatch, capsys):
    file = minutes(tmp_path / "minutes.csv", 10)
    read_rain(file)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(read_open, "LARGE", 100_000)
    monkeypatch.setattr(read_open, "PATIENCE", 0.0)
    read_rain(file)
    assert "Reading minutes.csv" in capsys.readouterr().err


@pytest.mark.benchmark(group="read")
def test_speed_of_three_records_of_sixty_years(benchmark):
    files = sorted(RECORDS.glob("semi_arid*.csv"))
    assert len(files) == 3
    rains = benchmark.pedantic(lambda: [read_rain(f) for f in files], rounds=3, warmup_rounds=1)
    assert all(r.sizes["time"] > 21_900 for r in rains)


@pytest.mark.benchmark(group="read")
def test_speed_of_a_year_of_minutes(benchmark, tmp_path):
    file = minutes(tmp_path / "year.csv", 366)
    rain = benchmark.pedantic(read_rain, (file,), rounds=1)
    assert rain.sizes["time"] == 366
