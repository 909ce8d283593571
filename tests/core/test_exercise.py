"""What the check of an exercise says: one sentence to any answer, and in which direction a wrong one is wrong."""

import ast
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from panels import button

from rainharvest.core import exercise
from rainharvest.core.exercise import says

ROOM = Path(__file__).parents[2] / "rainharvest"
AMONG = {"dry run": "dry run has 3", "wet run": "wet run has 4", "wet and dry": "wet and dry has 5"}
YEARS = {year: f"in {year} none" for year in range(1965, 2024)}


def said(capsys, yours, right=51.0, **more):
    says(yours, right, "The answer.", "The hint.", **more)
    (line,) = capsys.readouterr().out.splitlines()
    return line


@pytest.mark.parametrize(
    "silly", ["about fifty", "51 kL", [51], {}, float("nan"), np.inf, True, print, "", 3j]
)
def test_what_is_no_number_gets_a_sentence(capsys, silly):
    assert said(capsys, silly).startswith("That is not a number.")


@pytest.mark.parametrize("silly", ["windy", "", ["wet run"], 3, float("nan"), "we", True, print])
def test_what_is_none_of_the_names_gets_their_list(capsys, silly):
    line = said(capsys, silly, {"wet run"}, among=AMONG)
    assert line.endswith('Give "dry run", "wet run" or "wet and dry".')
    many = {f"tank {k}": "" for k in range(20)}
    assert said(capsys, silly, {"tank 3"}, among=many).endswith(
        'Give a name as the page has it (such as "tank 0").'
    )
    assert said(capsys, silly, {1977}, among=YEARS).endswith("Give a year from 1965 to 2023.")


def test_a_wrong_answer_says_in_which_direction(capsys):
    assert said(capsys, 20) == "Not yet: 20 is too low. The hint."
    assert said(capsys, "80.5") == "Not yet: 80.5 is too high. The hint."
    assert said(capsys, " Dry  Run", {"wet run"}, among=AMONG) == "Not yet: dry run has 3. The hint."
    assert said(capsys, 1990.0, {1977}, among=YEARS) == "Not yet: in 1990 none. The hint."
    assert said(capsys, 3, None) == "Not yet: there is no such number. The hint."


def test_right_is_right_within_what_a_figure_can_be_read_to(capsys):
    for yours in (46, 56, "51", np.float64(50)):
        assert said(capsys, yours) == "Right. The answer."
    assert said(capsys, 45).startswith("Not yet") and said(capsys, 0.5, 0.0, least=1).startswith("Right")
    assert said(capsys, 50, near=0).startswith("Not yet")
    assert said(capsys, "wet r", {"wet run"}, among=AMONG) == "Right. The answer."
    assert said(capsys, np.int64(1977), {1977}, among=YEARS) == "Right. The answer."


def test_nothing_is_told_before_it_is_asked_for(capsys):
    assert said(capsys, None) == "Put a number in the place of None and run this cell again."
    assert said(capsys, None, {1977}, among=YEARS).startswith("Put a year from 1965 to 2023 in the place")
    assert said(capsys, ..., {1977}, among=YEARS) == "Answer: The answer."


@pytest.mark.parametrize("path", sorted(ROOM.glob("*/exercises.py")), ids=lambda p: p.parent.name)
def test_no_check_compares_an_answer_by_itself(path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\byours\w*( is | == | in |\.| - |\))", text), "says() does it, once"
    strings = [
        node.value for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Constant) and node.value
    ]
    sentences = [one for one in strings if isinstance(one, str) and " " in one and "\n" not in one]
    assert not any(re.search(r"\w_\w", one) for one in sentences), "code names in a hint"


def test_in_a_notebook_a_field_takes_the_answer(monkeypatch, capsys):
    shown = []
    monkeypatch.setattr(exercise, "_shell", lambda: SimpleNamespace(kernel=True))
    monkeypatch.setattr("IPython.display.display", shown.append)
    says(None, 51.0, "The answer.", "The hint.")
    says(None, {"wet run"}, "The answer.", "The hint.", among=AMONG)
    number, name = shown
    for panel, typed, said in (
        (number, " ", "Give a number first."),
        (number, "about 20", "That is not a number."),
        (number, "20", "Not yet: 20 is too low. The hint."),
        (number, "50", "Right. The answer."),
        (name, "dry run", "Not yet: dry run has 3. The hint."),
        (name, "wet run", "Right. The answer."),
    ):
        panel.rh_controls["yours"].value = typed
        button(panel, "Check").click()
        assert said in panel.rh_words.value
    assert name.rh_controls["yours"].options == tuple(AMONG) and capsys.readouterr().out == ""
