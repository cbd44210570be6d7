"""``fruitwall place``: one question at a time, words and documents, exit statuses; physics is made up."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fruitwall.cli import app
from fruitwall.errors import FruitwallError, PlanError
from fruitwall.service.placing_document import PlacingAnswer
from tests.service.placing_made import fake_ground, placing_file

__all__ = ["placing_file"]


@pytest.fixture
def run(placing_file: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("fruitwall.service.placing_ground.placing_ground", fake_ground)
    monkeypatch.setenv("COLUMNS", "100")

    def run(*words: str):
        at = ["--database", str(placing_file), "--now", "2026-12-28T15:00"]
        return CliRunner().invoke(app, ["place", *words, *at])

    return run


def test_kinds_are_told_with_places_and_as_a_document(run):
    said = run("mango")
    assert said.exit_code == 0
    assert said.stdout.lstrip().startswith("Mango\n")
    assert "  1. " in said.stdout
    assert "Plant it between" in said.stdout
    document = PlacingAnswer.model_validate_json(run("mango", "--json").stdout)
    assert [kind.taxon for kind in document.kinds] == ["Mangifera indica"]


def test_a_list_from_a_file_and_wishes_that_do_not_fit(run, tmp_path):
    listed = tmp_path / "wishes.txt"
    listed.write_text("mango: 30\n", encoding="utf-8")
    found = run("--list", str(listed), "--wish", "lychee", "--json")
    assert found.exit_code == 3
    lines = json.loads(found.stdout)["wish_list"]["lines"]
    assert [line["count"] for line in lines] == [30, 1]
    assert sum(line["missing"] for line in lines) > 0


def test_the_ranking_is_a_table_for_each_group(run):
    said = run("--all").stdout
    assert "Pomegranate" in said
    assert "How sure" in said


def test_only_one_thing_is_asked_at_a_time(run):
    # `main` turns errors of this family into one message and status 2; tests/test_cli.py holds it to that.
    for words in ((), ("mango", "--all"), ("--pot", "pot", "--wish", "mango")):
        assert isinstance(run(*words).exception, FruitwallError)
    wrong = run("--wish", "xyzzy: 2")
    assert isinstance(wrong.exception, PlanError)
    assert str(wrong.exception).startswith("1. xyzzy: 2: ")
