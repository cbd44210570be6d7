"""Every published value that was compiled is used by a test, or the reason why not is written down."""

from __future__ import annotations

import re

import pytest

from tests.published import FOLDER, load_checks

FILES = sorted(path.name for path in FOLDER.glob("*.yaml"))
TESTS = {path: path.read_text(encoding="utf-8") for path in sorted(FOLDER.parent.rglob("test_*.py"))}


def ids_of(name: str) -> list[str]:
    return [check.id for check in load_checks(name)]


def left_out() -> set[str]:
    """Ids in the first column of the table of reasons."""
    rows = re.findall(r"^\| (`.+?`) \| \S", (FOLDER / "README.md").read_text(encoding="utf-8"), re.MULTILINE)
    return {name for row in rows for name in re.findall(r"`(\S+?)`", row)}


@pytest.mark.parametrize("name", FILES)
def test_every_value_of_a_file_is_taken_by_a_test(name: str) -> None:
    text = "\n".join(TESTS.values())
    if f'load_checks("{name}")' in text:  # all of them, one by one
        return
    assert [each for each in ids_of(name) if f'"{each}"' not in text] == []


def test_every_compiled_value_stands_in_a_file_or_among_those_left_out_with_a_reason() -> None:
    compiled = (FOLDER / "frost_physics.txt").read_text(encoding="utf-8").split()
    held = {each for name in FILES for each in ids_of(name)}
    assert len(compiled) == len(set(compiled)) > 150
    assert [each for each in compiled if each not in held | left_out()] == []
    assert left_out() <= set(compiled) - held


def test_no_id_stands_in_two_files() -> None:
    ids = [each for name in FILES for each in ids_of(name)]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", FILES)
def test_every_value_has_a_source_and_a_tolerance_with_its_reason(name: str) -> None:
    for check in load_checks(name):
        assert check.source, check.id
        assert check.tolerance, check.id


def test_every_known_trap_has_a_test_that_the_word_trap_finds() -> None:
    # A test of a check of kind "trap" carries the word in its name, so that `pytest -k trap` runs them all.
    blocks = [block for text in TESTS.values() for block in re.split(r"(?m)^(?=def |@pytest)", text)]
    trapped = "\n".join(block for block in blocks if re.match(r"def test_trap_", block))
    traps = [check.id for name in FILES for check in load_checks(name) if check.kind == "trap"]
    assert len(traps) > 6
    assert [each for each in traps if f'"{each}"' not in trapped] == []
