import copy
import json
import re

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fruitwall.yard.demo import demo_yard_text
from fruitwall.yard.file import examine_yard, write_yard
from fruitwall.yard.schema import yard_json_schema
from fruitwall.yard.units import KINDS, read_quantity
from fruitwall.yard.yaml_text import plain_document
from tests.yard.generated import yards
from tests.yard.yards import SMALL_YARD

VALIDATOR = jsonschema.Draft202012Validator(yard_json_schema())


def faults(data) -> list[str]:
    return [error.message for error in VALIDATOR.iter_errors(data)]


def test_the_schema_is_sound_and_can_be_printed():
    jsonschema.Draft202012Validator.check_schema(yard_json_schema())
    assert json.loads(json.dumps(yard_json_schema()))["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_demo_yard_validates():
    assert faults(plain_document(demo_yard_text()).data) == []


@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(yards())
def test_every_written_yard_validates(yard):
    assert faults(plain_document(write_yard(yard)).data) == []


WRONG = [
    (("trees", 0, "height"), "5 kg"),
    (("trees", 0, "height"), "tall"),
    (("trees", 0, "height"), -2),
    (("trees", 0, "height"), True),
    (("trees", 0, "heigth"), 2),
    (("trees", 0, "height_m"), 2),
    (("trees", 0, "id"), "Mango 1"),
    (("trees", 0, "name"), 76),
    (("trees", 0, "position"), [5]),
    (("trees", 0, "position"), [5, 5, 5]),
    (("trees", 0, "planted"), 2019),
    (("trees", 0, "planted"), "3/15/2019"),
    (("trees", 0, "origin"), "graftd"),
    (("trees", 0, "container"), {"volume": "5 kg"}),
    (("trees", 0, "container"), {"volume": 5, "handles": "maybe"}),
    (("trees",), []),
    (("outline",), [[0, 0], [1, 0]]),
    (("location", "latitude"), 133),
    (("structures",), [{"kind": "wal"}]),
    (("structures",), [{"id": "p", "name": "P", "outline": [[0, 0], [1, 0], [1, 1]]}]),
    (("gear",), {"heaters": [{"id": "h", "name": "H", "watts": -1500}]}),
    (("gear",), {"lamps": [{"id": "h", "name": "H", "watts": 7, "count": 1.5}]}),
    (("fruitwall",), 2),
]


@pytest.mark.parametrize(("loc", "value"), WRONG, ids=str)
def test_what_the_schema_refuses_the_reader_refuses_too(loc, value):
    data = copy.deepcopy(plain_document(SMALL_YARD).data)
    where = data
    for step in loc[:-1]:
        where = where[step]
    where[loc[-1]] = value
    assert faults(data)
    assert examine_yard(json.dumps(data)).yard is None  # JSON is YAML


@pytest.mark.parametrize("name", ["fruitwall", "name", "location", "trees"])
def test_a_needed_field_is_needed_by_both(name):
    data = plain_document(SMALL_YARD).data
    del data[name]
    assert faults(data)
    assert examine_yard(json.dumps(data)).yard is None


@given(
    st.sampled_from([kind for kind in KINDS.values() if kind.spellings]),
    st.from_regex(r"\A\s?[-+−]?[0-9.]{0,4}(e-?[0-9])? ?[#'\"a-zA-Z°%²³]{0,7}\Z") | st.text(max_size=8),
)
def test_the_schemas_patterns_are_what_the_reader_reads(kind, text):
    try:
        read_quantity(kind, text)
        readable = True
    except ValueError as refused:
        readable = "container class" in str(refused) or "gauge must be" in str(refused)  # of the form, but unknown
    assert bool(re.search(kind.pattern, text)) == readable
