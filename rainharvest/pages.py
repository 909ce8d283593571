"""The notebooks as pages without code, for a class with browsers: each visitor a study of their own."""

from __future__ import annotations

import os
import re
import uuid
from pathlib import Path

from rainharvest.core.errors import InputError, require
from rainharvest.study.choices import VISITOR

FOLDER = ".my_class"

"""Folder beside the notebooks in which each visitor has one; hidden, so that no list of pages names a visitor."""

COOKIE = "rainharvest-visitor"

IDLE = 5 * 60  # [s] after which the kernel of a page that nobody has open ends (own choice)

# Nothing is asked of another site: the pages' frame would fetch icons from one.
POLICY = "default-src 'self' data: blob: ws: wss: 'unsafe-inline' 'unsafe-eval'; frame-ancestors 'self'"


def visitor(given: str, kept: str) -> str:
    """Return the key of a visitor: the one given in the address, or kept by the browser, or a new one.

    >>> visitor("Ana & Bo", ""), visitor("", "0a1b"), visitor("../..", "0a1b"), len(visitor("", ""))
    ('anabo', '0a1b', '0a1b', 32)
    """
    cleaned = (re.sub(r"[^a-z0-9-]", "", key.lower())[:40] for key in (given, kept))
    return next(filter(None, cleaned), uuid.uuid4().hex)


def as_visitor(request, notebook, cwd: str) -> None:
    """Tell the kernel of a page, before its first cell, in which folder its visitor's own files lie."""
    import nbformat

    key = visitor(request.get_argument("student", ""), request.get_cookie(COOKIE, ""))
    request.set_cookie(COOKIE, key, expires_days=30, httponly=True, samesite="Lax")
    told = f"import os\nos.environ[{VISITOR!r}] = {f'{FOLDER}/{key}'!r}"
    notebook.cells.insert(0, nbformat.v4.new_code_cell(told))


def settings(notebooks: str | os.PathLike, ip: str, port: int, token: str) -> dict:
    """Return how the pages are served."""
    there = Path(notebooks)
    require(there.is_dir(), "no such folder", "name the folder of the notebooks", "--notebooks", there)
    near = ip in ("localhost", "127.0.0.1", "::1")
    word = "others could open the pages, and run them"
    require(near or token, word, "give a word of your own that they must know", "--token")
    return {
        "Voila": {
            "root_dir": str(there.resolve()),
            "ip": ip,
            "port": port,
            "token": token,
            "open_browser": False,
            "tornado_settings": {
                "headers": {"Content-Security-Policy": POLICY},
                # Where no word is asked for, no page of another site may reach these by a name of its own.
                "allow_remote_access": not near,
                "local_hostnames": ["localhost"],
            },
        },
        "VoilaConfiguration": {"prelaunch_hook": as_visitor},
        "ContentsManager": {"hide_globs": ["my_*"]},
        "MappingKernelManager": {"cull_idle_timeout": IDLE, "cull_interval": 60},
    }


def serve_pages(notebooks: str | os.PathLike, ip: str, port: int, token: str) -> None:
    """Serve the pages until stopped."""
    given = settings(notebooks, ip, port, token)
    try:
        from voila.app import Voila
    except ImportError:
        raise InputError("what serves pages is not installed", "pip install '.[web]'") from None
    from traitlets.config import Config

    Voila.launch_instance([], config=Config(given))
