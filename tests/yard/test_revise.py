"""Text that is changed where it was meant and nowhere else."""

from __future__ import annotations

import copy
import re
from importlib.resources import files
from io import StringIO

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from fruitwall.yard.file import parse_yard, write_yard
from fruitwall.yard.revise import CannotRevise, flow_text, revise, same
from fruitwall.yard.yaml_text import plain_document
from tests.yard.generated import NOTES, TEXT, yards

DEMO = (files("fruitwall.yard") / "data" / "demo_yard.yaml").read_text("utf-8")


def demo() -> dict:
    return copy.deepcopy(plain_document(DEMO).data)


def tree(data: dict, name: str) -> dict:
    return next(one for one in data["trees"] if one["id"] == name)


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Give the lines that went and those that came."""
    import difflib

    found = list(difflib.ndiff(before.splitlines(), after.splitlines()))
    return [one[2:] for one in found if one[0] == "-"], [one[2:] for one in found if one[0] == "+"]


def test_a_moved_tree_changes_one_line():
    wanted = demo()
    tree(wanted, "banana-corner")["position"] = [13.5, 29.0]

    gone, come = changed_lines(DEMO, revise(DEMO, wanted))

    assert gone == ["    position: [13.2, 28.9]"]
    assert come == ["    position: [13.5, 29]"]


def test_a_changed_height_keeps_the_comment_on_its_line():
    wanted = demo()
    next(one for one in wanted["structures"] if one["id"] == "house")["height"] = "11 ft"

    gone, come = changed_lines(DEMO, revise(DEMO, wanted))

    assert gone == ["    height: 10 ft 6 in            # to the eaves"]
    assert come == ["    height: 11 ft            # to the eaves"]


def test_a_removed_tree_takes_its_lines_and_leaves_the_heading_of_the_next():
    wanted = demo()
    wanted["trees"] = [one for one in wanted["trees"] if one["id"] != "banana-corner"]

    gone, come = changed_lines(DEMO, revise(DEMO, wanted))

    assert come == []
    assert next(filter(None, gone)) == "  - id: banana-corner"
    assert "  # The upper terrace: long established" not in gone
    assert len([one for one in gone if not one.strip()]) == 1


def test_a_new_tree_stands_after_the_last_and_before_the_next_heading():
    wanted = demo()
    wanted["trees"].append({"id": "new", "name": "No", "taxon": "mango", "position": [3, 4.5], "height": "6 ft"})

    text = revise(DEMO, wanted)

    assert '\n\n  - id: new\n    name: "No"\n    taxon: mango\n    position: [3, 4.5]\n    height: 6 ft\n\n#' in text
    assert changed_lines(DEMO, text)[0] == []


def test_a_field_is_added_and_taken_out():
    wanted = demo()
    tree(wanted, "papaya")["notes"] = "leans: a little\n# to the left"
    once = revise(DEMO, wanted)
    assert changed_lines(DEMO, once) == ([], ['    notes: "leans: a little\\n# to the left"'])

    del tree(wanted, "papaya")["notes"]
    assert revise(once, wanted) == DEMO


def test_nothing_to_change_changes_nothing():
    assert revise(DEMO, demo()) == DEMO


def test_line_breaks_of_the_text_are_those_of_new_lines():
    text = DEMO.replace("\n", "\r\n")
    wanted = demo()
    wanted["trees"].append({"id": "new", "name": "A b"})
    tree(wanted, "papaya")["notes"] = "hm"

    changed = revise(text, wanted)

    assert not re.search(r"(?<!\r)\n", changed)


ODD = [
    '{"a": 1, "trees": [{"id": "x", "p": [1, 2]}, {"id": "y"}], "b": {}}',
    "a: 1\ntrees:\n- id: x  # one\n  p:\n  - 1\n  - 2\n- id: y\nb: {}",
    "# head\na:   # why\n  1\ntrees:\n    -   id: x\n        p: [1,\n            2]   # far\n        # of x\n"
    "    # of y\n"
    "    -\n        id: y\n\nb:\n# tail\n",
    "a: 1\ntrees: [{id: x, p: [1, 2]},\n  {id: y},  # last\n]\nb: {}\n",
    "? a\n: 1\ntrees:\n  - {id: x, p: [1, 2]}\n  - id: y\n",
    "a: |\n  text\n  more\n\ntrees:\n  - p:\n      - 1\n      - 2\n    id: x\n  - id: y\nb: 'q'  # c\n",
]
ASKED = [
    {"a": 2, "trees": [{"id": "x", "p": [1, 3]}, {"id": "y"}]},
    {"a": 1, "trees": [{"id": "y", "q": "no"}], "b": {"c": 1}},
    {"a": 1, "trees": [{"id": "x", "p": [1, 2]}], "b": {"c": 1}},
    {"a": 1, "trees": [{"id": "z"}, {"id": "x", "p": [1, 2, 3]}, {"id": "w"}, {"id": "y"}, {"id": "v", "r": [{}]}]},
    {"a": 1, "trees": [{"id": "x", "p": [2]}, {"id": "y"}], "new": [{"id": "s"}, {"id": "t", "u": True}]},
    {"trees": []},
    {"a": [1, 2], "trees": {"id": 1}, "b": None},
]


@pytest.mark.parametrize("wanted", ASKED, ids=str)
@pytest.mark.parametrize("text", ODD, ids=range(len(ODD)))
def test_every_way_of_writing_can_be_changed(text, wanted):
    changed = revise(text, wanted)

    assert same(plain_document(changed).data, wanted)
    if "# head" in text:
        assert "# head" in changed
        assert "# tail" in changed


def test_what_cannot_be_changed_is_refused():
    with pytest.raises(CannotRevise):
        revise("- a\n- b\n", {"a": 1})


scalars = st.none() | st.booleans() | st.integers(-1000, 1000) | st.floats(-1e9, 1e9) | TEXT | NOTES
names = st.sampled_from(["a", "b", "c", "no", "height", "10"])
values = st.recursive(
    scalars,
    lambda inner: (
        st.lists(inner.filter(lambda one: one is not None), max_size=3) | st.dictionaries(names, inner, max_size=3)
    ),
    max_leaves=8,
)
things = st.lists(
    st.tuples(st.sampled_from("uvwxyz"), st.dictionaries(names, values, max_size=3)),
    max_size=5,
    unique_by=lambda one: one[0],
).map(lambda pairs: [{"id": key, **rest} for key, rest in pairs])
groups = st.builds(
    lambda fields, trees: {"z": 1} | fields | {"trees": trees}, st.dictionaries(names, values, max_size=4), things
)


def pruned(value):
    """Leave out what is None, as an empty field is no field."""
    if isinstance(value, dict):
        return {key: pruned(one) for key, one in value.items() if one is not None}
    return [pruned(one) for one in value] if isinstance(value, list) else value


@st.composite
def written(draw: st.DrawFn) -> str:
    """Give text in some style, with comments between its lines where it is written over lines."""
    data = pruned(draw(groups))
    yaml = YAML(typ="rt", pure=True)
    yaml.default_flow_style = draw(st.sampled_from([None, True, False]))
    yaml.width = draw(st.sampled_from([40, 4000]))
    if draw(st.booleans()):
        yaml.indent(mapping=2, sequence=4, offset=2)
    # Each text in quotes, so that a comment between two lines is one and no part of a text over several lines.
    stream = StringIO()
    yaml.dump(_quoted(data), stream)
    lines = stream.getvalue().split("\n")
    if yaml.width > 1000 and not yaml.default_flow_style:
        for at in sorted(draw(st.sets(st.integers(0, len(lines) - 1), max_size=4)), reverse=True):
            lines.insert(at, " " * draw(st.integers(0, 6)) + f"# remark {at}")
    return "\n".join(lines)


def _quoted(value):
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString

    if isinstance(value, dict):
        return {key: _quoted(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_quoted(one) for one in value]
    return DoubleQuotedScalarString(value) if isinstance(value, str) else value


@settings(max_examples=100, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(written(), groups)
def test_any_text_becomes_any_data(text, wanted):
    changed = revise(text, wanted)

    assert same(plain_document(changed).data, wanted)


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(values.filter(lambda one: one is not None))
def test_a_value_written_on_one_line_is_read_back(value):
    for around in ("a: {}\n", "a: [{}]\n", "a: {{b: {}, c: 1}}\n"):
        found = plain_document(around.format(flow_text(value))).data["a"]
        found = found[0] if around[3] == "[" else found["b"] if around[3] == "{" and around[4] == "{" else found
        assert same(found, pruned(value))


@settings(max_examples=3, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(yards())
def test_one_yard_becomes_another_through_its_text(yard):
    text = write_yard(yard)

    assert parse_yard(revise(DEMO, plain_document(text).data)) == yard


def test_a_group_that_loses_its_last_field_is_still_a_group():
    text = "z: 1\nno:\n  a: false\ntrees: []\n"

    assert revise(text, {"z": 1, "no": {}, "trees": []}) == "z: 1\nno: {}\ntrees: []\n"
