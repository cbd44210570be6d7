import re
from pathlib import Path

import pytest

from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Part
from fruitwall.yard.reference import refreshed

PAGE = Path(__file__).parents[2] / "docs" / "yard-file.md"


def test_the_tables_of_the_yard_file_page_are_fresh():
    page = PAGE.read_text(encoding="utf-8")
    assert refreshed(page) == page, "run: python -m fruitwall.yard.reference docs/yard-file.md"


def test_the_example_on_the_page_is_a_yard():
    (example,) = re.findall(r"```yaml\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert len(parse_yard(example, PAGE.name).trees) == 2


def test_every_field_has_a_description():
    for model in Part.__subclasses__():
        assert model.__doc__
        for name, info in model.model_fields.items():
            assert info.description, f"{model.__name__}.{name}"


def test_a_page_without_marks_is_refused():
    with pytest.raises(ValueError, match="the page must hold the marks"):
        refreshed("nothing")
