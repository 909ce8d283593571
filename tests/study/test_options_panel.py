"""The panel of a study's options: every slider says something new; a study without options is told what to add."""

import dataclasses

import pytest
from panels import check_both_ends, said
from places import SCHOOL

from rainharvest.study.panel import options_panel
from rainharvest.study.run import study_results


@pytest.fixture(scope="module")
def results():
    return study_results(SCHOOL)


def test_each_slider_changes_what_is_said(results):
    panel = options_panel(SCHOOL, results)
    assert "nominal" in said(panel)["options"] and "as described" in said(panel)["options"]
    check_both_ends(panel)


def test_without_options_it_says_what_to_add(results):
    without = {name: group for name, group in results.groups.items() if name != "options"}
    shown = options_panel(SCHOOL, dataclasses.replace(results, groups=without)).rh_still()
    assert "nothing to show here: option: it names no options; add an [[option]] table" in shown
