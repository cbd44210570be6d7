"""Sentences are said in the language of who reads them, also those that were made for somebody else."""

from __future__ import annotations

import pytest

from fruitwall import speech
from fruitwall.speech import Book, noting, preferred_language, say, say_again, say_count, say_list, speaking


@pytest.fixture(autouse=True)
def spanish(monkeypatch: pytest.MonkeyPatch) -> None:
    """A little Spanish, whatever the catalogue holds."""
    known = {
        ("cover with {cover}", 0): "cubrir con {cover}",
        ("fleece", 0): "velo",
        ("{count} tree in {place}", 0): "{count} árbol en {place}",
        ("{count} tree in {place}", 1): "{count} árboles en {place}",
        ("{parts} and {last}", 0): "{parts} y {last}",
    }
    monkeypatch.setattr(speech, "_catalogue", lambda _code: known)


def test_english_is_spoken_unless_another_language_is_in_force():
    assert say("cover with {cover}", cover="fleece") == "cover with fleece"
    with speaking("es-MX"):
        assert say("cover with {cover}", cover="x") == "cubrir con x"
    assert say("cover with {cover}", cover="x") == "cover with x"


def test_a_language_that_is_not_known_is_english():
    with speaking("tlh"):
        assert say("cover with {cover}", cover="x") == "cover with x"


@pytest.mark.parametrize(("count", "told"), [(0, "0 árboles en A"), (1, "1 árbol en A"), (7, "7 árboles en A")])
def test_a_count_takes_its_plural(count, told):
    with speaking("es"):
        assert say_count("{count} tree in {place}", "{count} trees in {place}", count, place="A") == told


def test_a_sentence_of_a_book_is_said_again_with_what_stands_in_it():
    with noting() as book, speaking("es"):
        pass
    with noting() as book:
        text = say("cover with {cover}", cover=say("fleece"))
        both = say_list([text, say_count("{count} tree in {place}", "{count} trees in {place}", 2, place="A"), "Ana"])

    assert both == "cover with fleece, 2 trees in A and Ana"
    with speaking("es"):
        assert book.said(text) == "cubrir con velo"
        assert book.said(both) == "cubrir con velo, 2 árboles en A y Ana"
        assert book.said("Old mango") == "Old mango"
    assert book.said(both) == both


def test_while_notes_are_taken_english_is_spoken():
    with speaking("es"), noting() as book:
        assert say("fleece") == "fleece"
    assert isinstance(book, Book)


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        ("de,en;q=0.5,es;q=0.4", "en"),
        ("fr;q=0.9", None),
        ("es;q=0,en;q=0.1", "en"),
        ("en;q=oops,es;q=0.2", "es"),
        ("", None),
    ],
)
def test_the_browsers_languages_are_heard_by_their_weight(header, code):
    assert preferred_language(header) == code


def test_braces_in_a_name_stay_what_they_are():
    assert say("cover with {cover}", cover="{0}") == "cover with {0}"
    assert say("a fixed {text}") == "a fixed {text}"


def test_an_amount_in_a_sentence_is_written_anew_for_the_reader():
    with noting() as book:
        text = say("cover with {cover}", cover=speech.quantity(2.5, "m", ".1f"))
    assert text == "cover with 2.5 m"
    with speech.writing(lambda amount: f"{amount.parts[0] / 0.3048:.0f} ft"):
        assert book.said("Cover with 2.5 m.") == "Cover with 8 ft."
    assert book.about([text]).phrases.keys() == {text}


def test_a_sentence_is_kept_by_itself_with_what_stands_in_it_and_its_plural():
    with noting() as book:
        place = say("cover with {cover}", cover="x")
        text = say_count("{count} tree in {place}", "{count} trees in {place}", 3, place=place)
    kept = book.kept(text)

    assert kept == "3 trees in cover with x"
    assert book.kept("unknown") == "unknown"
    with speaking("es"):
        assert say_again(kept) == "3 árboles en cubrir con x"


def test_a_name_that_somebody_typed_stays_although_the_program_knows_the_word():
    with noting() as book:
        text = say("cover with {cover}", cover="fleece")
        said = say("cover with {cover}", cover=speech.marked("fleece"))
    assert text == said
    with noting() as typed:
        say("cover with {cover}", cover="fleece")
    with speaking("es"):
        assert book.said(text) == "cubrir con velo"
        assert typed.said(text) == "cubrir con fleece"
        assert typed.said("fleece", typed=True) == "fleece"
        assert typed.said("fleece") == "velo"


def test_a_capital_is_kept_and_belongs_to_what_was_said():
    with noting() as book:
        text = say("cover with {cover}", cover=speech.note_capital(say("fleece")))
        say("cover with {cover}", cover="Fleece")
    assert text == "cover with Fleece"
    with speaking("es"):
        assert book.said(text) == "cubrir con Velo"


def test_an_amount_that_stands_alone_is_written_anew():
    with noting() as book:
        text = speech.say_amount(speech.quantity(2.5, "m", ".1f"))
    with speech.writing(lambda amount: f"{amount.parts[0] / 0.3048:.0f} ft"):
        assert book.said(text) == "8 ft"
