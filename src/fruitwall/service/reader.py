"""A plan as somebody reads it: its sentences in the reader's language and units.

A plan is made once, in English and in the units of the yard file, and kept. With it stands what made each of its
sentences, so that they can be said again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel

from fruitwall.service.evening_document import AmountOf, EveningPlan, ForecastSummary, Limit, PhraseOf, WayOut
from fruitwall.service.household import Household
from fruitwall.service.kept import Kept
from fruitwall.speech import Amount, Book, Phrase, language, writing

Part = TypeVar("Part", bound=BaseModel)

SENTENCES = {
    "verdict", "reason", "runner_up", "measure_name", "what", "person", "steps", "cautions", "warnings", "notes",
    "why", "one_more", "label", "value", "note", "following_nights", "unit",
}  # fmt: skip
"""Fields that hold what a person reads."""

TYPED = {"name", "person"}
"""Fields in which names stand that somebody may have typed."""

WORDS = {"safe", "watch", "danger", "deadly"}
"""A tree's verdict is a key, not a sentence."""


def with_phrases(plan: EveningPlan, book: Book) -> EveningPlan:
    """Give a plan with what made its sentences.

    Parameters
    ----------
    plan : EveningPlan
    book : Book
        Noted while it was made.
    """
    about = book.about([text for _, text in _texts(plan)])
    return plan.model_copy(update={"phrases": {text: _written(phrase) for text, phrase in about.phrases.items()}})


def book_of(plan: EveningPlan) -> Book:
    """Give what made the sentences of a plan."""
    return book_from(plan.phrases)


def book_from(phrases: Mapping[str, PhraseOf]) -> Book:
    """Give what made some sentences, as a plan's document holds it."""
    return Book({text: _read(phrase) for text, phrase in phrases.items()})


def part_for_reader(plan: EveningPlan, part: Part, reader: Household) -> Part:
    """Say a part of a plan, such as one tree, for somebody; the whole takes longer.

    Parameters
    ----------
    plan : EveningPlan
        With what made its sentences.
    part : Document
        Of this plan.
    reader : Household
        Units in which it is read.

    Returns
    -------
    Document
        A copy.
    """
    with writing(reader.again):
        said: Part = _said(part, book_of(plan))
    return said


def plan_for_reader(plan: EveningPlan, reader: Household, own: Household) -> EveningPlan:
    """Say a plan for somebody, in the language in force.

    Parameters
    ----------
    plan : EveningPlan
    reader : Household
        Units and zone in which it is read.
    own : Household
        Units in which it was made.

    Returns
    -------
    EveningPlan
        The same one if nothing is to be changed; the same one again whenever this plan is said for such a reader.
    """
    if language() == "en" and reader == own:
        return plan

    def say_again() -> EveningPlan:
        with writing(reader.again):
            said: EveningPlan = _said(plan, book_of(plan))
        return said

    return _SAID.of(plan, key=(language(), reader, own), make=say_again)


def forecast_for_reader(document: Mapping[str, Any]) -> ForecastSummary:
    """Say source and warnings of a stored plan's forecast in the language in force; the rest of the plan is not read.

    Parameters
    ----------
    document : mapping
        A plan's document, also one of an earlier version of the program.

    Returns
    -------
    ForecastSummary

    Raises
    ------
    KeyError, ValidationError
        If it holds no forecast.
    """
    forecast = ForecastSummary.model_validate(document["forecast"])
    if language() == "en":
        return forecast
    written, needed = document.get("phrases") or {}, {}
    open_ = [forecast.source, *forecast.warnings]
    while open_:
        text = open_.pop()
        if text in written and text not in needed:
            needed[text] = PhraseOf.model_validate(written[text])
            open_ += [value for value in needed[text].values.values() if isinstance(value, str)]
    book = book_from(needed)
    said = {"source": book.said(forecast.source), "warnings": [book.said(text) for text in forecast.warnings]}
    return forecast.model_copy(update=said)


_SAID: Kept[EveningPlan] = Kept(24)
"""Plans as they were said: a large one has thousands of sentences. Enough for some nights in a few languages."""


def _said(part: Any, book: Book) -> Any:
    """Say a part of a plan and all that is within it."""
    changed: dict[str, Any] = {}
    for name in type(part).model_fields:
        value = getattr(part, name)
        if _is_said(part, name) and value not in WORDS if isinstance(value, str) else _is_said(part, name):
            typed = name in TYPED
            changed[name] = (
                [book.said(text, typed=typed) for text in value]
                if isinstance(value, list)
                else value and book.said(value, typed=typed)
            )
        elif isinstance(value, BaseModel):
            changed[name] = _said(value, book)
        elif isinstance(value, list) and value and isinstance(value[0], BaseModel):
            changed[name] = [_said(one, book) for one in value]
    return part.model_copy(update=changed) if changed else part


def _is_said(part: BaseModel, name: str) -> bool:
    return (
        name in SENTENCES
        or (name == "name" and isinstance(part, Limit | WayOut))
        or (name == "source" and isinstance(part, ForecastSummary))
    )


def _texts(part: BaseModel) -> Iterator[tuple[str, str]]:
    for name in type(part).model_fields:
        value = getattr(part, name)
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, BaseModel):
                yield from _texts(one)
            elif isinstance(one, str) and _is_said(part, name):
                yield name, one


def _written(phrase: Phrase) -> PhraseOf:
    values = {
        name: AmountOf(text=str(value), kind=value.kind, parts=list(value.parts))
        if isinstance(value, Amount)
        else value
        for name, value in phrase.values.items()
    }
    return PhraseOf(
        template=phrase.template, many=phrase.many, count=phrase.count, values=values, capital=phrase.capital
    )


def _read(phrase: PhraseOf) -> Phrase:
    values = {
        name: Amount(value.text, value.kind, *value.parts) if isinstance(value, AmountOf) else value
        for name, value in phrase.values.items()
    }
    return Phrase(phrase.template, phrase.many, phrase.count, values, phrase.capital)
