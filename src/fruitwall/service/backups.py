"""When a backup was made last."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fruitwall.journal.ledger import Ledger

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal

MADE = "backup_made"
"""Setting of every yard of a journal: when and by whom its last backup was made."""

LONG_AGO = timedelta(days=30)
"""From then on a new one is advised. Our judgement."""


@dataclass(frozen=True)
class LastBackup:
    """The last backup.

    Attributes
    ----------
    at : datetime
    author : str
    """

    at: datetime
    author: str

    def is_old(self, now: datetime) -> bool:
        """Tell whether a new one is advised."""
        return now - self.at > LONG_AGO


def note_backup(journal: Journal, *, author: str, now: datetime) -> None:
    """Note that a backup was made and read again; nothing is noted where there is no yard yet.

    Parameters
    ----------
    journal : Journal
    author : str
    now : datetime, aware
    """
    for yard in journal.yards():
        Ledger(journal, yard.name).set(MADE, {"at": now.isoformat(), "author": author}, author=author, now=now)


def last_backup(journal: Journal) -> LastBackup | None:
    """Give the last backup of all yards; None where none is known."""
    found = []
    for yard in journal.yards():
        told = Ledger(journal, yard.name).setting(MADE)
        if isinstance(told, dict):
            try:
                found.append(LastBackup(datetime.fromisoformat(str(told["at"])), str(told["author"])))
            except (KeyError, ValueError):
                continue
    return max(found, key=lambda one: one.at, default=None)
