"""The report: its order, what a reader finds in it, the same bytes each time, the page and the Word document."""

import dataclasses
import hashlib
import io
import re
import shutil
import subprocess
import zipfile

import numpy as np
import pandas as pd
import pytest
from places import SCHOOL
from told import words_of

from rainharvest.core.blocks import Facts, Picture, Subheading, Table
from rainharvest.core.reader import days, percent, reading
from rainharvest.study.file import reader_of
from rainharvest.study.report import report_page, save_report, study_report
from rainharvest.study.run import study_results
from rainharvest.study.section import FIXED, SAY, approval_section, assumptions_section
from rainharvest.study.word import report_document

W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"


@pytest.fixture(scope="module")
def results():
    return study_results(SCHOOL)


@pytest.fixture(scope="module")
def report(results):
    return study_report(results)


@pytest.fixture(scope="module")
def page(report):
    return report_page(report)


@pytest.fixture(scope="module")
def soup(page):
    from bs4 import BeautifulSoup

    return BeautifulSoup(page, "html.parser")


@pytest.fixture(scope="module")
def document(report):
    import docx

    return docx.Document(io.BytesIO(report_document(report)))


def text_of(report, leave_out=()):
    """All words of a report but those of the study file."""
    return words_of(*(section for section in report.sections if section.key not in leave_out))


def test_sections_stand_in_the_order_of_the_report(report):
    keys = [section.key for section in report.sections]
    annexes = "site record catchment demand sizes options bad_years supply siteworks costs upkeep assumptions"
    client = "answer size drought parts cautions approval".split()
    assert keys == [*client, *annexes.split(), "reproduce"]
    assert all(section.title and section.blocks for section in report.sections)
    titles = [section.title for section in report.sections if section.annex]
    assert [title[:9] for title in titles] == [f"Annex {letter}. " for letter in "ABCDEFGHIJKLM"]


def test_the_clients_part_is_short_and_says_nothing_twice(report):
    """At most 2,000 words under one level of headings; no sentence of eight words stands in it twice."""
    part = [section for section in report.sections if not section.annex]
    assert not [block for section in part for block in section.blocks if isinstance(block, Subheading)]
    said = text_of(dataclasses.replace(report, sections=tuple(part)))
    assert 500 < len(said.split()) <= 2000
    sentences = [s.strip() for s in re.split(r"(?<=[.!?]) +|\n", said) if len(s.split()) >= 8]
    assert not {s for s in sentences if sentences.count(s) > 1}


def test_it_can_be_signed(results, report):
    """Date, revision and names are the study file's; a report without a date says that it is a draft."""
    assert report.heading[-1] == "Revision A, 2026-03-02"
    block = report["approval"].blocks[-1]
    assert block.rows[0] == ("prepared by", "A. Ostrel, engineer (invented)", "2026-03-02", "")
    assert block.rows[1][:3] == ("checked by", "B. Pindrake, engineer (invented)", "")
    bare = results.study.report.model_copy(update={"date": None, "revision": "B"})
    draft = dataclasses.replace(results, study=results.study.model_copy(update={"report": bare}))
    with reading(reader_of(draft.study)):
        assert SAY.issued(draft.study.report) == "Draft, not issued: revision B"
        assert approval_section(draft).blocks[-1].rows[0][2] == ""


def test_every_input_file_is_named_with_its_digest(report):
    rows = dict(report["reproduce"].blocks[0].rows)
    named = {
        "Velmarra (invented): winter_rain.csv": "records/winter_rain.csv",
        "Ostrel Head (invented): winter_rain_ostrel_head.csv": "records/winter_rain_ostrel_head.csv",
        "Pindrake (invented): winter_rain_pindrake.csv": "records/winter_rain_pindrake.csv",
        "winter_rain_2018_2019.csv": "hours/winter_rain_2018_2019.csv",
        "invented_tanks.csv": "catalogues/invented_tanks.csv",
    }
    for words, file in named.items():
        assert rows[words] == hashlib.sha256((SCHOOL.parents[1] / file).read_bytes()).hexdigest()


def test_who_has_only_the_report_finds_the_answer(report, results, soup):
    """What tank, why, how sure, in a drought, what it costs, what to watch: answered, with a link to more."""
    facts = next(block for block in report["answer"].blocks if isinstance(block, Facts)).rows
    said = {fact.question: fact.answer for fact in facts}
    assert list(said) == list(FIXED["questions"].values())
    said = {key: said[question] for key, question in FIXED["questions"].items()}
    assert "3 linked tanks of 20 kL, 60 kL nominal together" in said["tank"]
    assert percent(float(results.done.half_rain_reliability.median())) in said["why"]
    failed = results.done.described_failed_by_year.median("member")
    assert str(int(failed.year[int(failed.values.argmax())])) in said["drought"]
    assert days(float(failed.max())) in said["drought"]
    number = re.search(r"([\d,]+) crowns", said["cost"])[1].replace(",", "")
    # fixed price, pump, tanks with their links, and the works
    assert float(number) > 900 + 420 + 3 * 2150 + 2 * 60
    shown = soup.select("section")[0].get_text(" ")
    for fact in facts:
        assert fact.question in shown and fact.answer in shown and soup.select_one(f"section#{fact.section}")
    titles = [link.get_text() for link in soup.select("nav a")]
    assert titles == [section.title for section in report.sections]


def test_page_is_whole_and_shows_no_code(page, soup, report):
    ids = [tag["id"] for tag in soup.find_all(id=True)]
    assert len(ids) == len(set(ids))
    for link in soup.find_all("a"):
        assert link["href"].startswith("#") and link["href"][1:] in ids, link
    assert not soup.find_all(["script", "link", "iframe", "img"])
    assert "report[" not in page and "pickle" not in page
    pictures = [b for s in report.sections for b in s.blocks if isinstance(b, Picture)]
    drawn = soup.select("figure svg")
    assert len(drawn) == len(pictures) >= 6
    assert all(svg["role"] == "img" and len(svg["aria-label"]) > 40 for svg in drawn)
    tables = soup.find_all("table")
    assert len(tables) == sum(isinstance(b, Table) for s in report.sections for b in s.blocks)
    for table in tables:
        columns = len(table.thead.find_all("th", scope="col"))
        assert table.caption.get_text(strip=True) and columns > 1
        assert all(len(row.find_all(["th", "td"])) == columns for row in table.tbody.find_all("tr"))
    numbers = [int(re.match(r"Table (\d+)", t.caption.get_text())[1]) for t in tables]
    assert numbers == list(range(1, len(tables) + 1))


def test_us_reader_reads_no_metric_unit(results):
    american = dataclasses.replace(results, study=results.study.model_copy(update={"units": "us"}))
    report = study_report(american)
    assert report.paper == "Letter"
    # Options are named by the study file, sources are quoted as they are.
    said = text_of(report, leave_out=("options", "assumptions", "reproduce"))
    blocks = (block for section in report.sections for block in section.blocks)
    for picture in (b for b in blocks if isinstance(b, Picture) and b.name != "options"):
        said += "\n".join(re.findall(r"<text[^>]*>([^<]*)<", picture.svg))
    assert re.search(r"\d gal\b", said) and re.search(r"\d ft²", said) and re.search(r"\d psi\b", said)
    said = said.replace("1,500 lbf/ft2 (72 kPa)", "")  # a code's own words
    said = re.sub(r"means [\d. to]+ mm/h", "", said)  # a source's own words
    left = re.findall(r"[^\n]{0,60}\d (?:kL|L|mm|m|m²|L/s|kPa|kg)\b[^\n]{0,20}", said)
    left += re.findall(r"[^\n]{0,60}\b(?:kilo|milli|centi)?(?:lit|met)(?:re|er)s?\b[^\n]{0,20}", said)
    converted = re.findall(r"\b(\d+\.\d+) (?:ft|in|gal|psi)\b", said)  # a conversion adds no figures
    left += [value for value in converted if len(value.replace(".", "").lstrip("0")) > 4]
    left += re.findall(r"[^\n]*\((?:kL|L|L a day|mm|m|m²|mm a year)\)", said)  # of an axis
    assert not left, left
    with reading(reader_of(american.study)):
        rows = assumptions_section(american).blocks[1].rows
    wetting = next(row for row in rows if row[0] == "classroom block: wetting")  # 0.25 mm
    assert wetting[1] == "0.00984"
    assert not [row for row in rows if len(row[1].strip("0.").replace(".", "")) > 4]


def test_word_document_is_one_to_edit(document, report):
    headings = [p.text for p in document.paragraphs if p.style.name == "Heading 1"]
    assert headings == [section.title for section in report.sections]
    body = document.element.body
    fields = [e.text.strip() for e in body.iter(f"{W}instrText")]
    pages = [f for f in fields if not f.startswith("SEQ")]
    assert pages == [f"PAGEREF {section.key} \\h" for section in report.sections]
    assert fields.count("SEQ Table \\* ARABIC") == len(document.tables) - 1
    assert fields.count("SEQ Figure \\* ARABIC") == len(document.inline_shapes)
    marks = {e.get(f"{W}name") for e in body.iter(f"{W}bookmarkStart")}
    links = [e.get(f"{W}anchor") for e in body.iter(f"{W}hyperlink")]
    assert links and set(links) <= marks == {section.key for section in report.sections}
    words = [shape._inline.docPr.get("descr") for shape in document.inline_shapes]
    assert all(len(text) > 40 for text in words)
    width = document.sections[0].page_width - 2 * document.sections[0].left_margin
    for shape in document.inline_shapes:
        assert shape.width <= width
    for table in document.tables:
        assert sum(int(cell.width) for cell in table.rows[0].cells) <= width * 1.001
        assert all(row._tr.trPr.find(f"{W}cantSplit") is not None for row in table.rows)
    for table in document.tables[1:]:
        assert table.rows[0]._tr.trPr.find(f"{W}tblHeader") is not None
    assert not document.sections[0].header.paragraphs[0].text, "left for the letterhead"
    assert document.core_properties.title == report.title and document.core_properties.author == ""


def test_word_document_does_not_know_the_time(report):
    with zipfile.ZipFile(io.BytesIO(report_document(report))) as file:
        assert {entry.date_time for entry in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"dcterms:created" not in file.read("docProps/core.xml")


SMALL = """
title = "Less < more & 'quotes' for \\"all\\""
[site]
name = "<script>alert(1)</script>"
[rain]
file = "rain.csv"
members = 1
{more}
[[use]]
name = "toilets & <taps>"
kind = "dual_flush"
people = 8
"""


@pytest.mark.parametrize(
    "more",
    [
        "[[roof]]\narea = 150\n",
        '[arrangement]\nkind = "mains reserve"\nmains_off = ["sat", "sun"]\n',
        '[[roof]]\narea = 5\n[arrangement]\nkind = "combined"\n',
    ],
    ids=["no pipe, no prices", "no roof", "no tank will do"],
)
def test_small_studies_have_a_report_too(tmp_path, more):
    random = np.random.default_rng(3)
    rain = pd.Series(
        np.round(random.gamma(0.3, 9, 2922) * (random.random(2922) < 0.4), 1),
        pd.date_range("2001-01-01", periods=2922, name="date"),
        name="rain (mm)",
    )
    rain.to_csv(tmp_path / "rain.csv")
    (tmp_path / "study.toml").write_text(SMALL.format(more=more))
    out = tmp_path / "out"
    results = study_results(tmp_path / "study.toml")
    assert "options" not in results.groups
    save_report(study_report(results), out)
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "<script" not in page and "nan" not in re.sub(r"<[^>]*>", " ", page).lower().split()
    assert "&lt;script&gt;" in page and "toilets &amp; &lt;taps&gt;" in page
    assert (out / "report.docx").stat().st_size > 10_000
    if "reserve" in more:  # neither rain nor the record's gaps have a part in it
        assert "No drought empties it" in page and "0 L a year reach" not in page
        assert "filling of the record's gaps" not in page


LACKING = ("Caution", "List Bullet", "Table text", "Report table", "Contents heading", "Warning", "Caption")


@pytest.fixture(scope="module")
def letterhead(tmp_path_factory):
    """A firm's own template: a header, narrow paper, a heading of its own; some of our styles are not in it."""
    import docx
    from docx.shared import Mm, RGBColor

    path = tmp_path_factory.mktemp("firm") / "letterhead.docx"
    own = docx.Document()
    own.sections[0].header.paragraphs[0].text = "Invented Water Partners"
    own.sections[0].page_width = Mm(200)
    own.styles["Heading 1"].font.color.rgb = RGBColor(0x7A, 0x1F, 0x5C)
    for name in LACKING:
        if name in [style.name for style in own.styles]:
            own.styles[name].delete()
    own.save(path)
    return path


def test_a_firms_own_template_keeps_its_looks_and_gets_what_it_lacks(report, letterhead):
    import docx
    from docx.shared import Mm, RGBColor

    before = {style.name for style in docx.Document(str(letterhead)).styles}
    assert not before & set(LACKING)
    done = docx.Document(io.BytesIO(report_document(dataclasses.replace(report, template=str(letterhead)))))
    assert done.sections[0].header.paragraphs[0].text == "Invented Water Partners"
    assert abs(done.sections[0].page_width - Mm(200)) < 1000
    assert done.styles["Heading 1"].font.color.rgb == RGBColor(0x7A, 0x1F, 0x5C)
    assert before <= {style.name for style in done.styles}
    known = {style.style_id for style in done.styles}
    assert len(known) == len(list(done.styles)), "a style stands there twice"
    body = done.element.body
    used = {e.get(f"{W}val") for tag in ("pStyle", "rStyle", "tblStyle") for e in body.iter(f"{W}{tag}")}
    assert used <= known
    based = {
        e.get(f"{W}val") for tag in ("basedOn", "next", "link") for e in done.styles.element.iter(f"{W}{tag}")
    }
    assert based <= known
    numbering = done.part.numbering_part.element
    lists = {e.get(f"{W}numId") for e in numbering.iter(f"{W}num")}
    asked = {e.get(f"{W}val") for e in done.styles.element.iter(f"{W}numId")}
    assert asked <= lists
    bullets = done.styles["List Bullet"].element.find(f".//{W}numId").get(f"{W}val")
    of = next(e for e in numbering.iter(f"{W}num") if e.get(f"{W}numId") == bullets)
    kind = of.find(f"{W}abstractNumId").get(f"{W}val")
    levels = next(e for e in numbering.iter(f"{W}abstractNum") if e.get(f"{W}abstractNumId") == kind)
    assert levels.find(f".//{W}numFmt").get(f"{W}val") == "bullet"


def test_word_document_opens_in_libreoffice(report, tmp_path, capsys):
    """Turned into PDF: every heading is there, none is the last line of a page, no table is lost."""
    for program, package in (("soffice", "libreoffice-writer"), ("pdftotext", "poppler-utils")):
        if not shutil.which(program):
            pytest.skip(f"no {program} on this machine: install {package}")
    (tmp_path / "report.docx").write_bytes(report_document(report))
    home = (tmp_path / "office").as_uri()
    command = ["soffice", f"-env:UserInstallation={home}", "--headless", "--convert-to", "pdf", "report.docx"]
    subprocess.run(command, check=True, cwd=tmp_path, capture_output=True, timeout=300)
    subprocess.run(["pdftotext", "-layout", "report.pdf", "report.txt"], check=True, cwd=tmp_path)
    text = (tmp_path / "report.txt").read_text(encoding="utf-8")
    titles = {section.title for section in report.sections}
    lines = [line.strip() for line in text.splitlines()]
    sheets = [" ".join(sheet.split()) for sheet in text.split("\f")]
    for title in titles:  # in the list of contents with the page on which it stands as a heading
        listed = [re.fullmatch(rf"{re.escape(title)}[ .]*(\d+)", line) for line in lines]
        page = next(int(found[1]) for found in listed if found)
        assert title in sheets[page - 1], f"{title}: not on page {page}"
    first = next(section.title for section in report.sections if section.annex)
    begins = next(n for n, sheet in enumerate(sheets) if sheet.startswith(first))
    words = sum(len(sheet.split()) for sheet in sheets[:begins])
    with capsys.disabled():
        print(f"\nThe client's part: {begins} pages, {words:,} words; with annexes {len(sheets) - 1} pages")
    assert begins <= 6
    tables = sum(isinstance(block, Table) for section in report.sections for block in section.blocks)
    assert [int(n) for n in re.findall(r"^\s*Table (\d+)\. ", text, re.MULTILINE)] == list(
        range(1, tables + 1)
    )
    pages = text.split("\f")
    assert 8 <= len(pages) <= 40
    for sheet in pages[:-1]:
        last = [line.strip() for line in sheet.splitlines() if line.strip()]
        assert last and last[-1].startswith("Page "), "the number of the page"
        assert last[-2] not in titles | {"Contents"} and not last[-2].startswith("Table "), last[-2]
