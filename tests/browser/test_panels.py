"""What a panel does beyond being looked at: its speed, its last value, its files, its choices; and Voilà."""

import statistics
import time
from pathlib import Path

import pytest
from browser.driving import FAULTS, handles, opened, picture, press, sentences, settle

pytestmark = pytest.mark.browser

# Times from a key's press to the frame after the one in which the first figure of the panel has changed.
WATCH = """handle => {
  window.rhTimes = [];
  const panel = handle.closest('.jp-OutputArea-output').querySelector('.rh-picture, .widget-image');
  new MutationObserver(() => {
    if (window.rhPressed === undefined) return;
    const pressed = window.rhPressed;
    window.rhPressed = undefined;
    requestAnimationFrame(() => setTimeout(() => window.rhTimes.push(performance.now() - pressed)));
  }).observe(panel, {subtree: true, childList: true, attributes: true});
  document.addEventListener('keydown', () => { window.rhPressed = performance.now(); }, true);
}"""


@pytest.fixture
def page(browser):
    """A page of a laptop's size."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)
    yield context.new_page()
    context.close()


def times_of(page, handle, moves=50, rest=200):
    """Return the milliseconds from key to painted pixels, sorted; ``rest`` lies between a picture and the next key."""
    handle.evaluate(WATCH)
    handle.focus()
    for k in range(moves):
        page.keyboard.press("ArrowLeft" if k == moves // 2 else "ArrowRight")
        page.wait_for_function(f"() => window.rhTimes.length > {k}", timeout=20_000)
        page.wait_for_timeout(rest)
    return sorted(page.evaluate("() => window.rhTimes"))


def told(times):
    return f"median {statistics.median(times):.0f} ms, 95th percentile {times[int(0.95 * len(times)) - 1]:.0f} ms"


def slider_of(page, words):
    """Return the handle of the slider with these words on its label."""
    return page.locator(".widget-hslider", has_text=words).first.locator(".noUi-handle")


def test_time_from_key_to_painted_pixels_is_printed_beside_that_of_a_figure_a_move(page, lab, capsys):
    opened(page, lab, "fast.ipynb")
    said = {}
    for words in ("Roof plan area", "tank size"):
        said[f"{words}, a key every 200 ms"] = told(times_of(page, slider_of(page, words)))
        said[f"{words}, a key as soon as painted"] = told(times_of(page, slider_of(page, words), rest=0))
    opened(page, lab, "plain.ipynb")
    said["a new figure as PNG a move, the same work"] = told(times_of(page, handles(page).first))
    with capsys.disabled():
        print("\nsizing panel, key press to painted pixels over 50 moves each:")
        for words, times in said.items():
            print(f"  {words}: {times}")


def test_the_first_page_from_its_opening_to_a_choice_that_the_next_shows(page, lab, capsys):
    begun = time.perf_counter()
    opened(page, lab, "01_start_here.ipynb")
    before = sentences(page)
    assert press(page, handles(page).first, "ArrowRight") and sentences(page) != before
    with capsys.disabled():
        print(
            f"\nfrom opening JupyterLab's page to the first slider's answer: {time.perf_counter() - begun:.1f} s"
        )
    the_last_value_is_painted_however_fast_the_moves(page)
    saves_first_figure(page)
    press(page, slider_of(page, "tank size"), "End")
    size = slider_of(page, "tank size").get_attribute("aria-valuenow")
    page.get_by_role("button", name="Save these choices").click()
    page.wait_for_selector(".rh-note", timeout=20_000)
    assert "Saved in my_study.toml: tank.chosen" in page.locator(".rh-note").inner_text()
    picture(page, "saved")
    opened(page, lab, "05_storage.ipynb")
    assert slider_of(page, "tank size").get_attribute("aria-valuenow") == size
    page.get_by_role("button", name="Set saved choices aside").click()
    page.wait_for_selector(".rh-note", timeout=20_000)
    assert "my_study-before.toml" in page.locator(".rh-note").inner_text()


def the_last_value_is_painted_however_fast_the_moves(page):
    handle = slider_of(page, "tank size")
    handle.focus()
    for _ in range(40):
        page.keyboard.press("ArrowRight")
    for _ in range(2):  # the front end sends its last value when the kernel has answered the one before
        page.wait_for_timeout(300)
        settle(page)
    last = sentences(page)
    assert press(page, handle, "ArrowRight") and sentences(page) != last
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


def test_voila_shows_the_first_page_without_code(page, voila):
    page.goto(f"{voila}/voila/render/notebooks/01_start_here.ipynb", timeout=120_000)
    page.wait_for_selector(".noUi-handle", timeout=120_000)
    page.wait_for_selector("svg[role=img]")
    assert page.locator(".jp-InputArea-editor, .jp-InputPrompt").locator("visible=true").count() == 0
    assert "study_panel(" not in page.locator("body").inner_text()
    before = sentences(page)
    slider_of(page, "tank size").focus()
    page.keyboard.press("End")
    page.wait_for_function(
        "before => [...document.querySelectorAll('.rh-words')].map(e => e.innerText).join() !== before",
        arg=",".join(before),
        timeout=20_000,
    )
    picture(page, "voila")
    assert page.locator(".rh-stop").count() == 0 and page.evaluate(FAULTS) == []
    saves_first_figure(page)
