"""The house's own rules: units in docstrings, light imports, direction of imports, notebooks that are compared."""

import ast
import importlib
import inspect
import json
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import rainharvest
from rainharvest.names import QUANTITIES, attributes, glossary, label
from rainharvest.plots import style

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "rainharvest"
ORDER = ["rainfall", "catchment", "demand", "storage", "sizing", "drought", "climates", "siteworks", "study"]
BESIDE = {"plots", "panels"}


def public_functions():
    for module in pkgutil.walk_packages([str(PACKAGE)], "rainharvest."):
        if module.name.endswith("__main__"):
            continue
        loaded = importlib.import_module(module.name)
        for name, thing in vars(loaded).items():
            own = getattr(thing, "__module__", None) == module.name
            if own and not name.startswith("_") and (inspect.isfunction(thing) or inspect.isclass(thing)):
                yield f"{module.name}.{name}", thing


FUNCTIONS = dict(public_functions())
PARAMETER = re.compile(r"^(\w+(?:, \w+)*) : ([^\n]*)$", re.MULTILINE)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_public_names_are_documented_and_their_units_agree_with_the_table(name):
    doc = inspect.getdoc(FUNCTIONS[name])
    assert doc, "no docstring"
    for names, kind in PARAMETER.findall(doc):
        for parameter in names.split(", "):
            unit = re.search(r"\[([^\[\]]*)\](?:,|$| )", kind)
            if parameter in QUANTITIES and unit and QUANTITIES[parameter].unit:
                assert unit[1] == QUANTITIES[parameter].unit, f"{parameter}: [{unit[1]}]"


def test_the_table_of_names_is_whole():
    assert len({q.long_name + q.unit for q in QUANTITIES.values()}) > 0.8 * len(QUANTITIES)
    for q in QUANTITIES.values():
        assert q.name.isidentifier() and q.long_name and q.meaning.endswith("."), q.name
        assert attributes(q.name)["long_name"] == q.long_name and label(q.name).startswith(q.long_name)
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
    assert set(ast.literal_eval(said.stdout.strip())) <= {
        "pandas",
        "dask",
    }  # dask: xarray itself looks for it


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_run_up_the_table_only(path):
    room = path.relative_to(PACKAGE).parts[0]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        module = node.module if isinstance(node, ast.ImportFrom) else None
        parts = (module or "").split(".")
        if parts[0] != "rainharvest" or len(parts) < 2:
            continue
        other = parts[1]
        assert other != "panels" or room == "panels", f"{module}: nothing imports panels"
        if room in ORDER and other in ORDER:
            assert ORDER.index(other) <= ORDER.index(room), f"{room} imports {other}"
        if room in ORDER[:-1]:
            assert other != "plots", f"{room} imports plots"


NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_notebooks_keep_only_what_is_compared(path):
    book = json.loads(path.read_text(encoding="utf-8"))
    assert book["metadata"]["kernelspec"]["name"] == "python3" and "widgets" not in book["metadata"]
    code = [c for c in book["cells"] if c["cell_type"] == "code"]
    checked = [c for c in code if "NBVAL_CHECK_OUTPUT" in "".join(c["source"])]
    assert checked, "no cell is compared"
    for cell in code:
        source = "".join(cell["source"])
        assert len(source.splitlines()) <= 12 and not source.rstrip().endswith(";")
        assert not re.search(r"\binteract\b|^%matplotlib|^\s*(def|class) ", source, re.MULTILINE), source
        if cell in checked:
            assert cell["outputs"] and cell["execution_count"], (
                "a compared cell without its text is compared with nothing"
            )
            assert all(o["output_type"] == "stream" and o["name"] == "stdout" for o in cell["outputs"])
        else:
            assert not cell["outputs"] and cell["execution_count"] is None


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


def test_glossary_of_the_readme_is_the_table_of_names():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = readme.split("<!-- glossary -->")[1].split("<!-- /glossary -->")[0].strip()
    assert shown == glossary(), "run python -m rainharvest.names and put what it prints into the README"


def test_python_of_the_readme_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    code = (ROOT / "README.md").read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]
    names: dict = {}
    exec(compile(code, "README.md", "exec"), names)
    small, large = (float(x) for x in capsys.readouterr().out.strip(" []\n").split())
    assert 0 < small < large < 1 and float(names["answer"].recommended) > 0


def test_version_is_one():
    assert f'version = "{rainharvest.__version__}"' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")
