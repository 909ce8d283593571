"""The report of a study: its sections in order, as page and as Word document."""

from __future__ import annotations

import os
import pickle
import sys
import tempfile
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from rainharvest.catchment.section import catchment_section
from rainharvest.core.blocks import (
    Block,
    Bullets,
    Caution,
    Facts,
    Listing,
    Paragraph,
    Picture,
    Report,
    Section,
    Subheading,
    Table,
    numbered,
)
from rainharvest.core.outputs import whole_files
from rainharvest.core.reader import reading
from rainharvest.demand.section import demand_section
from rainharvest.drought.section import drought_section
from rainharvest.rainfall.section import record_section
from rainharvest.siteworks.section import parts_section, siteworks_section, supply_section, upkeep_section
from rainharvest.sizing.section import costs_section, size_section
from rainharvest.study.file import reader_of
from rainharvest.study.front import (
    answer_section,
    assumptions_section,
    options_section,
    reproduce_section,
    site_section,
)
from rainharvest.study.stages import Worked
from rainharvest.study.word import report_document
from rainharvest.study.words import CAUTION, CONTENTS, FIGURE, INVENTED, LANGUAGE, MORE, TABLE

if TYPE_CHECKING:
    from nbformat import NotebookNode


HANDED = "report.pickle"

"""The file by which the sections reach the kernel: what was worked is not worked again."""

PATIENCE = 300

"""Seconds that a cell may take; each takes milliseconds."""

OPEN = f"import pickle\n\nwith open({HANDED!r}, 'rb') as file:\n    report = pickle.load(file)"


def report_page(report: Report) -> str:
    """Return the report as one HTML page that needs no other file."""
    from nbconvert import HTMLExporter

    here = Path(__file__).parent
    exporter = HTMLExporter(
        extra_template_basedirs=[str(here.parent)],
        template_name=here.name,
        template_file="page.html.j2",
        exclude_input=True,
    )
    page, _ = exporter.from_notebook_node(run(report_notebook(report), report))
    return page.strip() + "\n"


def report_notebook(report: Report) -> NotebookNode:
    """Return the notebook of a report: a cell that opens it and one for each section."""
    from nbformat import v4

    cells = [v4.new_code_cell(OPEN, id="open")]
    cells += [v4.new_code_cell(f"report[{section.key!r}]", id=section.key) for section in report.sections]
    around = {
        "language": LANGUAGE,
        "contents": CONTENTS,
        "heading": list(report.heading),
        "warning": report.warning,
        "sections": [[section.key, section.title] for section in report.sections],
    }
    return v4.new_notebook(cells=cells, metadata={"title": report.title, "rainharvest": around})


def run(notebook: NotebookNode, report: Report) -> NotebookNode:
    """Run the notebook of a report in a kernel of this very Python."""
    from jupyter_client.kernelspec import KernelSpec
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient

    with tempfile.TemporaryDirectory(prefix="rainharvest-") as folder:
        (Path(folder) / HANDED).write_bytes(pickle.dumps(report))
        manager = AsyncKernelManager(connection_file=str(Path(folder) / "kernel.json"))
        # Named here and not looked up: a kernel that the reader has installed may be another Python, without us.
        manager._kernel_spec = KernelSpec(
            argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}", *QUIET],
            display_name="report",
            language="python",
        )
        package = str(Path(__file__).parents[2])
        # The reader's own start-up files of IPython are no part of the report.
        environment = os.environ | {"IPYTHONDIR": folder, "PYTHONPATH": _before(package)}
        client = NotebookClient(
            notebook, km=manager, timeout=PATIENCE, resources={"metadata": {"path": folder}}
        )
        client.execute(env=environment)
    return notebook


QUIET = ("--HistoryManager.enabled=False", "--log-level=ERROR")


def _before(package: str) -> str:
    others = os.environ.get("PYTHONPATH")
    return os.pathsep.join([package, others] if others else [package])


def section_html(section: Section) -> str:
    """Return a section as HTML."""
    inside = "\n".join(block_html(block) for block in section.blocks)
    key = escape(section.key, quote=True)
    return f'<section id="{key}">\n<h2>{escape(section.title)}</h2>\n{inside}\n</section>'


def block_html(block: Block) -> str:
    """Return a block as HTML.

    >>> block_html(Paragraph("Less than 5 < 6."))
    '<p class="text">Less than 5 &lt; 6.</p>'
    """
    match block:
        case Paragraph(text, kind):
            return f'<p class="{kind}">{escape(text)}</p>'
        case Subheading(text):
            return f"<h3>{escape(text)}</h3>"
        case Bullets(items):
            return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"
        case Caution(title, text):
            return f'<p class="caution"><b>{CAUTION}: {escape(title)}.</b> {escape(text)}</p>'
        case Listing(text):
            return f'<pre tabindex="0">{escape(text)}</pre>'
        case Facts(rows):
            return f'<dl class="facts">{"".join(_fact(*_parts(row)) for row in rows)}</dl>'
        case Picture():
            name = f"{FIGURE} {block.number}"
            caption = f"<figcaption><b>{name}.</b> {escape(block.caption)}</figcaption>"
            return f"<figure>{_wide(block.svg, name)}{caption}</figure>"
        case Table():
            return _table(block)


def _parts(row) -> tuple[str, str, str]:
    return escape(row.question), escape(row.answer), escape(row.section, quote=True)


def _fact(question: str, answer: str, section: str) -> str:
    link = f'<a href="#{section}" aria-label="{MORE}: {question}">{MORE}</a>'
    return f"<div><dt>{question}</dt><dd>{answer} {link}</dd></div>"


def _table(table: Table) -> str:
    def cell(tag: str, column: int, text: str, scope: str = "") -> str:
        number = ' class="n"' if column in table.numbers else ""
        return f"<{tag}{scope}{number}>{escape(text)}</{tag}>"

    head = "".join(cell("th", i, text, ' scope="col"') for i, text in enumerate(table.head))
    rows = "\n".join(
        "<tr>"
        + cell("th", 0, row[0], ' scope="row"')
        + "".join(cell("td", i, text) for i, text in enumerate(row[1:], 1))
        + "</tr>"
        for row in table.rows
    )
    kind = " ".join(word for word, true in (("broad", len(table.head) > 4), ("short", table.short)) if true)
    columns = "".join(f'<col style="width:{100 * share:.0f}%">' for share in table.widths)
    inside = f"<caption><b>{TABLE} {table.number}.</b> {escape(table.caption)}</caption>\n"
    inside += f"<colgroup>{columns}</colgroup>\n" if columns else ""
    inside += f"<thead><tr>{head}</tr></thead>\n<tbody>{rows}</tbody>"
    return _wide(f'<table class="{kind}">{inside}</table>', f"{TABLE} {table.number}")


def _wide(inside: str, name: str) -> str:
    """Wrap what may be wider than a phone: it is moved sideways by itself, also from the keyboard."""
    return f'<div class="wide" tabindex="0" role="region" aria-label="{name}">{inside}</div>'


PAPER = {"metric": "A4", "us": "Letter"}

"""Paper of the Word document; the page fits both."""

SECTIONS = (
    answer_section,
    site_section,
    record_section,
    catchment_section,
    demand_section,
    size_section,
    options_section,
    drought_section,
    supply_section,
    siteworks_section,
    costs_section,
    parts_section,
    upkeep_section,
    assumptions_section,
    reproduce_section,
)

"""In the order of the report; one that has nothing to say of a study returns None."""


def study_report(worked: Worked) -> Report:
    """Return the report of a study, in the reader's units.

    Parameters
    ----------
    worked : Worked
        As `rainharvest.study.stages.work_study`.

    Returns
    -------
    Report
        Its sections; ``report["answer"]`` shows itself in a notebook.
    """
    study = worked.study
    with reading(reader_of(study)):
        sections = numbered(tuple(s for s in (make(worked) for make in SECTIONS) if s is not None))
    heading = tuple(text for text in (study.site.name, study.report.client, study.report.author) if text)
    warning = INVENTED if study.site.invented else ""
    return Report(study.title, heading, warning, PAPER[study.units], sections)


def save_report(report: Report, folder: str | os.PathLike) -> None:
    """Write a report as ``report.html`` and ``report.docx``, both or neither.

    Parameters
    ----------
    report : Report
        As `study_report`.
    folder : str or path
        Where they are written.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    with whole_files(folder) as scratch:
        report_files(report, scratch)


def report_files(report: Report, folder: Path) -> None:
    """Write the two files of a report into a folder that is there."""
    (folder / "report.html").write_text(report_page(report), encoding="utf-8", newline="\n")
    (folder / "report.docx").write_bytes(report_document(report))
