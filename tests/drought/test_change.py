"""Changed climates: each factor moves its own measure and no other; all at 1 is the record itself."""

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from rain import invent_rain

from rainharvest import InputError
from rainharvest.drought.change import changed_rain, wet_day_spread
from rainharvest.drought.tables import Change, Scenario
from rainharvest.rainfall.check_years import mann_kendall
from rainharvest.rainfall.climatology import dry_spells

CLIMATES = ("winter_rain", "monsoon", "semi_arid", "temperate_all_year")
factor = st.floats(0.7, 1.4)


@pytest.fixture(scope="module")
def records():
    return {name: invent_rain(name, 25, seed=6).isel(site=0, drop=True) for name in CLIMATES}


def scenario(**changes):
    return Scenario(name="tried", source="made up for a test", change=[Change(**changes)])


def measures(rain, months=range(1, 13)):
    x = rain.values[np.isin(rain.time.dt.month.values, list(months))]
    return x.mean(), (x >= 1).mean(), wet_day_spread(x)


def test_all_at_one_is_the_record_bit_for_bit(records):
    for rain in records.values():
        seasons = [Change(months=range(m, m + 3)) for m in (1, 4, 7, 10)]
        for tried in (
            scenario(),
            Scenario(name="none", source="made up"),
            Scenario(name="n", source="m", change=seasons),
        ):
            same = changed_rain(rain, tried)
            assert same.values.tobytes() == rain.values.tobytes()
            assert "trend not carried forward" in same.attrs["scenario"]


@pytest.mark.parametrize("climate", CLIMATES)
@given(amount=factor, frequency=factor, intensity=factor)
@settings(max_examples=15)
def test_each_measure_answers_to_its_own_factor_and_to_no_other(
    records, climate, amount, frequency, intensity
):
    rain = records[climate]
    before = measures(rain)
    try:
        after = measures(
            changed_rain(rain, scenario(amount=amount, frequency=frequency, intensity=intensity))
        )
    except InputError as error:  # a few combinations cannot be: they are refused, in words
        assert "scenario, months" in str(error)
        return
    assert after[0] == pytest.approx(amount * before[0], rel=1e-9)
    assert after[1] == pytest.approx(frequency * before[1], abs=1 / rain.size)
    assert after[2] == pytest.approx(intensity * before[2], rel=1e-6)


def test_one_season_leaves_the_others_alone(records):
    rain = records["monsoon"]
    wetter = changed_rain(rain, scenario(months=[6, 7, 8], amount=1.2, intensity=1.1))
    inside = np.isin(rain.time.dt.month.values, [6, 7, 8])
    assert wetter.values[~inside].tobytes() == rain.values[~inside].tobytes()
    before, after = measures(rain, [6, 7, 8]), measures(wetter, [6, 7, 8])
    np.testing.assert_allclose(np.divide(after, before), [1.2, 1, 1.1], rtol=1e-6)


def test_the_sequence_stays_plausible(records):
    """Fewer wet days make longer dry spells, more make shorter; heavy days stay heavy; nothing falls below 0."""
    rain = records["temperate_all_year"]
    fewer, more = (changed_rain(rain, scenario(frequency=f)) for f in (0.8, 1.2))
    mean = [float(dry_spells(x).dry_spell.mean()) for x in (more, rain, fewer)]
    assert mean[0] < mean[1] < mean[2]
    both = (rain >= 1) & (fewer >= 1)
    order = np.argsort(rain.values[both.values], kind="stable")
    assert (np.diff(fewer.values[both.values][order]) >= -1e-9).all()
    assert float(fewer.min()) == 0 and float(more.min()) == 0
    persists = [
        float(((x[1:].values >= 1) & (x[:-1].values >= 1)).mean() / (x.values >= 1).mean())
        for x in (rain, more)
    ]
    assert persists[1] > persists[0] * 0.95  # wet days still come in spells


def test_members_change_alike_and_repeat(records):
    rain = xr.concat([records["winter_rain"]] * 2, "member")
    tried = scenario(frequency=1.2, amount=0.9)
    one, again = changed_rain(rain, tried, seed=3), changed_rain(rain, tried, seed=3)
    assert one.dims == rain.dims and one.equals(again)
    assert float(one[0].mean()) == pytest.approx(float(one[1].mean()))
    other = changed_rain(rain, tried, seed=4)
    assert not one.equals(other)


def test_the_trend_is_carried_when_asked(records):
    rain = records["winter_rain"]
    rising = rain * (1 + 0.01 * (rain.time.dt.year - 2012))
    carried = changed_rain(rising, Scenario(name="t", source="the record", trend_to=2050))
    yearly = rising.groupby("time.year").sum()
    slope = mann_kendall(yearly.values).slope
    middle = float(rising.time.dt.year.mean())
    wanted = 1 + slope * (2050 - middle) / float(yearly.mean())
    assert float(carried.mean() / rising.mean()) == pytest.approx(wanted, rel=1e-9) and wanted > 1.2
    assert "carried to 2050" in carried.attrs["scenario"] and "95 %" in carried.attrs["scenario"]
    steep = rain * (1 + 0.05 * (rain.time.dt.year - int(rain.time.dt.year[0])))
    for record, proven in ((rising, False), (steep, True)):  # p 0.05 is the usual bound, common practice
        assert (mann_kendall(record.groupby("time.year").sum().values).p < 0.05) == proven
        told = changed_rain(record, Scenario(name="t", source="the record", trend_to=2050)).attrs["scenario"]
        assert ("which so is not proven" in told) != proven


def test_mistakes_are_named(records):
    rain = records["winter_rain"]
    with pytest.raises(InputError, match="nearer to 1"):
        changed_rain(rain, scenario(frequency=9.0))
    with pytest.raises(InputError, match="larger amount"):
        changed_rain(rain, scenario(frequency=2.0, amount=0.2))
    with pytest.raises(InputError, match="wet days in the record"):
        changed_rain(rain.isel(time=slice(0, 60)), scenario(months=[1], amount=0.9))
    with pytest.raises(InputError, match="0 wet days"):
        changed_rain(0 * rain, scenario(amount=0.9))
    with pytest.raises(InputError, match="unknown"):
        changed_rain(rain.where(rain.time != rain.time[5]), scenario())
    with pytest.raises((InputError, ValidationError), match="each month once"):
        Change(months=[1, 1])
    with pytest.raises((InputError, ValidationError), match="two changes"):
        Scenario(name="a", source="b", change=[Change(), Change(months=[3])])
    with pytest.raises(ValidationError):
        Scenario(name="a", change=[Change()])  # factors without a source are not taken
