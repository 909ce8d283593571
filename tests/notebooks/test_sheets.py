"""Sheets to print: no code, pictures with words, answers from the exercises' own checks."""

import html
import re
from pathlib import Path

import pytest

from rainharvest import InputError
from rainharvest.__main__ import main
from rainharvest.core import exercise
from rainharvest.sheets import answers, write_sheets

BOOK = Path(__file__).parents[2] / "notebooks"
TRAINER = " ".join((BOOK / "trainer.md").read_text(encoding="utf-8").split())


def test_a_sheet_for_each_notebook_and_the_answers(tmp_path):
    book = tmp_path / "book"
    book.mkdir()
    (tmp_path / "data").symlink_to(BOOK.parent / "data")
    for path in (BOOK / "04_demand.ipynb", BOOK / "03_catchment.ipynb"):
        (book / path.name).write_bytes(path.read_bytes())
    names = write_sheets(tmp_path / "out", book)
    assert names == ["03_catchment.html", "04_demand.html", "answers.html"]
    for name in names:
        page = (tmp_path / "out" / name).read_text(encoding="utf-8")
        assert not re.search(r"<script|src=\"http|@import|<link|_panel\(|import |yours_|yours=", page), name
        assert all(words for words in re.findall(r'<img alt="([^"]*)"', page))
        assert page.count('class="answer"') == (3 if name != "answers.html" else 0)
    page = (tmp_path / "out" / "03_catchment.html").read_text(encoding="utf-8")
    assert "A wet run of 60 m" in page and "30 v²/2g" in page, "asked as paper can answer it"
    for heading in ("Dry-against-wet", "Which-roof-first"):
        assert "<table" in page.split(f'id="{heading}')[1].split("<h2")[0]
    assert not re.search("Where next|press <em>Check", page)
    page = (tmp_path / "out" / "answers.html").read_text(encoding="utf-8")
    told = [html.unescape(words) for words in re.findall(r"<p><b>([^<]+)</b></p>", page)]
    assert len(told) == 6 and "Not yet" not in page
    on_paper = {"65 mm.", "February, with 2,200 L on a mean day."}
    assert {words for words in told if words not in TRAINER} == on_paper, (
        "the others as in notebooks/trainer.md"
    )


def test_an_answer_told_is_right_when_it_is_given():
    (_, year), (_, month), (_, share) = answers(BOOK / "04_demand.ipynb")
    from rainharvest.demand.exercises import check_share_for_rain, check_thirstiest_month, check_year
    from rainharvest.demand.facts import demand_of
    from rainharvest.storage.panel import prepare_supply

    thirst = [7.5, 6.8, 5.2, 3.4, 2.1, 1.5, 1.6, 2.3, 3.4, 4.7, 6.1, 7.2]
    school = prepare_supply(BOOK.parent / "data" / "studies" / "day_school.toml", thirst)
    asked = demand_of(school, school.study.use, bed_area=100)
    dry = demand_of(school, school.study.use, bed_area=400)
    for check, demand, answer in (
        (check_year, asked, float(re.search(r"[\d.]+", year)[0])),
        (check_thirstiest_month, dry, month.partition(",")[0]),
        (check_share_for_rain, asked, float(re.search(r"[\d.]+", share)[0])),
    ):
        assert said(check, demand, answer).startswith("Right. ")
        wrong = "October" if isinstance(answer, str) else answer / 2
        assert said(check, demand, wrong).startswith("Not yet: ")


@pytest.mark.long
@pytest.mark.parametrize("path", sorted(BOOK.glob("[0-9]*.ipynb")), ids=lambda path: path.stem)
def test_the_trainer_s_page_has_the_answers_and_a_right_a_wrong_and_a_silly_one_are_told_apart(
    path, monkeypatch
):
    real, asked = exercise._said, []
    monkeypatch.setattr(exercise, "_said", lambda yours, *given: asked.append(given) or real(yours, *given))
    told = [" ".join(answer.split()) for _, answer in answers(path)]
    assert len(told) == 3 and [answer for answer in told if answer not in TRAINER] == []
    assert len(asked) == 3
    on_paper = [answer for _, answer in answers(path, on_paper=True)]
    assert len(on_paper) == 3 and not [answer for answer in on_paper if "study has none" in answer]
    for given in asked:
        right, among = given[0], given[-1]
        best = next(iter(right)) if among else right
        wrong = next(name for name in among if name not in right) if among else 3 * right + 10
        assert real(best, *given).startswith("Right. ") and real(str(best), *given).startswith("Right. ")
        assert real(wrong, *given).startswith("Not yet: ")
        assert real("about so much", *given).startswith("That is no")


def said(check, *given):
    import contextlib
    import io

    with contextlib.redirect_stdout(io.StringIO()) as text:
        check(*given)
    return text.getvalue()


def test_a_folder_without_notebooks_is_refused_in_a_line(tmp_path, capsys):
    with pytest.raises(InputError, match="no notebook"):
        write_sheets(tmp_path / "out", tmp_path)
    assert main(["sheets", "--out", str(tmp_path / "out"), "--notebooks", str(tmp_path)]) == 2
    assert "no notebook lies there" in capsys.readouterr().err and not (tmp_path / "out").exists()
