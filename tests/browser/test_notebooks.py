"""Each notebook in JupyterLab in a real Chromium: run, move every slider to both ends, look for faults.

Set RAINHARVEST_SCREENSHOTS to a folder to keep pictures of what was seen.
"""

import html
import json
import re
import time
from pathlib import Path

import pytest
from browser.driving import FAULTS, PLACE, handles, opened, picture, press, sentences, settle, shown

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted(p.name for p in (ROOT / "notebooks").glob("[0-9]*.ipynb"))
SCREENS = [(1280, 800), (1920, 1080)]
TOOK: dict[str, float] = {}


@pytest.fixture
def page(browser):
    """A page of a laptop's size."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
    yield context.new_page()
    context.close()


def stored_words(name):
    """Return the alternative texts of the pictures that a notebook has stored."""
    book = json.loads((ROOT / "notebooks" / name).read_text(encoding="utf-8"))
    shown = "".join(
        "".join(o["data"]["text/html"]) for c in book["cells"] for o in c.get("outputs", []) if "data" in o
    )
    return [html.unescape(words) for words in re.findall(r'<img alt="([^"]+)"', shown)]


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_notebook_runs_and_every_slider_moves_to_both_ends(page, lab, name):
    begun = time.perf_counter()
    opened(page, lab, name)
    TOOK[name] = time.perf_counter() - begun
    assert page.locator('[data-mime-type="application/vnd.jupyter.error"]').count() == 0
    warned = page.locator('[data-mime-type="application/vnd.jupyter.stderr"]').all_inner_texts()
    assert [w for w in warned if not w.startswith("Compiling ")] == []
    words = page.eval_on_selector_all(".jp-OutputArea img[alt]", "all => all.map(e => e.alt)")
    assert words == stored_words(name), f"run tests/notebooks/store.py notebooks/{name}"
    count, stem = handles(page).count(), name.removesuffix(".ipynb")
    for size in SCREENS[::-1]:
        page.set_viewport_size(dict(zip(("width", "height"), size, strict=True)))
        if count:
            handles(page).first.evaluate("e => e.closest('.rh-controls').scrollIntoView()")
        picture(page, f"{stem}-start")
        assert page.evaluate(FAULTS) == [], size
    for index in range(count):
        handle, seen = handles(page).nth(index), set()
        handle.evaluate(
            "e => e.closest('.rh-controls').scrollIntoView()"
        )  # with the figures below, to look at
        place = page.evaluate(PLACE)
        for key in ("Home", "End"):
            press(page, handle, key)
            seen.add(tuple(shown(page)))
            picture(page, f"{stem}-{index}-{key}")
            assert page.locator(".rh-stop").count() == 0, (index, key, sentences(page))
            assert page.evaluate(FAULTS) == [], (index, key)
            assert page.evaluate(PLACE) == place, (index, key)
        assert len(seen) == 2, f"slider {index} changes nothing"
        back = page.get_by_role("button", name="Back to the start")
        for k in range(back.count()):
            back.nth(k).dispatch_event("click")
        settle(page)
    page.set_viewport_size({"width": SCREENS[1][0], "height": SCREENS[1][1]})
    settle(page)
    assert page.evaluate(FAULTS) == []


def test_the_time_of_the_whole_book_is_printed(capsys):
    if len(TOOK) < len(NOTEBOOKS):
        pytest.skip("not all notebooks were run")
    with capsys.disabled():
        each = ", ".join(f"{name[:2]} {took:.0f} s" for name, took in TOOK.items())
        print(
            f"\nwhole book, each kernel started anew and all cells run: {sum(TOOK.values()):.0f} s ({each})"
        )
