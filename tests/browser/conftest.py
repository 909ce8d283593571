"""JupyterLab on loopback and a real Chromium, or a plain reason why not."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from browser.driving import TOKEN

ROOT = Path(__file__).parents[2]
CHROMIUM = [
    os.environ.get("RAINHARVEST_CHROMIUM", ""),
    "chromium",
    "chromium-browser",
    "google-chrome",
    "chrome",
]
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def chromium():
    """Path of a Chromium on this machine."""
    found = next((path for name in CHROMIUM if name and (path := shutil.which(name))), None)
    if not found:
        pytest.skip("no Chromium on this machine: install it, or name it in RAINHARVEST_CHROMIUM")
    return found


@pytest.fixture(scope="session")
def browser(chromium):
    """A headless browser."""
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="playwright is not installed: pip install .[test]"
    )
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield browser
        browser.close()


# The sizing panel, and the same work with a new figure as PNG for each move: what panels often do.
FAST = """from rainharvest.sizing.panel import sizing_panel

sizing_panel("../data/studies/day_school.toml")"""
PLAIN = """import ipywidgets as widgets
from rainharvest.core.save import figure_png
from rainharvest.sizing.figures import curve_figure
from rainharvest.sizing.panel import prepare_sizing
from rainharvest.sizing.grid import moved, priced

study, grid = prepare_sizing("../data/studies/day_school.toml")
slide = widgets.IntSlider(round(grid.area), 20, 2400, 10)
shown = widgets.Image(format="png")

def draw(_change=None):
    curve = moved(grid, area=slide.value, coefficient=grid.coefficient, people=grid.people)
    curve = priced(curve, study.costs, study.tank.usable_share, 0.04)
    shown.value = figure_png(curve_figure(curve, 0.9, 20_000.0, measure="volume_reliability"), 100)

slide.observe(draw, "value")
draw()
widgets.VBox([slide, shown])"""


@pytest.fixture(scope="session")
def served(tmp_path_factory):
    """A copy of the checkout's notebooks and data; and a notebook of panels to be timed."""
    served = tmp_path_factory.mktemp("served")
    own = shutil.ignore_patterns(".ipynb_checkpoints", "my_*")
    for name in ("notebooks", "data"):
        shutil.copytree(ROOT / name, served / name, ignore=own)
    book = json.loads((ROOT / "notebooks" / "01_start_here.ipynb").read_text(encoding="utf-8"))
    cell = {"cell_type": "code", "metadata": {}, "execution_count": None, "outputs": []}
    book["cells"] = [cell | {"id": f"speed-{k}", "source": source} for k, source in enumerate((FAST, PLAIN))]
    (served / "notebooks" / "speed.ipynb").write_text(json.dumps(book), encoding="utf-8")
    return served


@pytest.fixture
def page(browser):
    """A page of a laptop's size."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
    yield context.new_page()
    context.close()


def serve(command, home, port, answers):
    """Start a server and wait until it answers; yield its address; stop it."""
    environment = os.environ | {"JUPYTERLAB_SETTINGS_DIR": str(home / "settings"), "PYTHONPATH": str(ROOT)}
    address = f"http://127.0.0.1:{port}"
    with open(home / "server.log", "wb") as log:
        server = subprocess.Popen(command, env=environment, stdout=log, stderr=subprocess.STDOUT)
        try:
            for _ in range(120):
                if server.poll() is not None:
                    pytest.fail("the server did not start:\n" + (home / "server.log").read_text()[-2000:])
                with contextlib.suppress(OSError):
                    urllib.request.urlopen(f"{address}{answers}", timeout=2).read()
                    break
                time.sleep(0.5)
            yield address
        finally:
            server.terminate()
            server.wait(20)


def free_port():
    """Return a port of the loopback that nobody uses."""
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


@pytest.fixture(scope="session")
def lab(tmp_path_factory, chromium, served):
    """Address of a JupyterLab that serves the copy."""
    home = tmp_path_factory.mktemp("lab")
    settings = home / "settings" / "@jupyterlab"
    for name, plugin, values in (
        ("apputils-extension", "notification", {"fetchNews": "false", "checkForUpdates": False}),
        # Every cell is rendered, also those outside the view, so that all of them can be looked at.
        ("notebook-extension", "tracker", {"windowingMode": "none"}),
    ):
        (settings / name).mkdir(parents=True)
        (settings / name / f"{plugin}.jupyterlab-settings").write_text(json.dumps(values))
    port = free_port()
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1"]
    command += [f"--port={port}", "--ServerApp.port_retries=0", f"--ServerApp.root_dir={served}"]
    command += ["--IdentityProvider.token=", "--ServerApp.disable_check_xsrf=True"]
    command += ["--LabApp.expose_app_in_browser=True"]
    yield from serve(command, home, port, "/api/status")


@pytest.fixture(scope="session")
def pages(tmp_path_factory, chromium, served):
    """Address of the class pages that serve the copy; what opens them ends with the token."""
    pytest.importorskip("voila", reason="voila is not installed: pip install .[web]")
    home, port = tmp_path_factory.mktemp("pages"), free_port()
    command = [sys.executable, "-m", "rainharvest", "pages", "--notebooks", str(served / "notebooks")]
    command += ["--ip", "127.0.0.1", "--port", str(port), "--token", TOKEN]
    yield from serve(command, home, port, "/login")
