"""The report and the sheets of the notebooks in a real browser: they fit phone, laptop and paper, and links work.

Set RAINHARVEST_SCREENSHOTS to a folder to keep pictures of what was seen.
"""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from axe_core_python.sync_playwright import Axe

from rainharvest.sheets import sheet
from rainharvest.study.run import write_study
from rainharvest.study.section import FIXED

pytestmark = pytest.mark.browser

DEMO = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"
NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("[0-9]*.ipynb"))
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


def opened(browser, address, width):
    """Open a page of so many dots; ``requested`` holds what it asks of the network."""
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.requested = []
    page.on("request", lambda request: page.requested.append(request.url))
    page.goto(address)
    return page


def width_of(page):
    """Return how many dots wide the document is."""
    return page.evaluate("() => document.documentElement.scrollWidth")


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name in ("phone", "A4") else pytest.mark.long) for name in WIDTHS]
)
def test_report_fits_needs_nothing_from_outside_and_can_be_read_by_everybody(browser, report, name):
    page = opened(browser, report, WIDTHS[name])
    paper = name in ("A4", "Letter")
    if paper:
        page.emulate_media(media="print")
    assert width_of(page) <= WIDTHS[name] and page.requested == [report]
    words = page.eval_on_selector_all("svg", "all => all.map(e => e.getAttribute('aria-label'))")
    assert len(words) >= 6 and all(len(w) > 40 for w in words)
    assert page.evaluate(CUT) == []
    if paper:  # nothing can be moved sideways on paper
        too_wide = (
            "all => all.filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.getAttribute('aria-label'))"
        )
        assert page.eval_on_selector_all(".wide", too_wide) == []
    if name == "laptop":
        first_screen_has_the_answer(page)
    an_accessibility_engine_passes(page)
    if not paper:
        links_lead_to_their_sections(page)
    folder = os.environ.get("RAINHARVEST_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"report-{name}.png", full_page=True)
    page.close()


def an_accessibility_engine_passes(page):
    # all rules, but no list of every element that passes them: it would take three times as long
    found = Axe().run(page, options={"resultTypes": ["violations"]})
    violated = [(v["id"], v["help"], v["nodes"][0]["html"][:160]) for v in found["violations"]]
    assert violated == []
    assert {"color-contrast", "image-alt", "svg-img-alt"} & {p["id"] for p in found["passes"]}


def links_lead_to_their_sections(page):
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


def first_screen_has_the_answer(page):
    seen = page.evaluate(
        """() => [...document.querySelectorAll('.answer, .facts dt, nav a')]
          .filter(e => e.getBoundingClientRect().bottom <= innerHeight).map(e => e.textContent.trim())"""
    )
    assert any("nominal" in words for words in seen), "what tank"
    questions = list(FIXED["questions"].values())
    assert set(questions[:4]) <= set(seen), "the first four questions with their answers"
    listed = " ".join(page.locator("nav a").all_text_contents())
    assert all(title in listed for title in ("Site works", "Costs", "How to reproduce this report"))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_paper_has_no_lonely_heading(browser, report, paper, tmp_path):
    """Printed to PDF: no page ends with a heading or the caption of a table."""
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
    for printed in pages[:-1]:
        lines = [line.strip() for line in printed.splitlines() if line.strip()]
        assert lines, "an empty page"
        assert lines[-1] not in titles and not lines[-1].startswith("Table "), lines[-1]


def test_sheets_fit_the_page_and_need_nothing_from_outside(browser, tmp_path):
    for book in NOTEBOOKS:
        file = tmp_path / f"{book.stem}.html"
        file.write_text(sheet(book), encoding="utf-8")
        page = opened(browser, file.as_uri(), WIDTHS["A4"])
        for media in ("screen", "print"):
            page.emulate_media(media=media)
            assert width_of(page) <= WIDTHS["A4"], book.stem
        assert [url for url in page.requested if not url.startswith("data:")] == [file.as_uri()]
        pictures = "all => all.every(e => e.alt.length > 40 && e.naturalWidth > 500)"
        assert page.eval_on_selector_all("img", pictures), book.stem
        assert page.locator(".answer").count() == 3, book.stem
        if shutil.which("pdftotext"):
            page.pdf(path=file.with_suffix(".pdf"), format="A4", print_background=True)
            subprocess.run(
                ["pdftotext", "-layout", file.with_suffix(".pdf"), file.with_suffix(".txt")], check=True
            )
            printed = file.with_suffix(".txt").read_text(encoding="utf-8").split("\f")[:-1]
            lines = [[line for line in one.splitlines() if line.strip()] for one in printed]
            assert len(lines[-1]) > 2, "a last page with a single line"
            titles = {title.strip() for title in page.locator("h2, h3").all_inner_texts()}
            assert not [one[-1] for one in lines if one[-1].strip() in titles], book.stem
        page.close()
