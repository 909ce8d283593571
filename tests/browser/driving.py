"""How the browser tests drive a notebook: open, run, press keys, wait for the answer, look for faults."""

import os
from pathlib import Path

TOKEN = "raindrop"

KERNEL_IDLE = """() => window.jupyterapp?.shell.currentWidget?.context?.sessionContext
  ?.session?.kernel?.status === 'idle'"""

# A run asked for before the kernel has started is dropped without a word.
RUN = """async () => {
  await window.jupyterapp.commands.execute('notebook:run-all-cells');
  const cells = [...window.jupyterapp.shell.currentWidget.content.model.cells];
  return cells.filter(c => c.type === 'code').map(c => c.executionCount);
}"""

# Counts the messages of widgets that the kernel has answered: a key press is done when the count has grown.
COUNT_ANSWERS = """() => {
  window.rhAnswers = 0;
  const kernel = window.jupyterapp.shell.currentWidget.context.sessionContext.session.kernel;
  kernel.iopubMessage.connect((_, m) => {
    if (m.header.msg_type === 'status' && m.content.execution_state === 'idle'
        && m.parent_header.msg_type === 'comm_msg') window.rhAnswers += 1;
  });
}"""

PAINTED = (
    "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done))))"
)

FAULTS = """() => {
  const faults = [];
  for (const svg of document.querySelectorAll('svg[role=img]')) {
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
  for (const e of document.querySelectorAll('.jp-OutputArea .widget-label, .rh-words, .rh-controls button'))
    if (e.scrollWidth > e.clientWidth + 2 && getComputedStyle(e).overflow !== 'visible')
      faults.push(`cut off: ${e.textContent}`);
  for (const e of document.querySelectorAll('.rh-controls .widget-label'))
    if (e.scrollWidth > e.clientWidth + 2) faults.push(`runs into its slider: ${e.textContent}`);
  for (const e of document.querySelectorAll('.rh-controls, .jp-OutputArea-output'))
    if (e.scrollHeight > e.clientHeight + 3 && getComputedStyle(e).overflowY === 'auto')
      faults.push('a scrollbar in a panel');
  for (const e of document.querySelectorAll('.jp-OutputArea img'))
    if (!e.alt) faults.push('a picture has no alternative text');
  return [...new Set(faults)];
}"""

# Faults, what the panels say and draw, and what must not change while a slider moves: outputs do not stack, the page
# does not scroll, figures keep their size.
LOOK = (
    "() => ({faults: ("
    + FAULTS
    + """)(),
  stopped: [...document.querySelectorAll('.rh-stop')].map(e => e.innerText),
  shown: [...document.querySelectorAll('.rh-words, svg[role=img]')].map(e => e.innerHTML).join(),
  place: JSON.stringify([
    document.querySelectorAll('.jp-OutputArea-output').length,
    Math.round(document.querySelector('.jp-WindowedPanel-outer').scrollTop / 4),
    ...[...document.querySelectorAll('svg[role=img]')].map(s => Math.round(s.getBoundingClientRect().height))]),
})"""
)


PICTURES = "all => all.map(e => e.alt)"

# What a panel shows above itself once its kernel is gone.
LOST = """() => [...document.querySelectorAll('.rh-panel')]
  .map(e => getComputedStyle(e, '::before').content).filter(words => words.includes('lost its kernel')).length"""


def opened(page, lab, name):
    """Open a notebook and run it from top to bottom; return the words of the pictures that stood before it ran."""
    page.goto(f"{lab}/doc/tree/notebooks/{name}")
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
    page.wait_for_function(KERNEL_IDLE, timeout=60_000)
    page.evaluate(COUNT_ANSWERS)
    page.evaluate("() => window.jupyterapp.commands.execute('notebook:expand-all-headings')")
    before = page.eval_on_selector_all(".jp-OutputArea img[alt]", PICTURES)
    run(page)
    return before


def run(page):
    """Run all cells of the open notebook."""
    counts = page.evaluate(RUN)
    assert counts and all(counts), f"cells that did not run: {counts}"
    page.evaluate(PAINTED)


def handles(page):
    """Return the sliders' handles, but those of guesses, which answer to a button."""
    return page.locator(".noUi-handle:not(.rh-guess .noUi-handle)")


def press(page, handle, key):
    """Press a key on a slider and wait until the answer is painted; False where the slider stood at its end."""
    before, at = page.evaluate("() => window.rhAnswers"), handle.get_attribute("aria-valuenow")
    handle.focus()
    page.keyboard.press(key)
    if handle.get_attribute("aria-valuenow") == at:
        return False
    page.wait_for_function(f"() => window.rhAnswers > {before}", timeout=20_000)
    settle(page)
    return True


def slider_of(page, words):
    """Return the handle of the slider with these words on its label."""
    return page.locator(".widget-hslider", has_text=words).first.locator(".noUi-handle")


def note(page, button):
    """Press a button and return what the panel then says that it did."""
    page.get_by_role("button", name=button).click()
    page.wait_for_selector(".rh-note", timeout=20_000)
    return page.locator(".rh-note").inner_text()


def settle(page):
    """Wait until the kernel has nothing to do and what it sent is painted."""
    page.wait_for_function(KERNEL_IDLE, timeout=20_000)
    page.evaluate(PAINTED)


def restart(page):
    """Restart the kernel, as its menu does."""
    page.evaluate(
        "() => window.jupyterapp.shell.currentWidget.context.sessionContext.session.kernel.restart()"
    )


def sentences(page):
    """Return what the panels say."""
    return page.locator(".rh-words").all_inner_texts()


def picture(page, name):
    """Keep a screenshot if a folder for them is named."""
    folder = os.environ.get("RAINHARVEST_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}-{page.viewport_size['width']}.png")
