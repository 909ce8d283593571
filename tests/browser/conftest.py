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


@pytest.fixture(scope="session")
def lab(tmp_path_factory, chromium):
    """Address of a JupyterLab that serves a copy of the checkout's notebooks and data."""
    home = tmp_path_factory.mktemp("lab")
    served = home / "served"
    for name in ("notebooks", "data"):
        shutil.copytree(ROOT / name, served / name, ignore=shutil.ignore_patterns(".ipynb_checkpoints"))
    settings = home / "settings" / "@jupyterlab" / "apputils-extension"
    settings.mkdir(parents=True)
    (settings / "notification.jupyterlab-settings").write_text(
        json.dumps({"fetchNews": "false", "checkForUpdates": False})
    )
    notebook = home / "settings" / "@jupyterlab" / "notebook-extension"
    notebook.mkdir()
    # Every cell is rendered, also those outside the view, so that all of them can be looked at.
    (notebook / "tracker.jupyterlab-settings").write_text(json.dumps({"windowingMode": "none"}))
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        "--no-browser",
        "--allow-root",
        "--ip=127.0.0.1",
        f"--port={port}",
    ]
    command += [
        "--IdentityProvider.token=",
        "--ServerApp.disable_check_xsrf=True",
        "--LabApp.expose_app_in_browser=True",
    ]
    command += [f"--ServerApp.root_dir={served}", "--ServerApp.port_retries=0"]
    environment = os.environ | {"JUPYTERLAB_SETTINGS_DIR": str(home / "settings"), "PYTHONPATH": str(ROOT)}
    log = open(home / "lab.log", "wb")
    server = subprocess.Popen(command, env=environment, stdout=log, stderr=subprocess.STDOUT)
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(120):
            if server.poll() is not None:
                pytest.fail("JupyterLab did not start:\n" + (home / "lab.log").read_text()[-2000:])
            with contextlib.suppress(OSError):
                urllib.request.urlopen(f"{address}/api/status", timeout=2).read()
                break
            time.sleep(0.5)
        yield address
    finally:
        server.terminate()
        server.wait(20)
        log.close()
