"""The report in a real browser: nothing runs over the page at phone, laptop and print width; pictures have words."""

from pathlib import Path

import pytest

from rainharvest.study.write import write_study

pytestmark = pytest.mark.browser

DEMO = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """Address of the demo's report."""
    out = tmp_path_factory.mktemp("report")
    write_study(DEMO, out)
    return (out / "report.html").as_uri()


@pytest.mark.parametrize("width", [390, 1280, 794], ids=["phone", "laptop", "A4"])
def test_report_fits_the_page(browser, report, width):
    page = browser.new_page(viewport={"width": width, "height": 900})
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(report)
    if width == 794:
        page.emulate_media(media="print")
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    assert asked == [report], "the page needs nothing from outside"
    words = page.eval_on_selector_all("svg", "all => all.map(e => e.getAttribute('aria-label'))")
    assert len(words) == 3 and all(len(w) > 40 for w in words)
    assert page.eval_on_selector_all("h1, h2", "all => all.length") >= 10
    page.close()
