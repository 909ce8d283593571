"""Sheets for a class: each notebook as a page to print, without code, and a page of answers from the same checks."""

from __future__ import annotations

import ast
import contextlib
import io
import itertools
import json
import os
import re
from html import escape
from pathlib import Path

from rainharvest.core.errors import InputError
from rainharvest.core.outputs import whole_files

_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title><style>
@page {{size:A4; margin:16mm}}
body {{font:11pt/1.45 "DejaVu Sans",Verdana,sans-serif; color:#22303a; max-width:178mm; margin:0 auto; padding:4mm}}
h1 {{font-size:19pt; line-height:1.2}} h2 {{font-size:14pt; margin-top:1.4em}} h1,h2 {{break-after:avoid}}
img {{max-width:100%; height:auto; break-inside:avoid}} p,li,tr,pre {{break-inside:avoid}}
table {{border-collapse:collapse}} th,td {{border-bottom:1px solid #9fa8ab; padding:3px 8px 3px 0 !important;
  font-size:9pt !important; text-align:left; vertical-align:top}}
pre {{white-space:pre-wrap; font:7.5pt/1.35 "DejaVu Sans Mono",monospace; background:#f3f5f5; padding:6px 10px}}
a {{color:#10405f}} .jp-InputPrompt,.jp-OutputPrompt,.anchor-link {{display:none}}
.answer {{border-bottom:1px solid #22303a; height:2.2em; margin:0 0 1.2em 0; color:#6f7679}}
.asked {{break-inside:avoid}}
div:has(> h2:last-child), div:has(> h3:last-child) {{break-after:avoid}}
</style></head><body>
{body}
</body></html>
"""


_ASKED = """<div class="asked">

{}

<div class="answer">Your answer</div></div>
"""


def write_sheets(out: str | os.PathLike, notebooks: str | os.PathLike = "notebooks") -> list[str]:
    """Write a sheet for each notebook, and the answers to all exercises.

    The sheets hold what the notebooks have stored: words, pictures and the compared results. The answers are computed
    now, by the exercises' own checks, for the study that the notebooks open.
    """
    books = sorted(Path(notebooks).glob("[0-9][0-9]_*.ipynb"))
    if not books:
        raise InputError(
            "no notebook lies there", "name the folder of the notebooks", "--notebooks", notebooks
        )
    pages = {f"{book.stem}.html": sheet(book) for book in books}
    pages["answers.html"] = _answers(books)
    with whole_files(out) as scratch:
        for name, page in pages.items():
            (scratch / name).write_text(page, encoding="utf-8")
    return list(pages)


LAST = re.compile(r"^(?=\*\*\d\.\*\*)", re.MULTILINE)

"""Where the questions of a cell begin."""


def paper(cell: dict) -> tuple[str, str]:
    """Return how an exercise that needs sliders is asked on paper, and how it is checked then; empty where it is not.

    The metadata of its cell hold both, as ``paper``.
    """
    found = cell["metadata"].get("paper", {})
    return found.get("question", ""), found.get("code", "")


def answers(book: str | os.PathLike, on_paper: bool = False) -> list[tuple[str, str]]:
    """Return the exercises of a notebook and their answers, by running its cells with ``...`` for the answer."""
    book, names, found, question = Path(book), {"__name__": "__main__"}, [], ""
    cells = json.loads(book.read_text(encoding="utf-8"))["cells"]
    with contextlib.chdir(book.parent):
        for cell in cells:
            source = "".join(cell["source"])
            if cell["cell_type"] == "markdown":
                question = LAST.split(source)[-1]
            elif "panel" not in cell["metadata"].get("tags", []):
                asked, checked = paper(cell) if on_paper else ("", "")
                question = question[:7] + asked if asked else question
                code, asks = _without_answer(checked or source)
                said = io.StringIO()
                with contextlib.redirect_stdout(said):
                    exec(compile(code, book.name, "exec"), names)
                if asks:
                    found.append((question.strip(), said.getvalue().strip().removeprefix("Answer: ")))
    return found


def _without_answer(source: str) -> tuple[ast.Module, bool]:
    """Return a cell's code with ``...`` for the reader's answer, and whether it has one."""
    code = ast.parse(source)
    last = code.body[-1].value if code.body and isinstance(code.body[-1], ast.Expr) else None
    yours = [k for k in getattr(last, "keywords", []) if (k.arg or "").startswith("yours")]
    for keyword in yours:
        keyword.value = ast.copy_location(ast.Constant(...), keyword.value)
    return code, bool(yours)


def sheet(book: str | os.PathLike) -> str:
    """Return a notebook as a page: no code, a line to write on below each exercise."""
    import nbformat
    from nbconvert import HTMLExporter

    read = nbformat.read(book, 4)
    for cell, after in itertools.pairwise(read.cells):
        if (
            re.fullmatch("#+ .*", cell.source) and after.cell_type == "markdown"
        ):  # no page ends with a heading
            after.source, cell.source = f"{cell.source}\n\n{after.source}", ""
    for k, cell in enumerate(read.cells):
        if cell.cell_type == "code" and _without_answer(cell.source)[1]:
            *before, question = LAST.split(read.cells[k - 1].source)
            asked = paper(cell)[0]
            question = question[:7] + asked if asked else question
            read.cells[k - 1].source = "".join(before) + _ASKED.format(question)
            cell.source = ""
        cell.source = cell.source.replace(
            "Type your answer and press *Check*: the right one is computed now and compared.", ""
        )
    export = HTMLExporter(template_name="basic", exclude_input=True, exclude_output_prompt=True)
    body, _ = export.from_notebook_node(read)
    body = re.sub(
        r'<p class="rh-before">.*?</p>|<p><strong>Where next\..*?</p>', "", body, flags=re.DOTALL
    ).replace("<details>", "<details open>")
    body = re.sub(r'href="(\d\d_\w+)\.ipynb', r'href="\1.html', body)
    return _PAGE.format(title=escape(_title(read.cells[0].source)), body=body)


def _answers(books: list[Path]) -> str:
    from nbconvert.filters import markdown2html

    parts = [
        "<h1>Answers</h1><p>Computed by the checks of the exercises, for the study that the notebooks open.</p>"
    ]
    for book in books:
        first = json.loads(book.read_text(encoding="utf-8"))["cells"][0]
        parts.append(f"<h2>{escape(_title(''.join(first['source'])))}</h2>")
        for question, answer in answers(book, on_paper=True):
            parts.append(f"{markdown2html(question)}<p><b>{escape(answer)}</b></p>")
    return _PAGE.format(title="Answers", body="\n".join(parts))


def _title(source: str) -> str:
    return source.partition("\n")[0].lstrip("# ")
