"""A page as a tree of elements, made with the standard library's parser."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "input", "br", "img", "hr"}


@dataclass
class Element:
    """One element with what is in it."""

    name: str
    attributes: dict[str, str]
    inside: list[Element | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """All text in it, white space joined, none before punctuation."""
        parts = [part if isinstance(part, str) else part.text for part in self.inside]
        joined = " ".join(" ".join(parts).replace("\xa0", " ").split())
        return re.sub(r" ([;,.])", r"\1", joined)

    @property
    def classes(self) -> set[str]:
        """Its classes."""
        return set(self.attributes.get("class", "").split())

    def all(self, name: str | None = None, *, cls: str | None = None, id: str | None = None) -> Iterator[Element]:
        """Go through all elements in it, outermost first."""
        for part in self.inside:
            if isinstance(part, str):
                continue
            fits = name in (None, part.name) and (cls is None or cls in part.classes)
            if fits and (id is None or part.attributes.get("id") == id):
                yield part
            yield from part.all(name, cls=cls, id=id)

    def one(self, name: str | None = None, *, cls: str | None = None, id: str | None = None) -> Element:
        """Give the only such element."""
        found = list(self.all(name, cls=cls, id=id))
        assert len(found) == 1, f"{len(found)} elements {name} class={cls} id={id}"
        return found[0]


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.root = Element("", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = self._add(tag, attrs)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._add(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        closed = self.open.pop()
        assert closed.name == tag, f"</{tag}> closes <{closed.name}>"

    def handle_data(self, data: str) -> None:
        self.open[-1].inside.append(data)

    def _add(self, tag: str, attrs: list[tuple[str, str | None]]) -> Element:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"<{tag}> has an attribute twice: {names}"
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].inside.append(element)
        return element


def read_page(text: str) -> Element:
    """Parse a page; an element that is closed wrongly fails the test."""
    builder = _Builder()
    builder.feed(text)
    builder.close()
    assert builder.open == [builder.root], f"left open: {[element.name for element in builder.open[1:]]}"
    return builder.root
