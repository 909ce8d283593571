"""Every key of the study files is documented once: page, JSON Schema, examples and models agree."""

import copy
import datetime
import json
import re
import tomllib

import pytest
from jsonschema import Draft202012Validator
from places import ROOT, SCHOOL
from pydantic import ValidationError

from rainharvest.core.tables import meanings_of
from rainharvest.study import reference
from rainharvest.study.file import Study


def plain(value):
    """What JSON has for a TOML value: dates are text."""
    if isinstance(value, dict):
        return {key: plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [plain(inner) for inner in value]
    return value.isoformat() if isinstance(value, datetime.date) else value


@pytest.fixture(scope="module")
def of_study():
    return Draft202012Validator(reference.schema_of(Study))


def test_the_files_are_what_the_models_say():
    remedy = "run python -m rainharvest.study.reference"
    assert (ROOT / reference.PAGE).read_text(encoding="utf-8") == reference.page(), remedy
    for name, model in reference.SCHEMAS.items():
        assert (ROOT / name).read_text(encoding="utf-8") == reference.schema_text(model), remedy


def test_every_key_has_a_meaning_and_an_example_that_is_right():
    for file, top in reference.FILES.items():
        schema = Draft202012Validator(reference.schema_of(file))
        for name, model in reference.tables_below(file).items():
            meanings = meanings_of(model)
            for key, field in model.model_fields.items():
                if field.annotation is Study:
                    continue  # an option lays its changes over the study
                row = reference._key(key, field, bool(reference.models_of(field.annotation)))
                assert meanings[key][-1] in ".?", (top, name, key)
                if not row["example"]:
                    assert reference.models_of(field.annotation)
                    continue
                given = tomllib.loads(row["example"].strip("`"))
                try:
                    model.model_validate(given)
                except ValidationError as error:  # other keys may be missing; this one is right
                    assert not [e for e in error.errors() if e["loc"][:1] == (key,)], (name, row["example"])
                said = schema.schema["properties"] if model is file else schema.schema["$defs"].get(name, {})
                said = said.get("properties", said)
                if key in said:
                    whole = {"$defs": schema.schema["$defs"], **said[key]}
                    assert Draft202012Validator(whole).is_valid(plain(given[key])), (name, row["example"])


@pytest.mark.parametrize("name", ["day_school", "clinic_reserve", "region"])
def test_schema_lets_the_examples_pass(name):
    path = ROOT / "data" / "studies" / f"{name}.toml"
    text = path.read_text(encoding="utf-8")
    schema = re.search(r"^#:schema (.+)$", text, re.MULTILINE)[1]
    said = json.loads((path.parent / schema).read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(said)
    assert not [e.message for e in Draft202012Validator(said).iter_errors(plain(tomllib.loads(text)))]


def test_schema_takes_a_us_study(of_study):
    data = copy.deepcopy(tomllib.loads(SCHOOL.read_text(encoding="utf-8"))) | {"units": "us"}
    data["costs"]["per_gallon"] = data["costs"].pop("per_litre")
    data["use"][1]["gallons"] = data["use"][1].pop("litres")
    data["site"]["elevation"] = 29_000.0  # ft: above what a metric file may say
    assert of_study.is_valid(plain(data))
    data["costs"]["per_pint"] = 1.0
    assert not of_study.is_valid(plain(data))
