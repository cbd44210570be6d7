"""Every sentence that a person reads, in the language of who reads it.

A sentence is a template in English with named places, ``say("cover with {cover}", cover=name)``. It is spoken in the
language in force (`speaking`), English unless somebody chose another. Where sentences are made once and read later by
several people, as those of a plan are, a `Book` notes of each which template and values made it, so that it can be
said again in another language.

Templates are found by ``scripts/translations``; what they are in other languages stands in ``locale/``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import Any

LANGUAGES = {"en": "English", "es": "Español"}
"""What can be spoken, each named in itself."""

_language: ContextVar[str] = ContextVar("fruitwall_language", default="en")
_book: ContextVar[Book | None] = ContextVar("fruitwall_book", default=None)
_writer: ContextVar[Callable[[Amount], str] | None] = ContextVar("fruitwall_writer", default=None)


class Marked(str):
    """A text of a table, told apart from what somebody typed; see `marked`."""

    __slots__ = ()


class Amount(str):
    """A number with its unit, a time or a day, as written for one reader; it keeps what another one needs.

    Attributes
    ----------
    kind : str
        How it is written, such as ``temperature``.
    parts : tuple
        What is written: numbers in SI units, or texts.
    """

    __slots__ = ("kind", "parts")
    kind: str
    parts: tuple[float | str, ...]

    def __new__(cls, text: str, kind: str, *parts: float | str) -> Amount:
        """Make it of the text as written and of what is needed to write it anew."""
        made = super().__new__(cls, text)
        made.kind, made.parts = kind, parts
        return made


def quantity(value: float, unit: str, spec: str = ".0f") -> Amount:
    """Write a number in SI units, to be turned into the reader's units when it is said again.

    Parameters
    ----------
    value : float
    unit : str
        ``m``, ``kg``, ``K``, ``°C``; empty for a bare number.
    spec : str
        As `format` takes it.
    """
    number = _Number(value) if language() != "en" else value
    return Amount(f"{number:{spec}} {unit}".rstrip(), "quantity", value, unit, spec)


@contextmanager
def writing(writer: Callable[[Amount], str]) -> Iterator[None]:
    """Write amounts in sentences that are said again as a function does, until the end of the block."""
    token = _writer.set(writer)
    try:
        yield
    finally:
        _writer.reset(token)


@dataclass(frozen=True)
class Phrase:
    """What made a sentence.

    Attributes
    ----------
    template : str
        In English.
    many : str or None
        The plural in English, where the sentence counts something.
    count : int or None
        How many, for the plural.
    values : Mapping
        What stands in the named places; sentences among them are in the book themselves.
    capital : bool
        Whether it begins with a capital where its template does not.
    """

    template: str
    many: str | None = None
    count: int | None = None
    values: Mapping[str, Any] = field(default_factory=dict)
    capital: bool = False


class Book:
    """Which phrase made which English sentence."""

    def __init__(self, phrases: Mapping[str, Phrase] | None = None) -> None:
        self.phrases: dict[str, Phrase] = dict(phrases or {})

    def note(self, text: str, phrase: Phrase) -> None:
        """Note what made a sentence, and which of its values are no names that somebody typed."""
        self.phrases[text] = phrase
        for value in phrase.values.values():
            if isinstance(value, Marked):
                self.phrases.setdefault(str(value), Phrase(str(value)))

    def said(self, text: str, *, typed: bool = False) -> str:
        """Say a sentence of this book, or a fixed one, in the language in force.

        Parameters
        ----------
        text : str
            As it was said in English.
        typed : bool
            Whether somebody may have typed it: then it is said only if it stands in this book as it is, so that
            a sheet named "Frost blanket" keeps its name.

        Returns
        -------
        str
            A text that neither this book nor the translations know stays as it is.
        """
        phrase = self.phrases.get(text)
        if phrase is not None:
            values = {name: self._value(value) for name, value in phrase.values.items()}
            said = _filled(phrase.template, phrase.many, phrase.count, values)
            return capital(said) if phrase.capital else said
        if typed or not text:
            return text
        if (known := translated(text)) != text:
            return known
        # A sentence may have been made of a phrase by a capital and a full stop.
        if text.endswith(".") and (said := self.said(text[:-1])) != text[:-1]:
            return said + "."
        small = text[0].lower() + text[1:]
        if small != text and (small in self.phrases or translated(small) != small):
            return capital(self.said(small))
        return text

    def _value(self, value: Any) -> Any:
        if isinstance(value, Amount):
            writer = _writer.get()
            return writer(value) if writer is not None else value
        return self.said(value, typed=True) if isinstance(value, str) else value

    def same(self, text: str, as_text: str) -> None:
        """Note that a text says the same as another one of this book."""
        if as_text in self.phrases:
            self.phrases[text] = self.phrases[as_text]

    def begun(self, text: str) -> None:
        """Note that a text of this book also occurs with a capital."""
        if text in self.phrases:
            self.phrases.setdefault(capital(text), replace(self.phrases[text], capital=True))

    def kept(self, text: str) -> str:
        """Give a sentence of this book by itself, as `told` makes one; a text that it does not know stays as it is."""
        phrase = self.phrases.get(text)
        if phrase is None:
            return text
        values = {name: str(value) if isinstance(value, Exception) else value for name, value in phrase.values.items()}
        values = {name: self.kept(value) if _is_text(value) else value for name, value in values.items()}
        made = Told(text)
        made.phrase = replace(phrase, values=values)
        return made

    def about(self, texts: Sequence[str]) -> Book:
        """Give a book of what is needed to say some texts again, and no more."""
        kept = Book()
        open_ = list(texts)
        while open_:
            text = open_.pop()
            for key in {text, text[:1].lower() + text[1:], text.removesuffix(".")} | {
                (text[:1].lower() + text[1:]).removesuffix(".")
            }:
                if key in self.phrases and key not in kept.phrases:
                    kept.phrases[key] = self.phrases[key]
                    open_ += [value for value in self.phrases[key].values.values() if _is_text(value)]
        return kept


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and not isinstance(value, Amount)


class Told(str):
    """A sentence in English that is kept and read later, by people of several languages; it knows what made it."""

    __slots__ = ("phrase",)
    phrase: Phrase


def told(template: str, /, **values: Any) -> Told:
    """Make a sentence that is kept beside data, such as a warning of a forecast, and said by `say_again`.

    Parameters
    ----------
    template : str
        In English, as `str.format` takes it.
    **values
        What stands in its places; told sentences among them are said again as well.

    Returns
    -------
    Told
        In English, whatever is spoken now.
    """
    text = Told(template.format(**values) if values else template)
    text.phrase = Phrase(template, values=values)
    return text


def say_again(text: str) -> str:
    """Say a told sentence, or a fixed text, in the language in force; a text that is not known stays as it is."""
    if not isinstance(text, Told):
        return translated(text)
    phrase = replace(text.phrase, values={name: _again(value) for name, value in text.phrase.values.items()})
    return capital(_say(phrase)) if phrase.capital else _say(phrase)


def _again(value: Any) -> Any:
    return say_again(value) if isinstance(value, Told) else value


def capital(text: str) -> str:
    """Begin with a capital, without touching the rest: names stay names."""
    return text[:1].upper() + text[1:]


def note_capital(text: str) -> str:
    """Begin a text that was said with a capital, and tell the book, if there is one."""
    book = _book.get()
    if book is not None:
        book.begun(text)
    return capital(text)


def note_same(text: str, as_text: str) -> str:
    """Tell the book, if there is one, that a text says the same as another; gives the text."""
    book = _book.get()
    if book is not None and text != as_text:
        book.same(text, as_text)
    return text


def language() -> str:
    """Give the language in force, as a code of `LANGUAGES`."""
    return _language.get()


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """Speak a language; one that is not known is English.

    Parameters
    ----------
    code : str
        Such as ``es`` or ``es-MX``.
    """
    token = _language.set(known_language(code) or "en")
    try:
        yield
    finally:
        _language.reset(token)


def known_language(code: str) -> str | None:
    """Give the language that a code or tag means, None if it is not spoken here."""
    short = code.strip().lower().replace("_", "-").split("-")[0]
    return short if short in LANGUAGES else None


def preferred_language(header: str) -> str | None:
    """Give the first language of an ``Accept-Language`` header (RFC 9110, 12.5.4) that is spoken here.

    Parameters
    ----------
    header : str
        Such as ``es-MX,es;q=0.9,en;q=0.8``.

    Returns
    -------
    str or None
        A code of `LANGUAGES`.
    """
    wanted: list[tuple[float, int, str]] = []
    for place, part in enumerate(header.split(",")):
        tag, _, weight = part.partition(";")
        code = known_language(tag)
        if code is None:
            continue
        try:
            value = float(weight.strip().removeprefix("q=")) if weight else 1.0
        except ValueError:
            continue
        if value > 0:
            wanted.append((-value, place, code))
    return min(wanted)[2] if wanted else None


@contextmanager
def noting() -> Iterator[Book]:
    """Note what makes each sentence, until the end of the block; sentences are said in English meanwhile."""
    book = Book()
    noted, spoken = _book.set(book), _language.set("en")
    try:
        yield book
    finally:
        _language.reset(spoken)
        _book.reset(noted)


def say(template: str, /, **values: Any) -> str:
    """Say a sentence.

    Parameters
    ----------
    template : str
        In English, as `str.format` takes it.
    **values
        What stands in its places.

    Returns
    -------
    str
        In the language in force.
    """
    return _say(Phrase(template, values=values))


def say_count(one: str, many: str, count: int, /, **values: Any) -> str:
    """Say a sentence that counts something.

    Parameters
    ----------
    one, many : str
        The sentence for one and for any other number; ``{count}`` stands for the number.
    count : int
    **values
        What else stands in its places.

    Returns
    -------
    str
        In the language in force.
    """
    return _say(Phrase(one, many, count, values))


def say_list(parts: Sequence[str]) -> str:
    """Say things one after the other: "a", "a and b", "a, b and c"."""
    if not parts:
        return ""
    said = parts[0]
    for place, part in enumerate(parts[1:], start=2):
        said = say("{parts} and {last}" if place == len(parts) else "{parts}, {last}", parts=said, last=part)
    return said


def say_either(parts: Sequence[str]) -> str:
    """Say things of which one is meant: "a", "a or b", "a or b or c"."""
    said = parts[0] if parts else ""
    for part in parts[1:]:
        said = say("{parts} or {last}", parts=said, last=part)
    return said


def say_chain(parts: Sequence[str], mark: str = ";") -> str:
    """Say things one after the other, parted by ";" or ","."""
    said = parts[0] if parts else ""
    for part in parts[1:]:
        said = say("{parts}; {last}" if mark == ";" else "{parts}, {last}", parts=said, last=part)
    return said


def _say(phrase: Phrase) -> str:
    text = _filled(phrase.template, phrase.many, phrase.count, phrase.values)
    book = _book.get()
    if book is not None:
        book.note(text, phrase)
    return text


def _filled(template: str, many: str | None, count: int | None, values: Mapping[str, Any]) -> str:
    values = _spoken(values)
    if many is None or count is None:
        found = translated(template)
        return found.format(**values) if values else found
    return _translated_count(template, many, count).format(count=count, **values)


class _Number(float):
    """A number that is written with the decimal mark of Spanish."""

    def __format__(self, spec: str) -> str:
        return super().__format__(spec).replace(".", ",")


def _spoken(values: Mapping[str, Any]) -> Mapping[str, Any]:
    """Give values whose bare numbers are written as the language in force writes them."""
    if language() == "en" or not any(type(value) is float for value in values.values()):
        return values
    return {name: _Number(value) if type(value) is float else value for name, value in values.items()}


def say_amount(amount: str) -> str:
    """Note an amount that stands alone, so that it is written anew for the next reader; gives it as it is."""
    return _say(Phrase("{amount}", values={"amount": amount}))


def marked(text: str) -> str:
    """Mark a text of a table as one that is said later, so that ``scripts/translations`` finds it."""
    return Marked(text)


def translated(text: str) -> str:
    """Give a fixed text in the language in force; itself where there is no translation."""
    code = language()
    return text if code == "en" else _catalogue(code).get((text, 0)) or text


def _translated_count(one: str, many: str, count: int) -> str:
    # English and Spanish share the rule: one, and any other number.
    code = language()
    plain = one if count == 1 else many
    return plain if code == "en" else _catalogue(code).get((one, 0 if count == 1 else 1)) or plain


@cache
def _catalogue(code: str) -> Mapping[tuple[str, int], str]:
    """Read the translations of a language, by English text and number."""
    from babel.messages.pofile import read_po

    place = files("fruitwall").joinpath("locale", code, "fruitwall.po")
    found: dict[tuple[str, int], str] = {}
    with place.open("rb") as file:
        for message in read_po(file, locale=code):
            if not message.id or message.fuzzy:
                continue
            if isinstance(message.id, str):
                found[message.id, 0] = str(message.string)
            else:
                for number, text in enumerate(message.string or ()):
                    found[message.id[0], number] = text
    return found
