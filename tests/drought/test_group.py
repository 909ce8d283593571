"""The drought stage of a study: its table in the study file and its group of the results."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from places import SCHOOL, whole

from rainharvest import InputError
from rainharvest.core.mistakes import StudyFileError
from rainharvest.core.text import texts_of
from rainharvest.drought.basis import basis_of
from rainharvest.drought.facts import drought_group
from rainharvest.drought.facts_climates import one_change, scenarios_tried, what_scenarios_rest_on
from rainharvest.drought.panel import prepare_drought
from rainharvest.drought.section import bad_years_section, drought_section
from rainharvest.drought.tables import Change, Scenario
from rainharvest.study.file import read_study
from rainharvest.study.run import study_results


@pytest.fixture(scope="module")
def run():
    return study_results(SCHOOL)


@pytest.fixture(scope="module")
def group(run):
    return run.groups["drought"]


def test_everything_is_there(group):
    assert group.attrs["left_out"] == ""
    assert group.essential.startswith("no use is marked essential: 50 %")
    assert float(group.failing_years) <= group.plan_wanted < float(group.failing_years_without)
    assert group.sizes["plan"] == 3 and group.sizes["draw"] == 200


def test_it_repeats(group, run):
    xr.testing.assert_identical(drought_group(run), group)


def test_panels_and_report_are_of_one_tank(run):
    assert prepare_drought(SCHOOL).capacity == float(run.done.described)


def test_the_worst_sequence_is_that_of_the_results(group, run):
    daily = run.done.unmet_daily.sel(time=slice(group.worst_from, group.worst_to))
    own = group.sel(through_capacity=float(run.done.described))
    assert float(daily.sum()) == pytest.approx(float(own.drawdown_short))
    assert int((daily > 1e-6).sum()) == int(own.drawdown_days_short)
    stored = run.done.stored.sel(time=group.worst_day.values)
    np.testing.assert_allclose(own.worst_stored.values, stored.values)


def test_droughts_longer_than_any_on_record(group):
    drier = group.drawn_driest_run < group.record_driest_run
    worse = group.drawn_longest_failure > group.record_longest_failure
    assert 0.05 < float(drier.mean()) < 0.95 and bool(worse.any())
    middle = float(group.drawn_failed_a_year.median())
    assert middle == pytest.approx(float(group.record_failed_a_year), rel=0.25)


def test_a_scenario_without_change_is_the_record(basis):
    found = scenarios_tried(basis, [Scenario(name="same", source="none", change=[Change()])])
    for name in (n for n in found.data_vars if n.startswith("scenario_")):
        np.testing.assert_array_equal(found[name][0], found[name][1])


def test_a_drier_climate_fails_more(basis):
    found = scenarios_tried(
        basis, [one_change(0.8, 1.0, 1.0), one_change(1.0, 0.8, 1.0).model_copy(update={"name": "few"})]
    )
    assert (found.scenario_failed_a_year[1:] > found.scenario_failed_a_year[0]).all()
    assert found.scenario_rain[1] == pytest.approx(0.8 * float(found.scenario_rain[0]))
    assert float(found.scenario_dry_spell[2]) >= float(found.scenario_dry_spell[0])
    assert "the reader's own factors" in found.scenarios and "trend not carried" in found.scenarios
    first, second = what_scenarios_rest_on(found)  # the report's words, none for the record itself
    assert (
        "(the reader's own factors): months" in first and "amount x 0.8" in first and "days x 0.8" in second
    )


def test_a_short_record_leaves_parts_out_and_says_why(run):
    short = run.record.filled.isel(time=slice(0, 365 * 4))
    from dataclasses import replace

    few = replace(
        run,
        record=replace(run.record, filled=short),
        flows=replace(
            run.flows,
            water=run.flows.water.isel(time=slice(0, 365 * 4)),
            demand=run.flows.demand.isel(time=slice(0, 365 * 4)),
        ),
    )
    found = drought_group(few)
    assert "dry spells" in found.left_out and "10 or more" in found.left_out
    assert "resilience" in found


def changed(tmp_path, more):
    own, path = "[drought]\nessential_share = 0.5", tmp_path / "study.toml"
    path.write_text(whole().replace(own, own + more.replace("[drought]\n", "")), encoding="utf-8")
    return path


def test_the_table_of_the_study_file(tmp_path):
    more = """
[drought]
may_fail = 0.1
stage_shares = [0.6, 0.2]
help_days = 10

[[drought.scenario]]
name = "drier winters"
source = "made up for a test"
change = [{ months = [6, 7, 8], amount = 0.85, frequency = 0.9 }]
"""
    study, _ = read_study(changed(tmp_path, more))
    assert study.drought.may_fail == 0.1 and study.drought.scenario[0].change[0].frequency == 0.9
    assert read_study(SCHOOL)[0].drought.scenario == ()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("[drought]\nmay_fail = 2", "drought.may_fail"),
        ("[drought]\nstage_shares = [0.2, 0.5]", "falling shares"),
        ("[drought]\nmayfail = 0.1", "may_fail"),
        ('[[drought.scenario]]\nname = "a"', "drought.scenario[1].source"),
        ('[[drought.scenario]]\nname = "a"\nsource = "b"\nchange = [{ months = [13] }]', "each month once"),
        (
            '[[drought.scenario]]\nname="a"\nsource="b"\n[[drought.scenario]]\nname="a"\nsource="b"',
            "its own name",
        ),
    ],
)
def test_mistakes_are_one_clear_line(tmp_path, more, said):
    with pytest.raises(StudyFileError) as found:
        read_study(changed(tmp_path, "\n" + more))
    lines = str(found.value).splitlines()
    assert len(lines) == 1 and said in lines[0], lines


def test_a_scenario_that_cannot_be_is_the_readers_mistake(basis):
    with pytest.raises(InputError, match=r"drought.scenario\[1\]"):
        scenarios_tried(basis, [one_change(0.2, 2.0, 1.0)])


def test_a_mains_reserve_has_no_drought(basis):
    study = basis.study.model_copy(
        update={"arrangement": basis.study.arrangement.model_copy(update={"kind": "mains reserve"})}
    )
    with pytest.raises(InputError, match="no drought empties it"):
        basis_of(study, basis.record, None, 1000.0)


def test_a_record_of_one_year_leaves_out_what_it_cannot_tell(tmp_path):
    rain = pd.Series(3.0, pd.date_range("2019-01-01", "2019-12-31")).rename("rain_mm").rename_axis("date")
    rain.to_csv(tmp_path / "rain.csv")
    (tmp_path / "study.toml").write_text(
        'title = "a year"\nsite = { name = "a place", invented = true }\n'
        'rain = { file = "rain.csv", members = 1 }\nroof = [{ area = 100 }]\n'
        'use = [{ name = "toilets", kind = "dual_flush", people = 20 }]\ntank = { chosen = 4000 }\n'
    )
    results = study_results(tmp_path / "study.toml", cache="off")
    why = "the record ends within its first year"
    assert why in results.groups["drought"].attrs["left_out"]
    section = drought_section(results)  # no card: no heading that promises one, and here the reason
    assert section.title == "Drought years" and why in section.blocks[-1].text
    assert why not in str(bad_years_section(results).blocks)


def test_sentences_by_hand():
    say = texts_of("drought")
    year = {"none": 0, "years": 30, "worst": 200.0}
    assert "year: some in each of 30 whole years, 200 days in the worst" in say.failed(year)
    assert "year: none in 4 of 30 whole years" in say.failed(year | {"none": 4})
    assert say.stored("2001-01-01", "2002-12-31", 0.0).endswith("to 2002-12-31: nothing is ever short.")
    assert say.stored("2001-01-01", "2002-12-31", 700.0).endswith("the largest shortfall: 700 L short.")
    many = {"draws": 200, "block_years": 3, "drier": 0.1, "longest": 374.0, "on_record": 374.0}
    assert "fails on 360 days a year in 9" in say.longer(many | {"failing": (359.0, 361.0)})
    assert "fails on 350 days to 360 days a year" in say.longer(many | {"failing": (351.0, 361.0)})
