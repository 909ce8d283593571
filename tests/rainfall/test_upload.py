"""The upload of the rain record's panel, without a browser: a file's own rain, a doubt, and the way back."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

pytest.importorskip("ipywidgets")

from rainharvest.rainfall.facts import demo_files
from rainharvest.rainfall.panel import record_panel

RECORDS = demo_files(Path(__file__).parents[2] / "data" / "records")


@pytest.fixture(scope="module")
def panel():
    return record_panel(RECORDS)


def content(column="rain_mm", form="%Y-%m-%d"):
    days = pd.date_range("2012-01-01", "2016-12-31")
    rng = np.random.default_rng(1)
    rain = np.where(rng.random(len(days)) < 0.3, rng.gamma(0.7, 12, len(days)), 0).round(1)
    table = pd.DataFrame({"date": days.strftime(form), column: rain})
    table.loc[100:109, column] = np.nan
    return table.to_csv(index=False).encode()


def put(panel, name, data):
    """Put a file in as the browser does."""
    panel.rh_controls["upload"].value = (
        {
            "name": name,
            "type": "text/csv",
            "size": len(data),
            "content": memoryview(data),
            "last_modified": pd.Timestamp("2024-01-01", tz="UTC").to_pydatetime(),
        },
    )


def said(panel):
    return {key: line.value for key, (_, line) in panel.rh_pictures.items()}


@pytest.fixture(autouse=True)
def back(panel):
    yield
    panel.rh_controls["upload"].value = ()
    panel.rh_controls["units"].value = panel.rh_controls["day_first"].value = ""


def test_a_file_of_the_readers_own_is_filled(panel):
    before = said(panel)
    put(panel, "mine.csv", content())
    assert panel.rh_words.value == "" and "<b>mine.csv</b>, 2012-01-01 to 2016-12-31" in said(panel)["origin"]
    assert "10 resampled" in said(panel)["origin"]
    panel.rh_controls["upload"].value = ()
    assert said(panel) == before, "without the file the demo record is back"


def test_a_doubt_is_said_in_the_panel_and_settled_there(panel):
    before = said(panel)
    put(panel, "mine.csv", content(column="rain"))
    assert 'role="alert"' in panel.rh_words.value and "mine.csv" in panel.rh_words.value
    assert "unit" in panel.rh_words.value and "tmp" not in panel.rh_words.value
    assert said(panel) == before, "what was drawn stays until the doubt is settled"
    panel.rh_controls["units"].value = "mm"
    assert panel.rh_words.value == "" and "mine.csv" in said(panel)["origin"]


def test_dates_that_fit_both_ways_are_settled_in_the_panel(panel):
    rows = [f"{k:02d}/{k + 1:02d}/2012,{k}" for k in range(1, 12)]
    put(panel, "ways.csv", "\n".join(["date,rain_mm", *rows]).encode())
    assert "ways.csv" in panel.rh_words.value and "day_first" in panel.rh_words.value
    panel.rh_controls["day_first"].value = True
    assert "day_first" not in panel.rh_words.value


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02", b"nonsense", b"date,rain_mm\n"])
def test_rubbish_ends_in_words(panel, data):
    put(panel, "rubbish.csv", data)
    assert 'role="alert"' in panel.rh_words.value and "rubbish.csv" in panel.rh_words.value
    assert "defect" not in panel.rh_words.value


def test_nothing_chosen_is_shown_as_a_choice(panel):
    for name in ("units", "day_first"):
        assert panel.rh_controls[name].label == "ask me"
