"""What was typed: the moment, the yard, the journal and the tree that a command is asked for."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from fruitwall.cli.told import tell_warnings
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal
    from fruitwall.service.yards import CheckedYard
    from fruitwall.yard.model import Yard


def present() -> datetime:
    """Give the present moment: the only clock of the program."""
    return datetime.now(UTC)


def contact() -> str:
    """Give the address that weather services may write to, if the user named one (FRUITWALL_CONTACT)."""
    return os.environ.get("FRUITWALL_CONTACT") or "no contact given"


def moment_asked(now: str | None, night: str | None, yard: Yard | None) -> tuple[datetime, date | None]:
    """Read --now and --date; a past --date without --now is planned from three in the afternoon of that day."""
    from zoneinfo import ZoneInfo

    from fruitwall.service.nights import tonight as tonight_of

    zone = ZoneInfo(yard.location.time_zone if yard is not None else "UTC")
    day: date | None = None
    if night is not None:
        try:
            day = date.fromisoformat(night)
        except ValueError:
            refuse(say('--date: expected a date such as 2026-12-22, got "{night}"', night=night))
    if now is not None:
        try:
            given = datetime.fromisoformat(now)
        except ValueError:
            refuse(say('--now: expected a moment such as 2026-12-22T15:00, got "{now}"', now=now))
        return (given if given.tzinfo else given.replace(tzinfo=zone)), day
    here = present().astimezone(zone)
    if day is not None and yard is not None and day < tonight_of(yard.location, here):
        return datetime(day.year, day.month, day.day, 15, tzinfo=zone), day
    return here, day


def find_yard(given: str | None, journal: Journal | None) -> tuple[CheckedYard, Any]:
    """Give the yard of a file, or of the journal with its version there."""
    from fruitwall.service.yards import CheckedYard, check_yard_file, load_yard

    if given is not None and is_file(given):
        checked = check_yard_file(Path(given), today=present().date())
        tell_warnings(checked)
        return checked, None
    assert journal is not None
    yard, version = load_yard(journal, given)
    return CheckedYard(yard, version.text, ()), version


def is_file(given: str) -> bool:
    """Tell a file from a name: names of yards do not end in .yaml."""
    return given.endswith((".yaml", ".yml")) or Path(given).is_file()


@contextmanager
def open_journal(database: str | None) -> Iterator[Journal]:
    """Open the journal that was named, or the user's own."""
    from fruitwall.journal.location import choose_database
    from fruitwall.journal.opening import open_journal

    with open_journal(choose_database(database, os.environ)) as journal:
        yield journal


@contextmanager
def journal_if_needed(yard: str | None, database: str | None) -> Iterator[Journal | None]:
    """Open the journal unless the yard comes from a file: then nothing is written anywhere."""
    if yard is not None and is_file(yard):
        yield None
        return
    with open_journal(database) as journal:
        yield journal


def tree_named(name: str, yard: Yard) -> str:
    """Give the identifier of the tree that --explain names, before any work is done."""
    from fruitwall.yard.near_names import near_names

    wanted = name.casefold()
    for tree in yard.trees:
        if wanted in (tree.id, tree.name.casefold()):
            return tree.id
    near = near_names(name, [known for tree in yard.trees for known in (tree.id, tree.name)])
    refuse(
        say('no tree named "{name}" in this yard', name=name)
        + (say("; near names: {names}", names=", ".join(near)) if near else "")
    )


def refuse(message: str) -> NoReturn:
    """Say what is wrong with the input, and leave with status 2."""
    from fruitwall.errors import FruitwallError

    raise FruitwallError(message)
