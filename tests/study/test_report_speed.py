"""How long the report of the demo takes, printed and never asserted."""

import pytest
from places import SCHOOL

from rainharvest.study.report import save_report, study_report
from rainharvest.study.run import study_results

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def results():
    return study_results(SCHOOL)


def test_speed_of_the_sections(benchmark, results):
    report = benchmark.pedantic(study_report, (results,), rounds=2, warmup_rounds=1)
    assert report.sections


def test_speed_of_page_and_word_document(benchmark, results, tmp_path):
    report = study_report(results)
    benchmark.pedantic(save_report, (report, tmp_path), rounds=2, warmup_rounds=1)
    assert (tmp_path / "report.docx").exists()
