"""Run notebooks and store them as the guards of tests/test_house.py want them.

Outputs stay in the cells tagged ``keep_output`` only, of a panel its still picture; what else a notebook prints on
standard error is shown, and nothing is stored then.
"""

import sys
import time
from pathlib import Path

import nbformat
from nbclient import NotebookClient

from rainharvest.sheets import answers

BOOK = Path(__file__).parents[2] / "notebooks"


def store(path):
    """Run one notebook, store it, and return what it said on standard error."""
    book = nbformat.read(path, 4)
    NotebookClient(book, timeout=600, resources={"metadata": {"path": str(path.parent)}}).execute()
    book.metadata = {
        "kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    said = ""
    for cell in (cell for cell in book.cells if cell.cell_type == "code"):
        cell.metadata.pop("execution", None)
        said += "".join(o.text for o in cell.outputs if o.get("name") == "stderr")
        for output in cell.outputs:
            if "panel" in cell.metadata.get("tags", []) and "data" in output:
                output["data"] = {"text/html": output["data"]["text/html"]}
        if "keep_output" not in cell.metadata.get("tags", []):
            cell.outputs, cell.execution_count = [], None
    if not said:
        nbformat.write(book, path)
    return said


def write_answers(page=BOOK / "trainer.md"):
    """Work out the answers of all exercises anew for the trainer's page."""
    told = [(path.name[:2], answers(path)) for path in sorted(BOOK.glob("[0-9]*.ipynb"))]
    rows = [
        f"| {n}, {k} | {' '.join(said.split())} |" for n, all_ in told for k, (_, said) in enumerate(all_, 1)
    ]
    head, line, _ = page.read_text(encoding="utf-8").partition("|---|---|\n| 01, 1")
    page.write_text("\n".join([head + line.partition("\n")[0], *rows, ""]), encoding="utf-8")


def main(paths):
    """Store the notebooks named, or all and the answers of the trainer's page."""
    faults = 0
    if not paths:
        write_answers()
    for path in [Path(p) for p in paths] or sorted(BOOK.glob("[0-9]*.ipynb")):
        begun = time.perf_counter()
        said = store(path)
        faults += bool(said)
        print(
            f"{path.name}: {time.perf_counter() - begun:.0f} s{', NOT STORED, it printed: ' + said if said else ''}"
        )
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
