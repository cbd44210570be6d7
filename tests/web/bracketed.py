"""A language made for tests, in which everything the translations know stands in brackets.

Where it is spoken, "cover with {cover}" is said as "⟦cover with ⟧{cover}": whatever a page shows outside brackets was
written into the program, or its translation is missing. What somebody typed is told to the finder; what is marked as
another language (``lang``) or as not to be translated (``translate="no"``) and commands (``<code>``) are passed over.

    with bracketing(monkeypatch), speaking("es"):   # a client asks with {"accept-language": "es"} instead of speaking
        text = client.get("/", headers={"accept-language": "es"}).text
    assert unbracketed(text, typed=typed_in(yard)) == []
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import Any

import pytest
from pydantic import BaseModel

from fruitwall import speech
from tests.web.markup import Element, read_page

OPEN, CLOSE = "\N{MATHEMATICAL LEFT WHITE SQUARE BRACKET}", "\N{MATHEMATICAL RIGHT WHITE SQUARE BRACKET}"
SAID = re.compile(f"{OPEN}[^{CLOSE}]*{CLOSE}")
PLACE = re.compile(r"\{\w+\}")
"""Where a script puts a value into a sentence."""
WORD = re.compile(r"[^\W\d_]{2,}")

UNITS = (
    "g/m²",
    "W/(m²\N{NO-BREAK SPACE}K)",
    *(
        "W/m²",
        "m/s",
        "min",
        "h",
        "s",
        "kWh",
        "Wh",
        "kW",
        "W",
        "V",
        "A",
        "N",
        "MB",
        "kB",
        "ft",
        "in",
        "lb",
        "gal",
        "mph",
    ),
    *("mm²", "mm", "cm", "km", "m", "kg", "g", "L", "K", "°C", "°F", "hPa"),
)
"""The longer before what they begin with."""
AMOUNT = re.compile(rf"(?<=\d)[\s\xa0]*(?:{'|'.join(map(re.escape, UNITS))})(?![^\W\d_])")
CURRENCY = re.compile(r"\b(?:USD|EUR|MXN)\b")

SHOWN_ATTRIBUTES = ("aria-label", "title", "alt", "placeholder", "aria-description", "aria-roledescription", "label")
UNSEEN = {"script", "style", "code"}
TYPED_FIELDS = {"name", "cultivar", "taxon", "note", "notes"}


class _Brackets(Mapping[tuple[str, int], str]):
    """Every message that the Spanish translations know, in English and in brackets."""

    def __init__(self) -> None:
        self.known = _messages()

    def __getitem__(self, key: tuple[str, int]) -> str:
        return self.known[key]

    def __iter__(self) -> Iterator[tuple[str, int]]:
        return iter(self.known)

    def __len__(self) -> int:
        return len(self.known)


@cache
def _messages() -> dict[tuple[str, int], str]:
    from babel.messages.pofile import read_po

    found = {}
    with files("fruitwall").joinpath("locale", "es", "fruitwall.po").open("rb") as file:
        for message in read_po(file, locale="es"):
            if message.id and message.string:
                texts = [message.id] if isinstance(message.id, str) else message.id
                found |= {(texts[0], number): in_brackets(text) for number, text in enumerate(texts)}
    return found


def in_brackets(template: str) -> str:
    """Put what a template itself says into brackets; what is put into its places stays outside."""
    parts = []
    for text, name, spec, conversion in Formatter().parse(template):
        if text:
            escaped = text.replace("{", "{{").replace("}", "}}")
            parts.append(f"{OPEN}{escaped}{CLOSE}" if WORD.search(text) else escaped)
        if name is not None:
            parts.append("{" + name + (f"!{conversion}" if conversion else "") + (f":{spec}" if spec else "") + "}")
    return "".join(parts)


class _AsWritten(_Brackets):
    """As `_Brackets`; a text that is said without values is no template: its braces are not doubled."""

    def __getitem__(self, key: tuple[str, int]) -> str:
        text = self.known[key]
        return text if has_places(key[0]) else text.replace("{{", "{").replace("}}", "}")


def has_places(template: str) -> bool:
    """Tell whether a message has places for values."""
    return any(name is not None for _, name, _, _ in Formatter().parse(template))


@contextmanager
def bracketing(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Have Spanish said in English and in brackets, until the end of the block."""
    with monkeypatch.context() as patched:
        patched.setattr(speech, "_catalogue", lambda _code: brackets)
        brackets = _AsWritten()
        yield


@cache
def _names_of_dates() -> frozenset[str]:
    """Give the words of which Babel makes Spanish dates."""
    from babel.dates import get_day_names, get_month_names

    names = {"de"}
    for width in ("wide", "abbreviated"):
        names |= set(get_day_names(width, locale="es").values()) | set(get_month_names(width, locale="es").values())
    return frozenset(name.rstrip(".") for name in names)


def typed_in(*models: BaseModel) -> set[str]:
    """Collect what somebody typed into a yard or another document: names, cultivars, taxa and notes."""
    found: set[str] = set()
    for model in models:
        _collect(model, found)
    return found


def _collect(value: Any, found: set[str]) -> None:
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            inner = getattr(value, name)
            if isinstance(inner, str) and name in TYPED_FIELDS:
                found.add(inner)
            _collect(inner, found)
    elif isinstance(value, list | tuple):
        for inner in value:
            _collect(inner, found)
    elif isinstance(value, dict):
        _collect(list(value.values()), found)


def words_left(text: str, typed: Iterable[str] = ()) -> str:
    """Give what of a text is in no brackets, was typed by nobody, and is no number, unit or Spanish date.

    Parameters
    ----------
    text : str
        As a reader sees it.
    typed : iterable of str
        What people typed; it may stand with a capital.

    Returns
    -------
    str
        Empty if all is said.
    """
    text = PLACE.sub("", SAID.sub(" \N{MIDDLE DOT} ", text))
    for name in sorted({one.strip() for one in typed if WORD.search(one)}, key=len, reverse=True):
        text = re.sub(rf"(?<![^\W_]){re.escape(name)}(?![^\W_])", " \N{MIDDLE DOT} ", text, flags=re.IGNORECASE)
    text = CURRENCY.sub("", AMOUNT.sub("", text))
    left = [word for word in WORD.findall(text) if word.lower() not in _names_of_dates()]
    return " ".join(text.split()) if left and not set(left) <= set(UNITS) - {"in", "min"} else ""


def unbracketed(html: str, typed: Iterable[str] = ()) -> list[str]:
    """Give every visible text of a page that is not said in the language of its reader.

    Parameters
    ----------
    html : str
        A page that was made while brackets were spoken.
    typed : iterable of str
        What people typed.

    Returns
    -------
    list of str
        Where each stands and what of it is left, empty if all is said. Attributes that a reader sees or hears count,
        and what scripts say (``data-words``).
    """
    typed = list(typed)
    found: list[str] = []
    root = read_page(html)
    page = next(root.all("html"), root)
    spoken = page.attributes.get("lang", "es")

    def look(element: Element, place: str) -> None:
        lang = element.attributes.get("lang", spoken)
        if element.name in UNSEEN or lang != spoken or element.attributes.get("translate") == "no":
            return
        here = f"{place}>{element.name}" + "".join(f".{one}" for one in sorted(element.classes))
        for name, value in _shown_attributes(element):
            note(f"{here}[{name}]", value)
        # A word may be parted from its neighbours by elements within a line, so each text is looked at alone.
        for part in element.inside:
            if isinstance(part, str):
                note(here, part)
            else:
                look(part, here)

    def note(place: str, text: str) -> None:
        left = words_left(text, typed)
        if left:
            found.append(f"{'>'.join(place.split('>')[-3:])}: {left}")

    look(page, "")
    return list(dict.fromkeys(found))


def _shown_attributes(element: Element) -> Iterator[tuple[str, str]]:
    """Give the attributes that somebody sees or hears."""
    values = element.attributes
    yield from ((name, values[name]) for name in SHOWN_ATTRIBUTES if name in values)
    if element.name == "input" and values.get("type") in ("submit", "button", "reset"):
        yield "value", values.get("value", "")
    if element.name == "meta" and values.get("name") == "description":
        yield "content", values.get("content", "")
    for name, value in values.items():
        if name.startswith("data-word"):
            yield from ((name, text) for text in _texts_of_json(value))


def _texts_of_json(text: str) -> Iterator[str]:
    """Give the texts in JSON, or the text itself if it is none."""
    try:
        value = json.loads(text)
    except ValueError:
        yield text
        return
    open_ = [value]
    while open_:
        one = open_.pop()
        if isinstance(one, str):
            yield one
        elif isinstance(one, dict):
            open_ += one.values()
        elif isinstance(one, list):
            open_ += one
