"""The commands speak the language that was asked for, else that of the environment, and leave no English in it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from fruitwall.cli.language import language_of, without_language
from fruitwall.errors import FruitwallError
from fruitwall.plants.catalogue import catalogue
from fruitwall.service.gear import describe_gear
from fruitwall.service.kind import describe_kind
from fruitwall.service.kind_words import cited
from tests.test_cli import Run, run  # noqa: F401  the fixture
from tests.web.bracketed import bracketing, words_left
from tests.yard.yards import SMALL_YARD

BROKEN_YARDS = {
    "a blank after a colon": SMALL_YARD.replace("fruitwall: 1", "fruitwall:1"),
    "an unknown field": SMALL_YARD + "colour: blue\n",
    "a wrong unit": re.sub(r"height: \S+( m)?", "height: 3 kg", SMALL_YARD, count=1),
    "nothing": "",
    "a list": "- 1\n",
    "a tab": "fruitwall: 1\n\tname: x\n",
}


@pytest.mark.parametrize(
    ("asked", "environment", "spoken"),
    [
        (None, {}, "en"),
        ("es", {}, "es"),
        ("es-MX", {"FRUITWALL_LANGUAGE": "en"}, "es"),
        (None, {"FRUITWALL_LANGUAGE": "es", "LC_ALL": "en_US.UTF-8"}, "es"),
        (None, {"LC_ALL": "es_ES.UTF-8", "LANG": "en_GB.UTF-8"}, "es"),
        (None, {"LC_ALL": "C.UTF-8", "LANG": "es_ES.UTF-8"}, "en"),
        (None, {"LC_ALL": "", "LC_MESSAGES": "es_AR@euro"}, "es"),
        (None, {"LANG": "de_DE.UTF-8"}, "en"),
    ],
)
def test_the_nearest_word_on_the_language_counts(asked: str | None, environment: dict[str, str], spoken: str):
    assert language_of(asked, environment) == spoken


@pytest.mark.parametrize(("asked", "environment"), [("de", {}), ("", {}), (None, {"FRUITWALL_LANGUAGE": "klingon"})])
def test_a_language_that_is_asked_for_must_be_spoken(asked: str | None, environment: dict[str, str]):
    with pytest.raises(FruitwallError, match="expected one of en, es"):
        language_of(asked, environment)


@pytest.mark.parametrize(
    ("typed", "rest", "asked"),
    [
        (["--language", "es", "kind", "mango"], ["kind", "mango"], "es"),
        (["kind", "mango", "--language=es"], ["kind", "mango"], "es"),
        (["kind", "--", "--language"], ["kind", "--", "--language"], None),
        (["kind", "--language"], ["kind"], ""),
        (["--language", "en", "kind", "--language", "es"], ["kind"], "es"),
    ],
)
def test_the_language_may_stand_anywhere(typed: list[str], rest: list[str], asked: str | None):
    assert without_language(typed) == (rest, asked)


@pytest.fixture
def said(run: Run, monkeypatch: pytest.MonkeyPatch):  # noqa: F811
    """Run a command in the language of brackets; give what it leaves in English."""

    # Test workers say 80 columns, a shell says nothing: an address is parted at the same letter in both.
    monkeypatch.setenv("COLUMNS", "100")

    def call(*arguments: object, names: set[str] = frozenset()) -> str:  # type: ignore[assignment]
        with bracketing(monkeypatch):
            printed = run(*arguments, "--language", "es")
        text = " ".join((printed.out + printed.err).replace("fruitwall:", "").split())
        assert "⟦" in text
        left = words_left(text, typed={*names, *re.findall(r"\S*journal\.db", text)})
        return " ".join(sorted(set(re.findall(r"[^\W\d_]{3,}", left))))

    return call


@pytest.mark.parametrize("problem", BROKEN_YARDS)
def test_a_yard_that_is_wrong_is_told_without_english(said, tmp_path: Path, problem: str):
    file = tmp_path / "y.yaml"
    file.write_text(BROKEN_YARDS[problem])

    # What stands in the file, and the names of its fields, stay as they are.
    names = set(re.findall(r"[A-Za-z_]{2,}", SMALL_YARD)) | {"colour", "blue", "yaml", "kg", "ft", "evergreen"}
    names |= {"gear", "circuits", "indoor_places", "people", "shelters", "structures", "kinds", "display", "notes"}
    names |= {"ground", "horizon", "prices", "sensors", "water"}
    assert said("yard", "check", file, names=names) == ""


def test_a_good_yard_is_told_without_english(said, tmp_path: Path):
    file = tmp_path / "y.yaml"
    file.write_text(SMALL_YARD)

    assert said("yard", "check", file, names=set(re.findall(r"\w{2,}", SMALL_YARD)) | {"yaml"}) == ""


def test_refusals_are_told_without_english(said):
    assert said("tonight", "--date", "soon") == ""
    assert said("schema", "nothing", names={"nothing", "yard", "evening"}) == ""
    assert said("kind", "xyzzyxyzzy", names={"xyzzyxyzzy"}) == ""


@pytest.mark.parametrize("key", ["mangifera-indica", "prunus-persica", "musa-balbisiana"])
def test_a_kind_is_told_without_english(said, key: str):
    document = describe_kind(key, catalogue())
    taxon = catalogue().find(key)
    origins = [row.origin for row in (*document.statements, *document.habits, *document.heats)]
    names = {*document.english, *document.spanish, *document.synonyms, *document.cultivars}
    names |= {document.scientific, document.family, (taxon.acclimation_source or "").partition(":")[0]}
    sources = {" ".join(cited(origin).split()) for origin in origins}
    # An address is longer than a line and is parted at its end.
    names |= sources | {word for one in sources if "://" in one for word in re.findall(r"[^\W\d_]{3,}", one)}

    assert said("kind", key, "--unit", "F", names=names) == ""


def test_gear_is_told_without_english(said):
    document = describe_gear()
    rows = [row for group in document.containers for row in group.rows] + list(document.covers)
    cited_ones = {" ".join(cited(origin).split()) for row in rows for origin in row.origins}

    assert said("gear", names=cited_ones) == ""


def test_documents_are_the_same_in_every_language(run: Run):  # noqa: F811
    for command in (["kind"], ["kind", "mango"], ["gear"]):
        english, spanish = run(*command, "--json"), run(*command, "--json", "--language", "es")
        assert json.loads(english.out) == json.loads(spanish.out)


def test_a_kind_in_spanish_reads_as_spanish(run: Run):  # noqa: F811
    printed = run("--language", "es", "kind", "mango").out

    assert printed.startswith("Mango, Mangifera indica (Anacardiaceae)\nInglés: mango.\n")
    assert "−3,3 °C" in " ".join(printed.split())
    assert "Nota nuestra:" in printed
