"""How long the report of the demo takes, printed and never asserted."""

from pathlib import Path

import pytest

from rainharvest.study.report import save_report, study_report
from rainharvest.study.run import work_study

DEMO = Path(__file__).parents[2] / "data" / "studies" / "day_school.toml"


@pytest.fixture(scope="module")
def worked():
    return work_study(DEMO)


def test_speed_of_the_sections(benchmark, worked):
    report = benchmark.pedantic(study_report, (worked,), rounds=2, warmup_rounds=1)
    assert report.sections


def test_speed_of_page_and_word_document(benchmark, worked, tmp_path):
    report = study_report(worked)
    benchmark.pedantic(save_report, (report, tmp_path), rounds=2, warmup_rounds=1)
    assert (tmp_path / "report.docx").exists()
