"""The house's own rules: units in docstrings, light imports, direction of imports, notebooks that are compared."""

import ast
import base64
import itertools
import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import rainharvest
from rainharvest.core import style
from rainharvest.core.quantities import QUANTITIES, ROOMS, _rows, attributes, glossary, label

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "rainharvest"
ORDER = [*ROOMS]


def test_the_table_of_names_is_whole():
    rows = [name for room in ROOMS for name in _rows(room)]
    assert sorted(rows) == sorted(set(rows)), "one word, one meaning"
    assert len({q.long_name + q.unit for q in QUANTITIES.values()}) > 0.8 * len(QUANTITIES)
    for q in QUANTITIES.values():
        assert q.name.isidentifier() and q.long_name and q.meaning[-1:] in ("", "."), q.name
        assert attributes(q.name)["long_name"] == q.long_name
        shown = label(q.name)  # which tells no unit twice: not "Days failed a year (days a year)"
        assert shown.startswith(q.long_name.removesuffix(" a year")) and shown.count("a year") < 2, shown
        assert not re.search(r"\b(day|year)s?\b[^(]*\(\1s?\)", shown, re.I), shown
    with pytest.raises(KeyError):
        attributes("nonsense")


def test_import_is_light():
    heavy = [
        "matplotlib",
        "scipy.stats",
        "ipywidgets",
        "dask",
        "nbconvert",
        "netCDF4",
        "fluids",
        "pyet",
        "pandas",
    ]
    code = f"import sys, rainharvest; print([m for m in {heavy} if m in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert said.stdout.strip() == "[]"
    code = code.replace(
        "import sys, rainharvest", "import sys, rainharvest; rainharvest.simulate([1.0], 1.0, 1.0)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    # dask: xarray itself looks for it
    assert set(ast.literal_eval(said.stdout.strip())) <= {"pandas", "dask"}


RANKS = {"facts": 2, "figures": 2, "section": 2, "panel": 4, "exercises": 4, "command": 4}
"""Of a room's files by their name: the rest are tables and subjects, rank 1; core is 0, study 3, the command line 5."""


def rank_of(parts):
    """Return the rank of a module from its parts below the package."""
    if parts[0] == "core":
        return 0
    if len(parts) < 2:
        return 5
    last = parts[1].split("_")[0]
    return max(RANKS.get(last, 1), 3 if parts[0] == "study" else 1)


def test_imports_run_down_the_ranks_and_up_the_table_only():
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        own = path.relative_to(PACKAGE).with_suffix("").parts
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            module = node.module if isinstance(node, ast.ImportFrom) else None
            parts = (module or "").split(".")
            if parts[0] != "rainharvest" or len(parts) < 3 or len(own) < 2 or own[1] == "__init__":
                continue
            higher = rank_of(parts[1:]) > rank_of(own)
            later = own[0] in ORDER and parts[1] in ORDER and ORDER.index(parts[1]) > ORDER.index(own[0])
            if higher or (later and rank_of(own) < 3):
                wrong.append(f"{'.'.join(own)} imports {module}")
    assert not wrong, "\n".join(wrong)


NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
BOOK = ["start_here", "rainfall_record", "catchment", "demand", "storage", "sizing", "drought", "climates"]
BOOK = [f"{k:02d}_{name}" for k, name in enumerate([*BOOK, "siteworks", "study"], 1)]
SECTIONS = ["## What to notice", "## How it is computed", "## Cautions", "## Exercises", "**Where next.**"]


def cells_of(path, kind=None):
    """Return the cells of a notebook with their text."""
    book = json.loads(path.read_text(encoding="utf-8"))
    return [(c, "".join(c["source"])) for c in book["cells"] if kind in (None, c["cell_type"])]


def tagged(cell, tag):
    """Return whether a cell bears a tag."""
    return tag in cell["metadata"].get("tags", [])


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_notebooks_keep_only_what_is_compared_and_the_stills(path):
    meta = json.loads(path.read_text(encoding="utf-8"))["metadata"]
    assert meta["kernelspec"]["name"] == "python3" and "widgets" not in meta
    code = cells_of(path, "code")
    assert any(tagged(cell, "nbval-check-output") for cell, _ in code), "no cell is compared"
    for cell, source in code:
        assert len(source.splitlines()) <= 12 and not source.rstrip().endswith(";")
        assert not re.search(r"\binteract\b|^%matplotlib|^\s*(def|class) ", source, re.MULTILINE), source
        compared, panel = tagged(cell, "nbval-check-output"), tagged(cell, "panel")
        assert cell["metadata"]["jupyter"]["source_hidden"], "code is folded"
        assert tagged(cell, "keep_output") == (compared or panel) and not (compared and panel), source
        if compared:
            assert cell["outputs"] and cell["execution_count"], (
                "a compared cell without its text is compared with nothing"
            )
            kinds = {o.get("name") or frozenset(o["data"]) for o in cell["outputs"]}
            assert kinds <= {"stdout", frozenset({"text/plain", "text/html"})}
            said = "".join("".join(o.get("text") or o["data"]["text/html"]) for o in cell["outputs"])
            assert not re.search(r"\b(True|False|NaN|nan)\b", said), "no machinery on the projector"
        elif not panel:
            assert not cell["outputs"] and cell["execution_count"] is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_each_panel_keeps_its_still_picture_and_stands_once(path):
    for cell, source in cells_of(path, "code"):
        assert tagged(cell, "panel") == bool(re.search(r"\w_panel\(|_pictures\(|^guess_", source)), source
        if not tagged(cell, "panel"):
            continue
        (output,) = cell["outputs"]
        assert set(output["data"]) == {"text/html"}, "a widget without its state is no picture"
        shown = "".join(output["data"]["text/html"])
        if source.startswith("guess_"):
            assert "Guess first" in shown and "<img" not in shown, "the answer is not given away"
            continue
        words, data = re.search(
            r'<img alt="([^"]+)" width="\d+" src="data:image/png;base64,([^"]+)">', shown
        ).groups()
        picture = base64.b64decode(data)
        assert len(words) > 40 and len(picture) < 100_000 and len(shown) < 140_000
        assert picture.startswith(b"\x89PNG")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_each_notebook_has_the_sections_of_the_book(path):
    text = "\n".join(source for _, source in cells_of(path, "markdown"))
    assert text.startswith("# ")
    opening = [text.find(f"\n\n**{word}** ") for word in ("The question.", "Time.", "Afterwards")]
    assert 0 < min(opening) and opening == sorted(opening)
    places = [text.find(f"\n{section}") for section in SECTIONS]
    assert min(places) > 0 and places == sorted(places), dict(zip(SECTIONS, places, strict=True))
    assert path.stem in BOOK
    follower = BOOK[(BOOK.index(path.stem) + 1) % len(BOOK)]
    links = re.findall(r"\]\((\d\d_\w+)\.ipynb\)", text[places[-1] :])
    assert links and links[0] == follower
    assert set(re.findall(r"\]\((\d\d_\w+)\.ipynb", text)) <= set(BOOK)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_each_notebook_has_three_exercises_that_are_checked_by_computing(path):
    cells, found = cells_of(path), []
    for (before, question), (cell, source) in itertools.pairwise(cells):
        asked = re.search(r"^\*\*(\d)\.\*\* ", question, re.MULTILINE)
        if before["cell_type"] == "markdown" and asked:
            assert cell["cell_type"] == "code", question
            call = ast.parse(source).body[-1].value
            name = getattr(call.func, "id", None) or call.func.attr
            assert name.startswith("check_"), source
            (yours,) = [k for k in call.keywords if k.arg.startswith("yours")]
            assert ast.unparse(yours.value) == "None" and "import" not in source, "Run All tells no answer"
            found.append(int(asked[1]))
    assert found == [1, 2, 3]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_all_notebooks_open_the_one_study(path):
    sources = [source for _, source in cells_of(path, "code")]
    named = [line for source in sources for line in source.splitlines() if ".toml" in line]
    assert named in ([], ['STUDY = study_in_use("../data/studies/day_school.toml")']), named


# Linear RGB matrices of Machado, Oliveira and Fernandes 2009 for full colour blindness, from memory, not verified.
BLIND = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
    "grey": [[0.2126, 0.7152, 0.0722]] * 3,
}


@pytest.mark.parametrize("kind", BLIND)
def test_palette_is_told_apart_by_the_colour_blind(kind):
    from matplotlib.colors import to_rgb

    def lab(colour):  # CIE Lab, D65
        srgb = np.array(to_rgb(colour))
        linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
        linear = np.clip(np.array(BLIND[kind]) @ linear, 0, 1)
        to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
        xyz = to_xyz @ linear / np.array([0.9505, 1.0, 1.089])
        f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
        return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])

    colours = [style.DEEP, style.OCHRE, style.BRICK, style.MIST]
    least = 8.0 if kind == "grey" else 18.0
    for i, one in enumerate(colours):
        for other in colours[i + 1 :]:
            assert np.linalg.norm(lab(one) - lab(other)) > least, (one, other)


def test_the_glossary_is_the_table_of_names():
    shown = (ROOT / "notebooks" / "glossary.md").read_text(encoding="utf-8")
    assert shown == glossary() + "\n", "run python -m rainharvest.core.quantities > notebooks/glossary.md"


def test_python_of_the_readme_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    code = (ROOT / "README.md").read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]
    names: dict = {}
    exec(compile(code, "README.md", "exec"), names)
    small, large = (float(x) for x in capsys.readouterr().out.strip(" []\n").split())
    assert 0 < small < large < 1 and float(names["answer"].recommended) > 0


def test_version_is_one():
    assert f'version = "{rainharvest.__version__}"' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")
