"""The sheets of the notebooks on a screen and on paper: nothing runs over the page, nothing comes from outside."""

from pathlib import Path

import pytest

from rainharvest.sheets import sheet

pytestmark = pytest.mark.browser

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("[0-9]*.ipynb"))


@pytest.mark.parametrize("book", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_sheet_fits_the_page(browser, book, tmp_path):
    file = tmp_path / "sheet.html"
    file.write_text(sheet(book), encoding="utf-8")
    page = browser.new_page(viewport={"width": 794, "height": 1123})
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    for media in ("screen", "print"):
        page.emulate_media(media=media)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 794
    assert [url for url in asked if not url.startswith("data:")] == [file.as_uri()]
    assert page.eval_on_selector_all(
        "img", "all => all.every(e => e.alt.length > 40 && e.naturalWidth > 500)"
    )
    assert page.locator(".answer").count() == 3
    page.close()
