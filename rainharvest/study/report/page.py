"""The report's page: a notebook with one cell a section, run, and turned into one HTML file without code."""

from __future__ import annotations

import os
import pickle
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from rainharvest.study.report.blocks import Report
from rainharvest.study.report.fixed_words import CONTENTS, LANGUAGE

if TYPE_CHECKING:
    from nbformat import NotebookNode

HANDED = "report.pickle"
"""The file by which the sections reach the kernel: what was worked is not worked again."""
PATIENCE = 300
"""Seconds that a cell may take; each takes milliseconds."""
OPEN = f"import pickle\n\nwith open({HANDED!r}, 'rb') as file:\n    report = pickle.load(file)"


def report_page(report: Report) -> str:
    """Return the report as one HTML page that needs no other file.

    Parameters
    ----------
    report : Report
        As `rainharvest.study.report.make.study_report` makes it.

    Returns
    -------
    str
        HTML text: the same for the same report.
    """
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
    """Return the notebook of a report: a cell that opens it and one for each section.

    Parameters
    ----------
    report : Report
        The report.

    Returns
    -------
    NotebookNode
        Not yet run. Its metadata hold what stands around the sections.
    """
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
    """Run the notebook of a report in a kernel of this very Python.

    Parameters
    ----------
    notebook : NotebookNode
        As `report_notebook` returns it.
    report : Report
        What its first cell opens.

    Returns
    -------
    NotebookNode
        The same, with outputs.
    """
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
        package = str(Path(__file__).parents[3])
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
