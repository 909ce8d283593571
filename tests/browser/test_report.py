"""The report in a real browser: it fits phone, laptop and paper, all links work, an accessibility engine passes it.

Set RAINHARVEST_SCREENSHOTS to a folder to keep pictures of what was seen.
"""

import os
from pathlib import Path

import pytest

from rainharvest.study.run import write_study
from rainharvest.study.words import QUESTIONS

pytestmark = pytest.mark.browser

DEMO = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"
WIDTHS = {"phone": 390, "laptop": 1280, "A4": 794, "Letter": 816}
"""Screens, and paper at 96 dots an inch."""

CUT = """() => {
  const faults = [];
  for (const svg of document.querySelectorAll('figure svg')) {
    const box = svg.getBoundingClientRect();
    if (box.width < 100 || box.height < 60) faults.push(`a figure of ${box.width} x ${box.height}`);
    for (const text of svg.querySelectorAll('text')) {
      const r = text.getBoundingClientRect();
      const out = r.left < box.left - 2 || r.right > box.right + 2 || r.top < box.top - 2 || r.bottom > box.bottom + 2;
      if (r.width && out)
        faults.push(`clipped: ${text.textContent.trim()} in ${svg.getAttribute('aria-label').slice(0, 40)}`);
    }
  }
  return faults;
}"""


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """Address of the demo's report."""
    out = tmp_path_factory.mktemp("report")
    write_study(DEMO, out)
    return (out / "report.html").as_uri()


@pytest.fixture(params=WIDTHS)
def page(browser, report, request):
    """The report on a screen or on paper, and what it asked of the network."""
    width = WIDTHS[request.param]
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.asked = []
    page.on("request", lambda asked: page.asked.append(asked.url))
    page.name = request.param
    page.goto(report)
    if request.param in ("A4", "Letter"):
        page.emulate_media(media="print")
    yield page
    folder = os.environ.get("RAINHARVEST_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"report-{request.param}.png", full_page=True)
    page.close()


def test_report_fits_and_needs_nothing_from_outside(page, report):
    assert page.evaluate("() => document.documentElement.scrollWidth") <= WIDTHS[page.name]
    assert page.asked == [report]
    words = page.eval_on_selector_all("svg", "all => all.map(e => e.getAttribute('aria-label'))")
    assert len(words) >= 6 and all(len(w) > 40 for w in words)
    assert page.evaluate(CUT) == []
    if page.name in ("A4", "Letter"):  # nothing can be moved sideways on paper
        too_wide = (
            "all => all.filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.getAttribute('aria-label'))"
        )
        assert page.eval_on_selector_all(".wide", too_wide) == []


def test_report_passes_an_accessibility_engine(page):
    sync_playwright = pytest.importorskip(
        "axe_core_python.sync_playwright", reason="axe-core-python is not installed: pip install .[test]"
    )
    found = sync_playwright.Axe().run(page)
    told = [(v["id"], v["help"], v["nodes"][0]["html"][:160]) for v in found["violations"]]
    assert told == []
    assert {"color-contrast", "image-alt", "svg-img-alt"} & {p["id"] for p in found["passes"]}


def test_links_lead_to_their_sections(page):
    if page.name not in ("phone", "laptop"):
        pytest.skip("paper has no links")
    links = page.locator("main a")
    assert links.count() >= 16
    for index in range(links.count()):
        links.nth(index).click()
        key = links.nth(index).get_attribute("href")
        page.wait_for_function(
            """key => {
          const top = document.querySelector(key).getBoundingClientRect().top;
          const end = innerHeight + scrollY >= document.documentElement.scrollHeight - 2;
          return location.hash === key && (Math.abs(top) < 40 || end);
        }""",
            arg=key,
        )


def test_first_screen_has_the_answer(page):
    if page.name != "laptop":
        pytest.skip("the first screen of a laptop")
    seen = page.evaluate(
        """() => [...document.querySelectorAll('.answer, .facts dt, nav a')]
          .filter(e => e.getBoundingClientRect().bottom <= innerHeight).map(e => e.textContent.trim())"""
    )
    assert any("usable" in words for words in seen), "what tank"
    assert set(QUESTIONS.values()) <= set(seen)
    assert {"Site works", "Costs", "How to reproduce this report"} <= set(seen), "the list of contents"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_paper_has_no_lonely_heading(browser, report, paper, tmp_path):
    """Printed to PDF: no page ends with a heading or the caption of a table."""
    import shutil
    import subprocess

    if not shutil.which("pdftotext"):
        pytest.skip("no pdftotext on this machine: install poppler-utils")
    page = browser.new_page()
    page.goto(report)
    titles = set(page.eval_on_selector_all("h2, h3", "all => all.map(e => e.textContent.trim())"))
    page.pdf(path=tmp_path / "report.pdf", format=paper, print_background=True)
    page.close()
    subprocess.run(["pdftotext", "-layout", tmp_path / "report.pdf", tmp_path / "report.txt"], check=True)
    pages = (tmp_path / "report.txt").read_text(encoding="utf-8").split("\f")
    assert 8 <= len(pages) <= 40
    for sheet in pages[:-1]:
        lines = [line.strip() for line in sheet.splitlines() if line.strip()]
        assert lines, "an empty page"
        assert lines[-1] not in titles and not lines[-1].startswith("Table "), lines[-1]
