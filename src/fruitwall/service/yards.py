"""Yards: checking a file, keeping it in the journal, giving it back as it was."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from fruitwall.errors import YardFileError
from fruitwall.service.kept import Kept
from fruitwall.service.treatments import unknown_kinds
from fruitwall.yard.file import ExaminedYard, examine_yard, parse_yard, read_yard_text
from fruitwall.yard.zones import zone_doubts

if TYPE_CHECKING:
    from fruitwall.journal.entries import YardVersion
    from fruitwall.journal.store import Journal
    from fruitwall.yard.model import Yard


@dataclass(frozen=True, eq=False)
class CheckedYard:
    """A yard file that holds, with what its owner should still look at."""

    yard: Yard
    text: str
    warnings: tuple[str, ...]


def examine_yard_text(text: str, name: str = "yard.yaml", *, today: date | None = None) -> ExaminedYard:
    """Examine a yard file's text whole: its form, its sense, and that every kind of tree is known."""
    return examine_yard(text, name, today=today, also=lambda yard: [*unknown_kinds(yard), *zone_doubts(yard)])


def check_yard_text(text: str, name: str = "yard.yaml", *, today: date | None = None) -> CheckedYard:
    """Check a yard file's text whole: its form, its sense, and that every kind of tree is known.

    Raises
    ------
    YardFileError
        With every problem at once.
    """
    examined = examine_yard_text(text, name, today=today)
    if examined.yard is None:
        raise YardFileError(examined.errors)
    return CheckedYard(examined.yard, text, tuple(examined.warnings))


def check_yard_file(path: Path, *, today: date | None = None) -> CheckedYard:
    """Check a yard file whole.

    Raises
    ------
    YardFileError
        If the file cannot be read, or with every problem in it.
    """
    return check_yard_text(read_yard_text(path), path.name, today=today)


def import_yard(journal: Journal, checked: CheckedYard, *, now: datetime, author: str) -> YardVersion:
    """Keep a checked yard file as the newest version of the yard of its name."""
    return journal.store_yard(checked.text, name=checked.yard.name, now=now, author=author)


def load_yard(journal: Journal, name: str | None = None) -> tuple[Yard, YardVersion]:
    """Give the newest version of a yard, and the file it was read from."""

    def load() -> tuple[Yard, YardVersion]:
        version = journal.current_yard(name)
        return parse_version(version), version

    return _LOADED.of(journal, key=(name, journal.state()), make=load)


_LOADED: Kept[tuple[Yard, YardVersion]] = Kept(8)
"""Yards as they were read last: every page asks for one several times."""


@lru_cache(maxsize=8)
def _yard_of(text: str, name: str) -> Yard:
    """Read a yard, once for each version: reading takes half a second, and a yard does not change."""
    return parse_yard(text, name)


def parse_version(version: YardVersion) -> Yard:
    """Read one version of a yard, whichever it is."""
    return _yard_of(version.text, f"{version.yard} (version {version.number})")
