"""Each notebook in JupyterLab in a real Chromium: run, move every slider to both ends, look for faults.

Set RAINHARVEST_SCREENSHOTS to a folder to keep pictures of what was seen.
"""

import os
import statistics
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser

NOTEBOOKS = sorted(p.name for p in (Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
SCREENS = [(1280, 800), (1920, 1080)]

# A run asked for before the kernel has started is dropped without a word.
KERNEL_IDLE = """() => window.jupyterapp.shell.currentWidget?.context?.sessionContext
  ?.session?.kernel?.status === 'idle'"""

RUN = """async () => {
  await window.jupyterapp.commands.execute('notebook:run-all-cells');
  const cells = [...window.jupyterapp.shell.currentWidget.content.model.cells];
  return cells.filter(c => c.type === 'code').map(c => c.executionCount);
}"""

FAULTS = """() => {
  const faults = [];
  for (const svg of document.querySelectorAll('.jp-OutputArea svg[role=img]')) {
    const box = svg.getBoundingClientRect();
    const texts = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim())
      .map(t => ({words: t.textContent.trim(), r: t.getBoundingClientRect()})).filter(t => t.r.width > 0);
    for (const t of texts)
      if (t.r.left < box.left - 1 || t.r.right > box.right + 1 || t.r.top < box.top - 1 || t.r.bottom > box.bottom + 1)
        faults.push(`clipped: ${t.words}`);
    for (let i = 0; i < texts.length; i++) for (let j = i + 1; j < texts.length; j++) {
      const a = texts[i].r, b = texts[j].r;
      const w = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const h = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (w > 2 && h > 0.35 * Math.min(a.height, b.height))
        faults.push(`overlap: ${texts[i].words} | ${texts[j].words}`);
    }
    if (!svg.getAttribute('aria-label')) faults.push('a figure has no alternative text');
  }
  for (const e of document.querySelectorAll('.jp-OutputArea .widget-label, .jp-OutputArea .rh-words'))
    if (e.scrollWidth > e.clientWidth + 2 && getComputedStyle(e).overflow !== 'visible')
      faults.push(`cut off: ${e.textContent}`);
  for (const e of document.querySelectorAll('.rh-controls, .jp-OutputArea-output'))
    if (e.scrollHeight > e.clientHeight + 3 && getComputedStyle(e).overflowY === 'auto')
      faults.push('a scrollbar in a panel');
  return [...new Set(faults)];
}"""


@pytest.fixture(params=SCREENS, ids=lambda s: f"{s[0]}x{s[1]}")
def page(browser, request):
    """A page of a projector's or a laptop's size."""
    context = browser.new_context(viewport={"width": request.param[0], "height": request.param[1]})
    yield context.new_page()
    context.close()


def opened(page, lab, name):
    """Open a notebook and run it from top to bottom."""
    page.goto(f"{lab}/doc/tree/notebooks/{name}")
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
    page.wait_for_function(
        "() => window.jupyterapp && document.querySelector('.jp-Notebook-ExecutionIndicator')"
    )
    page.wait_for_function(KERNEL_IDLE, timeout=60_000)
    counts = page.evaluate(RUN)
    assert counts and all(counts), f"cells that did not run: {counts}"


def picture(page, name):
    """Keep a screenshot if a folder for them is named."""
    folder = os.environ.get("RAINHARVEST_SCREENSHOTS")
    if folder:
        size = page.viewport_size
        page.screenshot(path=Path(folder) / f"{name}-{size['width']}.png")


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_notebook_runs_and_every_slider_moves_to_both_ends(page, lab, name):
    opened(page, lab, name)
    assert page.locator('[data-mime-type="application/vnd.jupyter.error"]').count() == 0
    handles = page.locator(".jp-OutputArea .noUi-handle")
    if handles.count() == 0:
        return
    page.wait_for_selector(".rh-words", state="attached", timeout=60_000)
    stem = name.removesuffix(".ipynb")
    handles.first.scroll_into_view_if_needed()
    page.wait_for_timeout(300)
    picture(page, f"{stem}-start")
    assert page.evaluate(FAULTS) == []
    for index in range(handles.count()):
        seen = set()
        for key in ("Home", "End"):
            before = page.locator(".jp-OutputArea .rh-words").all_inner_texts()
            handles.nth(index).focus()
            page.keyboard.press(key)
            page.wait_for_timeout(250)  # the message is on its way
            page.wait_for_function(KERNEL_IDLE, timeout=20_000)
            page.wait_for_timeout(250)  # the answer is being painted
            after = page.locator(".jp-OutputArea .rh-words").all_inner_texts()
            seen.add("\n".join(after))
            picture(page, f"{stem}-{index}-{key}")
            assert page.locator(".rh-stop").count() == 0, (index, key, after)
            assert page.evaluate(FAULTS) == [], (index, key)
            assert before, "the panel has sentences"
        assert len(seen) == 2, f"slider {index} changes nothing that is said"
        page.get_by_role("button", name="Back to the start").first.click()
        page.wait_for_timeout(250)
        page.wait_for_function(KERNEL_IDLE, timeout=20_000)
        page.wait_for_timeout(250)


@pytest.mark.parametrize("name", NOTEBOOKS[:1])
def test_time_from_key_to_painted_pixels_is_printed(browser, lab, name, capsys):
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    opened(page, lab, name)
    page.wait_for_selector(".jp-OutputArea .noUi-handle")
    page.evaluate(
        """() => {
      window.rhTimes = [];
      const panel = document.querySelector('.jp-OutputArea svg[role=img]').closest('.widget-html');
      new MutationObserver(() => {
        if (window.rhPressed === undefined) return;
        const pressed = window.rhPressed;
        window.rhPressed = undefined;
        requestAnimationFrame(() => setTimeout(() => window.rhTimes.push(performance.now() - pressed)));
      }).observe(panel, {subtree: true, childList: true});
      document.addEventListener('keydown', () => { window.rhPressed = performance.now(); }, true);
    }"""
    )
    handle = page.locator(".jp-OutputArea .noUi-handle").nth(2)
    handle.focus()
    for press in range(50):
        page.keyboard.press("ArrowRight")
        page.wait_for_function(f"() => window.rhTimes.length > {press}", timeout=20_000)
    times = sorted(page.evaluate("() => window.rhTimes"))
    context.close()
    assert len(times) == 50
    with capsys.disabled():
        print(
            f"\n{name}: key press to painted pixels over {len(times)} moves: "
            f"median {statistics.median(times):.0f} ms, 95th percentile {times[47]:.0f} ms"
        )
