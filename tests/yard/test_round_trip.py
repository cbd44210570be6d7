from datetime import date
from typing import get_args

from hypothesis import HealthCheck, given, settings

from fruitwall.yard.demo import demo_yard
from fruitwall.yard.file import parse_yard, write_yard
from fruitwall.yard.model import Part, Yard
from tests.yard.generated import yards
from tests.yard.yards import a_tree, a_yard


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(yards())
def test_a_written_yard_is_read_back_as_it_was(yard):
    assert parse_yard(write_yard(yard)) == yard


def test_the_demo_yard_survives_writing_and_the_text_is_stable():
    text = write_yard(demo_yard())
    assert parse_yard(text) == demo_yard()
    assert write_yard(parse_yard(text)) == text


def test_floats_are_written_exactly():
    yard = a_yard(trees=[a_tree(height_m=0.1 + 0.2, worth=1e-12, position=(-0.0, 1 / 3))])
    again = parse_yard(write_yard(yard)).trees[0]
    assert (again.height_m, again.worth, again.position) == (0.1 + 0.2, 1e-12, (0.0, 1 / 3))


def test_what_two_trees_share_is_written_out_for_each():
    day, stages = date(2019, 3, 15), ["leafy", "fruit"]
    trees = [a_tree(id=name, name=name, planted=day, stages=stages) for name in ("one", "two")]
    yard = a_yard(trees=trees)
    assert parse_yard(write_yard(yard)) == yard


def test_notes_of_several_lines_stay_readable():
    text = write_yard(a_yard(trees=[a_tree(notes="First line.\nSecond: line.")]))
    assert "notes: |-\n" in text
    assert "First line.\n" in text


def test_nothing_is_lost_by_leaving_empty_fields_out():
    """`write_yard` leaves None out: so None must be what a field left out means."""
    todo = [Part]
    while todo:
        model = todo.pop()
        todo.extend(model.__subclasses__())
        for name, info in model.model_fields.items():
            if type(None) in get_args(info.annotation):
                assert info.default is None, f"{model.__name__}.{name}"
    assert Yard in Part.__subclasses__()
