"""The workbook in JupyterLab and Voilà in a real Chromium: every notebook run, every slider moved to both ends.

Each notebook is opened once. Set RAINHARVEST_SCREENSHOTS to a folder to keep pictures of what was seen.
"""

import html
import json
import re
import statistics
import time
from contextlib import suppress
from pathlib import Path

import pytest
from browser.driving import (
    FAULTS,
    KERNEL_IDLE,
    LOOK,
    LOST,
    TOKEN,
    handles,
    note,
    opened,
    picture,
    press,
    restart,
    run,
    sentences,
    settle,
    slider_of,
)

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
FIRST, STORAGE = "01_start_here.ipynb", "05_storage.ipynb"
NOTEBOOKS = sorted(p.name for p in (ROOT / "notebooks").glob("[0-9]*.ipynb"))
SCREENS = {"laptop": (1280, 720), "projector": (1920, 1080)}


def stored_words(name):
    """Return the alternative texts of the pictures that a notebook has stored."""
    book = json.loads((ROOT / "notebooks" / name).read_text(encoding="utf-8"))
    shown = "".join(
        "".join(o["data"]["text/html"]) for c in book["cells"] for o in c.get("outputs", []) if "data" in o
    )
    return [html.unescape(words) for words in re.findall(r'<img alt="([^"]+)"', shown)]


def resize(page, screen):
    """Give the page the size of a screen."""
    page.set_viewport_size(dict(zip(("width", "height"), SCREENS[screen], strict=True)))


def looked_at(page, *where):
    """Look at the page as it stands: no fault, no panel that stopped; return what it shows, and where things stand."""
    seen = page.evaluate(LOOK)
    assert (seen["stopped"], seen["faults"]) == ([], []), where
    return seen["shown"], seen["place"]


# Panels whose controls and first figure do not stand whole on one screen.
BESIDE = """() => [...document.querySelectorAll('.rh-controls:not(.rh-guess, .rh-fields)')].map(side => {
  const boxes = [...side.querySelectorAll('.widget-inline-hbox'), side.parentElement.querySelector('svg[role=img]')];
  const all = boxes.map(e => e.getBoundingClientRect());
  return Math.max(...all.map(r => r.bottom)) - Math.min(...all.map(r => r.top));
}).filter(high => high > innerHeight - 110)"""


# The first of the figures folded below each panel, to be looked at too.
UNFOLD = """() => { for (const more of document.querySelectorAll('.rh-more'))
  more.querySelector('.jupyter-widget-Collapse-header')?.click(); }"""


def check_notebook(page, name, before):
    """Check a notebook that was run: stills before it, panels alone after, no error, every slider to both ends."""
    assert page.locator('[data-mime-type="application/vnd.jupyter.error"]').count() == 0
    warned = page.locator('[data-mime-type="application/vnd.jupyter.stderr"]').all_inner_texts()
    assert [w for w in warned if not w.startswith("Compiling ")] == []
    assert before == stored_words(name), f"run tests/notebooks/store.py notebooks/{name}"
    assert page.locator(".jp-OutputArea img[alt]").count() == 0, "a figure stands twice"
    assert page.locator(".rh-panel").count() >= 1 and page.evaluate(LOST) == 0
    page.evaluate(UNFOLD)
    count, stem = handles(page).count(), name.removesuffix(".ipynb")
    for screen in ("projector", "laptop"):
        resize(page, screen)
        if count:
            handles(page).first.evaluate("e => e.closest('.rh-controls').scrollIntoView()")
        picture(page, f"{stem}-start")
        looked_at(page, screen)
        assert page.evaluate(BESIDE) == [], screen
    for guess in page.get_by_role("button", name="Set this guess").all():
        guess.scroll_into_view_if_needed()
        guess.click()
        page.wait_for_function("() => document.body.innerText.includes('Your guess is')", timeout=60_000)
        settle(page)
        picture(page, f"{stem}-guess")
        looked_at(page, "guess")
        page.get_by_role("button", name="Begin again").click()
        settle(page)
    assert all(handles(page).evaluate_all("all => all.map(e => e.getAttribute('aria-label'))"))
    beside = "e.closest('.widget-slider').querySelector('.widget-readout')?.textContent"
    spoken = handles(page).evaluate_all(f"all => all.map(e => [e.getAttribute('aria-valuetext'), {beside}])")
    assert all(said == shown for said, shown in spoken if shown), spoken
    for index in range(count):
        handle, seen = handles(page).nth(index), set()
        # with the figures below, to look at
        handle.evaluate("e => e.closest('.rh-controls').scrollIntoView()")
        place = looked_at(page, index)[1]
        for key in ("Home", "End"):
            press(page, handle, key)
            picture(page, f"{stem}-{index}-{key}")
            shown, now = looked_at(page, index, key)
            assert now == place, (index, key)
            seen.add(shown)
        assert len(seen) == 2 or moves_what_is_folded(page, handle), f"slider {index} changes nothing"
        for back in page.get_by_role("button", name="Back to the start").all():
            back.dispatch_event("click")
        settle(page)
    resize(page, "projector")
    settle(page)
    looked_at(page, "projector")


def moves_what_is_folded(page, handle):
    """Return whether a slider changes what a folded figure shows once it is unfolded."""
    for bar in page.locator(".jupyter-widget-Collapse-header").all():
        bar.scroll_into_view_if_needed()
        bar.click()
        settle(page)
        seen = set()
        for key in ("Home", "End"):
            press(page, handle, key)
            seen.add(looked_at(page, key)[0])
        bar.click()
        if len(seen) == 2:
            return True
    return False


# Every notebook runs in the tests, and 01 and 05 below are opened in a browser; the others where there is time.
@pytest.mark.long
@pytest.mark.parametrize("name", [name for name in NOTEBOOKS if name not in (FIRST, STORAGE)])
def test_notebook_runs_and_every_slider_moves_to_both_ends(page, lab, name, capsys):
    begun = time.perf_counter()
    before = opened(page, lab, name)
    with capsys.disabled():
        print(f" {name[:2]}: kernel started and all cells run in {time.perf_counter() - begun:.0f} s", end="")
    check_notebook(page, name, before)


def test_the_first_page_from_its_opening_to_a_choice_that_another_shows(page, lab, capsys):
    begun = time.perf_counter()
    stills = opened(page, lab, FIRST)
    before = sentences(page)
    assert press(page, handles(page).first, "ArrowRight") and sentences(page) != before
    with capsys.disabled():
        print(
            f"\nfrom opening the first page to the first slider's answer: {time.perf_counter() - begun:.1f} s"
        )
    the_last_value_is_painted_however_fast_the_moves(page)
    page.get_by_role("button", name="Back to the start").first.click()
    settle(page)
    check_notebook(page, FIRST, stills)
    saves_first_figure(page)
    press(page, slider_of(page, "tank size"), "End")
    size = slider_of(page, "tank size").get_attribute("aria-valuenow")
    assert "Saved in my_study.toml: Usable tank size" in note(page, "Save these choices")
    picture(page, "saved")
    stills = opened(page, lab, STORAGE)
    assert slider_of(page, "tank size").get_attribute("aria-valuenow") == size
    assert "my_study-before.toml" in note(page, "Set saved choices aside")
    run(page)
    check_notebook(page, STORAGE, stills)
    restart(page)
    panels = page.locator(".rh-panel").count()  # those of the exercises too
    page.wait_for_function(f"() => ({LOST})() === {panels}", timeout=60_000)
    picture(page, "lost")


def the_last_value_is_painted_however_fast_the_moves(page):
    handle = slider_of(page, "tank size")
    handle.focus()
    for _ in range(40):
        page.keyboard.press("ArrowRight")
    for _ in range(2):  # the front end sends its last value when the kernel has answered the one before
        page.wait_for_timeout(300)
        settle(page)
    last, drawn = sentences(page), page.locator(".rh-picture svg").first
    before = drawn.inner_html()  # half a kilolitre may change no rounded word
    assert press(page, handle, "ArrowRight") and drawn.inner_html() != before
    assert press(page, handle, "ArrowLeft") and sentences(page) == last


def saves_first_figure(page):
    """Save the first figure in three forms."""
    page.get_by_role("button", name="Save this figure").first.click()
    page.wait_for_selector(".rh-links a", timeout=20_000)
    begins = {"png": b"\x89PNG", "svg": b"<?xml", "csv": b"\xef\xbb\xbfUsable tank size (kL)"}
    for kind, begin in begins.items():
        with page.expect_download() as saved:
            page.locator(f".rh-links a[download$='.{kind}']").first.click()
        assert saved.value.suggested_filename == f"study-curve.{kind}"
        assert Path(saved.value.path()).read_bytes().startswith(begin)


PHONE = {"width": 390, "height": 844}

# Sliders whose track is too short for a finger, words broken inside, and a page that must be moved sideways.
NARROW = """() => [
  ...[...document.querySelectorAll('.rh-controls .slider-container')].map(e => e.getBoundingClientRect().width)
    .filter(w => w < 180).map(w => `a track of ${w}`),
  ...[...document.querySelectorAll('.rh-controls .widget-label, .rh-controls button')]
    .filter(e => ['break-all', 'anywhere'].includes(getComputedStyle(e).wordBreak)).map(e => e.innerText),
  ...(document.documentElement.scrollWidth > innerWidth ? [`${document.documentElement.scrollWidth} wide`] : []),
]"""


def shown(page, pages, name, token=TOKEN):
    """Open a class page and wait for its last slider."""
    page.goto(f"{pages}/voila/render/{name}{f'?token={token}' if token else ''}", timeout=120_000)
    page.wait_for_selector(".noUi-handle", timeout=120_000)
    page.wait_for_selector("svg[role=img]")


def test_a_class_of_two_a_phone_among_them_each_with_a_study_of_their_own(browser, pages, served):
    clients = [browser.new_context(viewport=size) for size in (PHONE, {"width": 1280, "height": 720})]
    phone, laptop = (client.new_page() for client in clients)
    asked = []
    for page in (phone, laptop):
        page.on("requestfinished", lambda request: asked.append(request.url))
        shown(page, pages, FIRST)
    assert phone.locator(".jp-InputArea-editor, .jp-InputPrompt").locator("visible=true").count() == 0
    assert "study_panel(" not in phone.locator("body").inner_text()
    picture(phone, "class-phone")
    picture(laptop, "class-laptop")
    assert phone.evaluate(NARROW) == []
    for page in (phone, laptop):
        assert page.locator(".rh-stop").count() == 0 and page.evaluate(FAULTS) == []
    before, own = sentences(phone), slider_of(laptop, "tank size").get_attribute("aria-valuenow")
    slider_of(phone, "tank size").focus()
    phone.keyboard.press("End")
    phone.wait_for_function(
        "before => [...document.querySelectorAll('.rh-words')].map(e => e.innerText).join() !== before",
        arg=",".join(before),
        timeout=20_000,
    )
    saves_first_figure(phone)
    assert "Saved in my_study.toml: Usable tank size" in note(phone, "Save these choices")
    answer = phone.get_by_placeholder("your answer").first
    for typed, said in (
        ("about 30", "That is not a number"),
        ("12", "Not yet: 12 is too low"),
        ("30", "Right."),
    ):
        answer.fill(typed)
        phone.get_by_role("button", name="Check").first.click()
        phone.wait_for_function("said => document.body.innerText.includes(said)", arg=said, timeout=20_000)
    for page in (laptop, phone):  # the token is not asked for again
        shown(page, pages, FIRST, token="")
    size = slider_of(phone, "tank size").get_attribute("aria-valuenow")
    assert slider_of(laptop, "tank size").get_attribute("aria-valuenow") == own != size
    assert len(list((served / "notebooks" / ".my_class").glob("*/my_study.toml"))) == 1
    with laptop.expect_file_chooser() as chosen:
        laptop.get_by_role("button", name="The record of my station").click()
    chosen.value.set_files(ROOT / "data" / "records" / "monsoon.csv")
    laptop.get_by_role("button", name="The record of my station (1)").wait_for()
    assert "Begun from monsoon.csv, 1965 to 2024" in note(laptop, "Start from this station")
    shown(laptop, pages, FIRST, token="")
    assert slider_of(laptop, "Roof plan area").get_attribute("aria-valuenow") == "100.0"
    assert [url for url in asked if not url.startswith((pages, "data:", "blob:"))] == []
    for client in clients:
        client.close()


def test_nobody_reaches_a_page_without_the_word_nor_a_file_with_it(browser, pages, served):
    page = browser.new_page()
    page.goto(f"{pages}/voila/render/{FIRST}")
    assert page.locator(".noUi-handle").count() == 0 and "token" in page.content().lower()
    for path in (
        FIRST,
        "my_study.toml",
        "trainer.md",
        "../data/studies/day_school.toml",
        "../rainharvest/pages.py",
    ):
        for way in ("voila/files", "files", "api/contents", "voila/static", "static"):
            answer = page.request.get(f"{pages}/{way}/{path}?token={TOKEN}")
            assert answer.status >= 400 or "Voil" in answer.text(), (way, path)
            assert "cells" not in answer.text() and "[rain]" not in answer.text()
    (served / "notebooks" / ".my_class" / "0a1b").mkdir(parents=True, exist_ok=True)
    for path in ("", "/.my_class", "/.my_class/0a1b"):
        listed = page.request.get(f"{pages}/voila/tree{path}?token={TOKEN}")
        assert (listed.status == 404) == bool(path) and "0a1b" not in listed.text().replace(f"tree{path}", "")
    host = page.request.get(f"{pages}/?token={TOKEN}", headers={"Host": "elsewhere.example"})
    assert host.status == 403  # a page of another site cannot borrow a name for this machine
    page.close()


# Times from a key's press to the frame after the one in which the panel, but for the slider itself, has changed.
WATCH = """handle => {
  window.rhTimes = [];
  const panel = handle.closest('.jp-OutputArea-output');
  new MutationObserver(seen => {
    if (window.rhPressed === undefined || !seen.some(r => !r.target.closest('.widget-hslider'))) return;
    const pressed = window.rhPressed;
    window.rhPressed = undefined;
    requestAnimationFrame(() => setTimeout(() => window.rhTimes.push(performance.now() - pressed)));
  }).observe(panel, {subtree: true, childList: true, attributes: true});
  document.addEventListener('keydown', () => { window.rhPressed = performance.now(); }, true);
}"""


def times_of(page, handle, moves=50, rest=200, patience=20_000):
    """Return the milliseconds from key to painted pixels, sorted; ``rest`` lies between a picture and the next key."""
    handle.evaluate(WATCH)
    handle.focus()
    at_end = handle.get_attribute("aria-valuenow") == handle.get_attribute("aria-valuemax")
    for k in range(moves):
        page.keyboard.press("ArrowLeft" if (k % 2 == 0) == at_end else "ArrowRight")
        page.wait_for_function(f"() => window.rhTimes.length > {k}", timeout=patience)
        page.wait_for_timeout(rest)
    return sorted(page.evaluate("() => window.rhTimes"))


def spread_of(times):
    """Return the middle and the slow end of times in words."""
    return f"median {statistics.median(times):.0f} ms, 95th percentile {times[int(0.95 * len(times)) - 1]:.0f} ms"


@pytest.mark.long
@pytest.mark.speed
def test_time_from_key_to_painted_pixels_is_printed_beside_that_of_a_figure_a_move(page, lab, capsys):
    opened(page, lab, "speed.ipynb")
    said = {}
    for words in ("Roof plan area", "tank size"):
        said[f"{words}, a key every 200 ms"] = times_of(page, slider_of(page, words))
        said[f"{words}, a key as soon as painted"] = times_of(page, slider_of(page, words), rest=0)
    said["a new figure as PNG a move, the same work"] = times_of(page, handles(page).last)
    with capsys.disabled():
        print("\nsizing panel, key press to painted pixels over 50 moves each:")
        for words, times in said.items():
            print(f"  {words}: {spread_of(times)}")


@pytest.mark.long
@pytest.mark.speed
def test_time_to_the_figures_of_every_page_and_from_a_key_in_every_panel_is_printed(page, lab, capsys):
    from playwright.sync_api import TimeoutError as NoAnswer

    said = []
    for name in NOTEBOOKS:
        page.goto(f"{lab}/doc/tree/notebooks/{name}")
        page.wait_for_function(KERNEL_IDLE, timeout=60_000)
        begun = time.perf_counter()
        page.evaluate(
            "() => { window.rhRun = window.jupyterapp.commands.execute('notebook:run-all-cells'); }"
        )
        page.wait_for_selector(".rh-panel svg[role=img]", timeout=120_000)
        first = time.perf_counter() - begun
        page.evaluate("() => window.rhRun")
        page.evaluate("() => window.jupyterapp.commands.execute('notebook:expand-all-headings')")
        said.append(
            f"{name[:2]}: first figure after {first:.1f} s, last after {time.perf_counter() - begun:.1f} s"
        )
        for panel in page.locator(".rh-controls:not(.rh-guess, .rh-fields)").all():
            for handle in panel.locator(".noUi-handle:visible").all():
                handle.scroll_into_view_if_needed()
                with suppress(NoAnswer):  # a step of this one changes nothing: the next will
                    times = times_of(page, handle, moves=12, patience=3000)
                    said.append(f"    {handle.get_attribute('aria-label')}: {spread_of(times)}")
                    break
    with capsys.disabled():
        print("", *said, sep="\n")
