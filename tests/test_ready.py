"""What is compiled beforehand is what the first panel runs."""

import subprocess
import sys
from pathlib import Path

from rainharvest.__main__ import main
from rainharvest.study.panel import study_panel

ROOT = Path(__file__).parents[1]
CODE = """
from rainharvest.ready import make_ready
from rainharvest.catchment.chain import run_chain
from rainharvest.storage.balance import balance
make_ready()
forms = set(balance.signatures), set(run_chain.signatures)
from rainharvest.study.panel import study_panel
study_panel("data/studies/day_school.toml")
print(len(forms[0]), (set(balance.signatures), set(run_chain.signatures)) == forms)
"""


def test_the_first_panel_compiles_nothing_more():
    said = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=True, cwd=ROOT)
    forms, same = said.stdout.split()
    assert int(forms) >= 8 and same == "True"


def test_the_study_named_is_worked_as_its_first_page_works_it(tmp_path, monkeypatch):
    monkeypatch.setenv("RAINHARVEST_CACHE", str(tmp_path))
    study = str(ROOT / "data" / "studies" / "day_school.toml")
    assert main(["ready", study]) == 0
    kept = set(tmp_path.iterdir())
    assert len(list(tmp_path.glob("decision-*"))) == 1
    study_panel(study)
    assert set(tmp_path.iterdir()) == kept
