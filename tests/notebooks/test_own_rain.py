"""The notebooks on rain of the reader's own: a study begun from a station, and other rain on the demo's roofs."""

import shutil
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient
from panels import button, put

from rainharvest.rainfall.facts import demo_files
from rainharvest.rainfall.panel import record_panel
from rainharvest.study.panel import own_station

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("[0-9]*.ipynb"))
MINE = (ROOT / "data" / "records" / "temperate_all_year.csv").read_text(encoding="utf-8")
IN_DOUBT = MINE.replace("# unit: mm\n", "").replace("rain_mm", "rain").encode()


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A copy of the notebooks and the data."""
    folder = tmp_path_factory.mktemp("book")
    shutil.copytree(ROOT / "data", folder / "data")
    (folder / "notebooks").mkdir()
    for path in NOTEBOOKS:
        shutil.copy(path, folder / "notebooks")
    return folder / "notebooks"


def begun(book):
    """Begin a study from a station, as on page 01."""
    panel = own_station()
    button(panel, "Start from this station").click()
    assert "no file was put in; choose the record of your station first" in panel.rh_words.value
    put(panel, "mine.csv", b"date,rain_mm\n01/02/2001,3\n02/03/2001,4\n")
    button(panel, "Start from this station").click()
    assert "mine.csv" in panel.rh_words.value and "day" in panel.rh_words.value
    assert not list(book.glob("my_*")), "nothing is kept of a file in doubt"
    put(panel, "my gauge.csv", IN_DOUBT)
    panel.rh_controls["units"].value = "mm"
    button(panel, "Start from this station").click()
    assert "Begun from my gauge.csv" in panel.rh_words.value and (book / "my_study.toml").is_file()


def rained(book):
    """Put other rain on the demo's roofs, as on page 02."""
    (book / "my_study.toml").unlink(missing_ok=True)
    panel = record_panel(demo_files("../data/records"), "../data/studies/day_school.toml")
    panel.rh_controls["name"].value = "monsoon"
    button(panel, "Save these choices").click()
    assert "monsoon.csv" in (book / "my_study.toml").read_text(encoding="utf-8")


@pytest.mark.long
@pytest.mark.parametrize("begin", [begun, rained])
def test_every_notebook_runs_on_it(book, begin, monkeypatch):
    monkeypatch.chdir(book)
    begin(book)
    for path in sorted(book.glob("[0-9]*.ipynb")):
        read = nbformat.read(path, 4)
        NotebookClient(read, timeout=600, resources={"metadata": {"path": str(book)}}).execute()
        said = [
            o.get("text", "") for c in read.cells for o in c.get("outputs", []) if o.get("name") == "stderr"
        ]
        assert not [line for line in said if "Compiling" not in line], path.name
