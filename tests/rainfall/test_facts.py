"""A record prepared for its panel, its sentences, and the exercises that check themselves."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from rainharvest.core.errors import InputError
from rainharvest.core.reader import US, depths, reading
from rainharvest.core.text import texts_of
from rainharvest.rainfall.check_years import double_mass
from rainharvest.rainfall.describe import describe_rain, one_version, version_totals
from rainharvest.rainfall.exercises import check_left, check_longest_spell, check_rightly_wet
from rainharvest.rainfall.facts import (
    SAY,
    SKILLS,
    answer,
    checked_record,
    checked_upload,
    demo_files,
    double_mass_facts,
    hidden_days_skill,
    months_facts,
    record_facts,
    spells_facts,
    spi_facts,
    whole_years,
)
from rainharvest.rainfall.fill import fill_gaps
from rainharvest.storage.simulate import simulate


def table(days, seed=1, unit="rain_mm"):
    rng = np.random.default_rng(seed)
    rain = np.where(rng.random(len(days)) < 0.3, rng.gamma(0.7, 12, len(days)), 0).round(1)
    return pd.DataFrame({"date": days.strftime("%Y-%m-%d"), unit: rain})


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("records")
    days = pd.date_range("2001-01-01", "2012-12-31")
    here, there = table(days), table(days)
    there["rain_mm"] = (there["rain_mm"] * 1.2).round(1)
    here.loc[500:539, "rain_mm"] = np.nan
    here.loc[1000, "rain_mm"] = np.nan
    here.loc[3000, "rain_mm"] = -4.0
    here.to_csv(folder / "monsoon.csv", index=False)
    there.to_csv(folder / "monsoon_there.csv", index=False)
    return demo_files(folder)["monsoon"]


@pytest.fixture(scope="module")
def record(files):
    return checked_record(files, years=10)


@pytest.fixture(scope="module")
def filled(record):
    return fill_gaps(record.recent, record.recent_neighbours, members=4)


def test_the_last_years_are_kept_less_what_cannot_be_right(record):
    days = record.recent.indexes["time"]
    assert (days[0], days[-1]) == (pd.Timestamp("2003-01-01"), pd.Timestamp("2012-12-31"))
    wrong = record.read.indexes["time"][3000]
    assert record.read.sel(time=wrong) == -4.0 and np.isnan(record.recent.sel(time=wrong))
    assert len(record.recent_neighbours) == 1 and record.recent_neighbours[0].sizes == record.recent.sizes
    assert (record.findings["check"] == "negative").sum() == 1


def test_an_upload_is_the_same_as_the_file(files):
    one = checked_upload("C:\\mine\\monsoon.csv", files[0].read_bytes())
    xr.testing.assert_equal(one.read, checked_record(files[:1]).read)


def test_an_upload_that_leaves_a_doubt_names_the_file_as_its_owner_does():
    days = pd.date_range("2001-01-01", "2003-12-31")
    content = table(days, unit="rain").to_csv(index=False).encode()
    with pytest.raises(InputError) as stop:
        checked_upload("mine.csv", content)
    assert stop.value.file == "mine.csv" and stop.value.place == "units" and "tmp" not in str(stop.value)
    assert checked_upload("mine.csv", content, {"units": "mm"}).read.sizes["time"] == len(days)


def test_a_folder_without_records_is_said(tmp_path):
    with pytest.raises(InputError, match="no demo record"):
        demo_files(tmp_path)


def test_a_record_too_short_to_hide_days_of_says_why():
    days = pd.date_range("2001-01-01", "2001-01-03")
    short = checked_upload("short.csv", table(days).to_csv(index=False).encode())
    skill = hidden_days_skill(short, 0.3, simulate)
    assert set(SKILLS) <= set(skill) and np.isnan(skill.wet_agreement).all()
    assert SAY.skill(skill).startswith(
        "No test on hidden days: rain: the record has 3 days, too few to hide any; give a longer record."
    )


def test_the_sentences_hold_the_numbers(record, filled):
    gaps = int(np.isnan(record.recent).sum())
    words = SAY.record(record_facts(record, filled))
    assert f"{gaps} days filled from neighbours" in words or f"{filled.attrs['days_filled']} day" in words
    assert "<b>0 left unknown</b>" in words and "cannot be right" in words
    totals = version_totals(filled)
    driest, said = int(totals.median("member").idxmin()), SAY.annual(whole_years(totals))
    assert f"The driest, {driest}," in said and "10 years of 10" in said
    assert "No year is whole" in SAY.annual(whole_years(totals * np.nan))
    found = describe_rain(one_version(filled))
    assert f"<b>{int(found.dry_spell.max())} days</b>" in SAY.spells(spells_facts(found))
    assert f"({float(found.month_mean.max()):.0f} mm)" in SAY.months(months_facts(found))
    spi = found.spi.sel(scale=3)
    assert f"{float(spi.min()):.1f}" in SAY.spi(spi_facts(spi), 3)
    assert "too short" in SAY.spi(spi_facts(spi * np.nan), 3)
    ten = found.sel(return_period=10)
    assert f"<b>{float(ten.return_level):.0f} mm</b>" in SAY.return_levels(ten, 10)
    mass = double_mass(record.recent, record.recent_neighbours)
    assert "0.83 times" in SAY.double_mass(double_mass_facts(mass))
    assert "no neighbour" in SAY.double_mass(double_mass_facts(mass.isel(year=slice(0))))


def test_heights_and_distances_of_a_report_are_the_readers():
    notes = f"{SAY.donor_climb('hill', 304.8)}; {SAY.donor_far('far', 160.9, 150.0)}; read in 0.1 mm"
    with reading(US):
        said = SAY.assumed(notes)
        assert depths("50° and 1524 m above the sea, 25.4 mm") == "50° and 5,000 ft above the sea, 1 in"
    assert "hill stands 1,000 ft higher" in said and "far is 100 mi away (at most 93.2 mi)" in said
    assert "read in 0.1 mm" in said and "160.9" not in said and "161 km away" in SAY.assumed(notes)


def test_a_name_from_a_file_is_not_markup(record, filled):
    named = filled.assign_attrs(site="<script>x</script>")
    assert "<script>" not in SAY.record(record_facts(record, named))


def test_the_answer_in_lines(record, filled, capsys):
    answer(record, filled, describe_rain(one_version(filled)))
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 4 and lines[1].startswith("Last 10 years:") and "0 after filling from 1" in lines[1]


def test_exercises_know_right_from_wrong(record, filled, capsys):
    found = describe_rain(one_version(filled))
    skill = hidden_days_skill(record, 0.15, simulate)
    left = fill_gaps(record.recent, record.recent_neighbours, longest_gap=0, longest_alone=0).attrs[
        "days_left"
    ]
    right = [
        lambda yours: check_left(record, 0, yours),
        lambda yours: check_longest_spell(found, yours),
        lambda yours: check_rightly_wet(skill, yours),
    ]
    answers = [left, int(found.dry_spell.max()), 100 * float(skill.wet_agreement[0])]
    for check, yours in zip(right, answers, strict=True):
        check(yours)
        assert capsys.readouterr().out.startswith("Right. ")
        check(yours * 3 + 10)
        assert capsys.readouterr().out.startswith("Not yet: ")


def test_what_the_years_show_in_two_sentences():
    changed = {"breaks": [1990], "trend": -15.0}  # mm a year: ten times that a decade
    told = texts_of("rainfall").changes_caption(changed)
    assert "another: 1990. The sloping line" in told and told.endswith("they fall by 150 mm a decade.")
