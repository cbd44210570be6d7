"""Whatever the program says is said in Spanish as well."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import fruitwall
from fruitwall.said import amiss, said_in

FOR_PEOPLE = {
    *("YardFileError", "UnknownTaxonError", "WeatherError", "SourceUnavailable", "PlanError", "JournalError"),
    *("NoYard", "YardMoved", "EntryConflict", "TooSoon", "PictureRefused", "EditRefused"),
}
"""Errors whose text is shown to whoever caused them."""


def test_every_message_is_translated_and_none_is_stale():
    assert amiss(said_in(), "es") == []


def own_words(given: ast.expr) -> str:
    """Give the letters that an argument holds itself, outside what is filled in and what is said."""
    parts = given.values if isinstance(given, ast.JoinedStr) else [given]
    return "".join(
        letter for part in parts if isinstance(part, ast.Constant) for letter in str(part.value) if letter.isalpha()
    )


def test_no_error_for_people_speaks_english_by_itself():
    root = Path(fruitwall.__file__).parent
    found = [
        f"{file.relative_to(root)}:{call.lineno}"
        for file in sorted(root.rglob("*.py"))
        for call in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in FOR_PEOPLE
        if call.args and own_words(call.args[0])
    ]

    assert found == []


@pytest.fixture
def package(tmp_path: Path) -> Path:
    """A little package with one page and a few faults in its translations."""
    (tmp_path / "locale" / "es").mkdir(parents=True)
    (tmp_path / "a.py").write_text(
        'say("a" if few else "b")\nsay_count("{count} tree", "{count} trees", 2)\nX = marked("of " "data")\nsay(X)\n'
    )
    (tmp_path / "page.html").write_text('<p>{{ _("by {name}", name=x) }}</p>')
    return tmp_path


def translated(package: Path, text: str) -> list[str]:
    head = (
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\nPlural-Forms: nplurals=2; plural=(n != 1);\\n"\n'
    )
    (package / "locale" / "es" / "fruitwall.po").write_text(head + text, encoding="utf-8")
    return amiss(said_in(package), "es", package)


WHOLE = """
msgid "a"
msgstr "á"

msgid "b"
msgstr "bé"

msgid "{count} tree"
msgid_plural "{count} trees"
msgstr[0] "un árbol"
msgstr[1] "{count} árboles"

msgid "of data"
msgstr "de datos"

msgid "by {name}"
msgstr "por {name}"
"""


def test_a_whole_translation_has_no_fault(package):
    assert translated(package, WHOLE) == []


@pytest.mark.parametrize(
    ("right", "wrong", "told"),
    [
        ('msgid "b"\nmsgstr "bé"\n', "", "not translated: 'b'"),
        ('msgstr "de datos"', 'msgstr ""', "empty or fuzzy: 'of data'"),
        ('msgid "of data"', '#, fuzzy\nmsgid "of data"', "empty or fuzzy: 'of data'"),
        ("por {name}", "por {nombre}", "other places than in English: 'por {nombre}'"),
        ("{count} árboles", "{n} árboles", "other places than in English: '{n} árboles'"),
        ('msgid "a"', 'msgid "old"\nmsgstr "viejo"\n\nmsgid "a"', "nobody says 'old'"),
    ],
)
def test_each_fault_is_told(package, right, wrong, told):
    faults = translated(package, WHOLE.replace(right, wrong))
    assert len(faults) == 1
    assert told in faults[0]


def test_texts_of_data_files_are_messages_without_the_keys_of_their_sources(package):
    (package / "plants" / "data").mkdir(parents=True)
    (package / "plants" / "data" / "taxa.yaml").write_text(
        '- {key: a, acclimation_source: "doe_2001: hardier in winter"}\n- {key: b}\n', encoding="utf-8"
    )
    said = said_in(package)
    assert said["hardier in winter", None] == "plants/data/taxa.yaml, entry 1"
    assert any("not translated: 'hardier in winter'" in fault for fault in translated_of(said, package))


def translated_of(said, package: Path) -> list[str]:
    (package / "locale" / "es" / "fruitwall.po").write_text('msgid ""\nmsgstr ""\n', encoding="utf-8")
    return amiss(said, "es", package)
