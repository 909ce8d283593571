"""A study file in US units is the same study; nothing with a unit passes unconverted."""

import tomllib
from pathlib import Path
from typing import get_args

import pytest
from places import STUDIES
from pydantic import BaseModel

from rainharvest import InputError
from rainharvest.core.mistakes import metric_factor
from rainharvest.core.tables import known_of, models_of
from rainharvest.study.file import Study, read_study, reader_of, study_from


def all_models(model=Study, seen=None):
    seen = {} if seen is None else seen
    if model not in seen:
        seen[model] = None
        for field in model.model_fields.values():
            for inner in models_of(field.annotation):
                all_models(inner, seen)
    return list(seen)


# Numbers that are the same in any units: shares, counts, money, seeds, factors, time, coordinates.
PURE = set(
    """latitude longitude at members seed year_start_month filter_efficiency first_flush_reset
    runoff_coefficient level share reliability fixed upkeep life rate people units growth growth_month
    growth_years seasonal dead_share freeboard_share start_share theta change_over top_up_trigger
    top_up_level mains_hours spell_length interruptions_a_year downpipes fall filling emptied_after
    fittings variation depth_growth readily_available rain_kept targets draws block_years draw_hours
    ranges losses demand most_linked link_price billing_months tariff_growth energy_price energy_growth
    pump_energy inflation tanks voids wet_month prices storm_minutes most_starts pump_efficiency
    motor_efficiency""".split()
)


def numeric(annotation):
    if annotation in (float, int):
        return True
    return any(numeric(part) for part in get_args(annotation) if not isinstance(part, str | int | float))


def test_every_number_of_a_study_file_has_a_unit_or_is_none():
    missing, wrong = [], []
    for model in all_models():
        units = known_of(model, "unit")
        for name, field in model.model_fields.items():
            if not numeric(field.annotation) or models_of(field.annotation):
                continue
            converted = metric_factor(units.get(name, "")) != 1.0
            if name not in units and name not in PURE:
                missing.append(f"{model.__name__}.{name}")
            if name in PURE and converted:
                wrong.append(f"{model.__name__}.{name}")
    assert not missing, f"say the unit of {missing} in the docstring, in square brackets"
    assert not wrong


def to_us(data, model):
    """Return a metric file's tables as a US file has them."""
    if isinstance(data, list):
        return [to_us(item, model) for item in data]
    if not isinstance(data, dict):
        return data
    units, out = known_of(model, "unit"), {}
    for key, value in data.items():
        inner = (
            models_of(model.model_fields[key].annotation)
            if key in model.model_fields and key != "option"
            else []
        )
        if key == "option":
            out[key] = [to_us(item, model) for item in value]
        elif inner:
            out[key] = to_us(value, inner[0])
        else:
            factor = metric_factor(units.get(key, ""))
            if factor != 1.0:
                value = [v / factor for v in value] if isinstance(value, list) else value / factor
            out[key.replace("litre", "gallon")] = value
    return out


def assert_close(one, other, where=""):
    assert type(one) is type(other), where
    if isinstance(one, BaseModel):
        for name in type(one).model_fields:
            if name not in ("units", "dates"):
                assert_close(getattr(one, name), getattr(other, name), f"{where}.{name}")
    elif isinstance(one, tuple):
        assert len(one) == len(other), where
        for a, b in zip(one, other, strict=True):
            assert_close(a, b, where)
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-14), where
    else:
        assert one == other, where


@pytest.mark.parametrize("name", ["day_school", "clinic_reserve"])
def test_the_same_study_in_us_units(name):
    data = tomllib.loads((STUDIES / f"{name}.toml").read_text(encoding="utf-8"))
    metric, none = study_from(data, STUDIES)
    us, mistakes = study_from(to_us(data, Study) | {"units": "us"}, STUDIES)
    assert not none and not mistakes
    assert_close(metric, us)
    assert us.option and us.units == "us" and reader_of(us).dates == "11/25/2026"
    assert reader_of(metric).dates == "2026-11-25"


FILE = """
title = "A study in US units"
units = "us"
[site]
name = "Test"
elevation = 1000
[rain]
file = "rain.csv"
[[roof]]
area = 4500
wetting = 0.02
outlet_level = 11
[conveyance]
kind = "dry"
run = 60
bore = 4
outlet_level = 11
inlet_level = 7.5
fall = 0.02
[losses]
first_flush = 0.05
[[use]]
name = "cattle"
kind = "cattle"
units = 20
gallons = 12
[[garden]]
bed_area = 1000
root_depth = 1
[weather]
evapotranspiration = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.2]
[tank]
chosen = 10000
sizes = [5000, 10000]
[site_works]
gust = 100
[costs]
per_gallon = 1.5
tariff = 9
[report]
numbers = "1,234.5"
dates = "2026-11-25"
[[option]]
name = "larger"
tank.chosen = 20000
"""


def test_us_units_by_hand(tmp_path):
    (tmp_path / "rain.csv").write_text("")
    path = tmp_path / "study.toml"
    path.write_text(FILE)
    study, _ = read_study(path)
    assert study.roof[0].area == 4500 * 0.09290304 and study.roof[0].wetting == 0.02 * 25.4
    assert study.conveyance.bore == 4 * 25.4 and study.conveyance.run == 60 * 0.3048
    assert study.conveyance.fall == 0.02
    assert study.losses.first_flush == 0.05 * 25.4 and study.use[0].litres == 12 * 3.785411784
    assert study.use[0].units == 20 and study.site.elevation == 1000 * 0.3048
    assert study.garden[0].bed_area == 1000 * 0.09290304 and study.garden[0].root_depth == 0.3048
    assert study.weather.evapotranspiration[11] == 0.2 * 25.4
    assert study.site_works.gust == 100 * 0.44704  # mph, as its codes have gusts
    assert study.tank.chosen == 10000 * 3.785411784 and study.tank.sizes[0] == 5000 * 3.785411784
    assert study.option[0].study.tank.chosen == 20000 * 3.785411784
    assert study.costs.per_litre == pytest.approx(1.5 / 3.785411784, rel=4e-16)
    assert study.costs.tariff == pytest.approx(9 / 3.785411784, rel=4e-16)
    assert reader_of(study).dates == "2026-11-25"


SLIPS = tomllib.loads(Path(__file__).with_name("mistakes.toml").read_text(encoding="utf-8"))["us"]


@pytest.mark.parametrize("name", SLIPS)
def test_mistakes_of_a_us_file_are_told_in_its_units(tmp_path, name):
    old, new, words = SLIPS[name]
    assert old in FILE
    (tmp_path / "rain.csv").write_text("")
    path = tmp_path / "study.toml"
    path.write_text(FILE.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_study(path)
    (line,) = str(caught.value).splitlines()
    assert words in line
