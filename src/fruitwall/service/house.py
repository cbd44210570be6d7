"""One household: its journal, its pictures, its clock, and which yard is meant."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fruitwall.errors import NoYard
from fruitwall.service.yards import load_yard

if TYPE_CHECKING:
    from fruitwall.journal.accounts import Accounts
    from fruitwall.journal.entries import YardVersion
    from fruitwall.journal.ledger import Ledger
    from fruitwall.journal.photos import PhotoFolder
    from fruitwall.journal.store import Journal
    from fruitwall.yard.model import Yard


@dataclass(frozen=True)
class House:
    """What every use case of the pages needs.

    Attributes
    ----------
    journal : Journal
        Open for as long as the house is used.
    yard_name : str or None
        Which yard; None where there is only one, or none yet.
    clock : callable
        Gives the present moment, aware.
    photos : PhotoFolder
    """

    journal: Journal
    yard_name: str | None
    clock: Callable[[], datetime]
    photos: PhotoFolder

    @property
    def ledger(self) -> Ledger:
        """What happened in the yard."""
        from fruitwall.journal.ledger import Ledger

        return Ledger(self.journal, self.yard_name)

    @property
    def accounts(self) -> Accounts:
        """Who may log in."""
        from fruitwall.journal.accounts import Accounts

        return Accounts(self.journal)

    def yard(self) -> tuple[Yard, YardVersion]:
        """Give the yard as it stands, and the version of its file.

        Raises
        ------
        JournalError
            If there is none yet.
        """
        return load_yard(self.journal, self.yard_name)

    def has_yard(self) -> bool:
        """Tell whether there is a yard yet."""
        if self.yard_name is not None:
            return any(one.name == self.yard_name for one in self.journal.yards())
        try:
            self.journal.current_yard()
        except NoYard:
            return False
        return True
