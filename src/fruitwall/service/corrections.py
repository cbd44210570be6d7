"""Entries of the ledger put right: corrected in any field, taken back, brought back, or chosen among several.

Nothing is overwritten and nothing goes: whatever is done here is one more entry, and the whole chain of them is shown.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fruitwall.errors import JournalError
from fruitwall.journal.entries import LedgerEntry
from fruitwall.service.ledger import Signed, body_of, entry_of, take_back
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.journal.ledger import Ledger


def chains_of(ledger: Ledger, entries: Sequence[LedgerEntry]) -> dict[str, str]:
    """Give by entry the first of its chain of corrections; entries that correct nothing are left out.

    Parameters
    ----------
    ledger : Ledger
    entries : sequence of LedgerEntry
        Those that stand.
    """
    corrected = [entry for entry in entries if entry.replaces is not None]
    found: dict[str, str] = {}
    for entry in corrected if len(corrected) > 1 else ():
        if entry.id not in found:
            chain = ledger.history(entry.id)
            first = next((one.id for one in chain if one.replaces is None), entry.id)
            found.update({one.id: first for one in chain})
    return found


def rivals_of(entries: Sequence[LedgerEntry], chains: Mapping[str, str]) -> set[str]:
    """Give the entries of which another stands that corrects the same.

    Parameters
    ----------
    entries : sequence of LedgerEntry
        Those that stand.
    chains : Mapping
        From `chains_of`.
    """
    count = Counter(chains[entry.id] for entry in entries if entry.id in chains)
    return {entry.id for entry in entries if count[chains.get(entry.id, "")] > 1}


@dataclass(frozen=True)
class Chain:
    """An entry with all that corrects it.

    Attributes
    ----------
    entries : list of LedgerEntry
        As they were received, the first one first; those that take back among them.
    standing : list of LedgerEntry
        Those that stand now: none if it was taken back, several where two people corrected the same.
    back : list of LedgerEntry
        Entries that take another back and can be undone themselves.
    """

    entries: list[LedgerEntry]
    standing: list[LedgerEntry]
    back: list[LedgerEntry]

    def taken(self, back: LedgerEntry) -> LedgerEntry:
        """Give what an entry took back."""
        return next(one for one in self.entries if one.id == back.replaces)


def chain_of(ledger: Ledger, which: str) -> Chain:
    """Read an entry and all that corrects it.

    Parameters
    ----------
    ledger : Ledger
    which : str
        Id of any entry of the chain.

    Returns
    -------
    Chain

    Raises
    ------
    JournalError
        If there is no such entry.
    """
    entries = ledger.history(which)
    if not entries:
        raise JournalError(say("There is no entry {number}", number=which))
    # What came in one sending was received at one moment: each stands after what it replaces all the same.
    by_id = {one.id: one for one in entries}

    def depth(one: LedgerEntry) -> int:
        return 0 if one.replaces is None else 1 + depth(by_id[one.replaces])

    entries.sort(key=lambda one: (one.received, depth(one), one.id))
    replaced = {one.replaces for one in entries}
    open_ = [one for one in entries if one.id not in replaced]
    return Chain(entries, [one for one in open_ if not one.withdrawn], [one for one in open_ if one.withdrawn])


def correct(
    ledger: Ledger,
    which: str,
    changes: Mapping[str, object],
    *,
    signed: Signed,
    number: str,
    at: datetime | None = None,
) -> LedgerEntry:
    """Correct an entry: a new one stands in its place, and the old one stays in the history.

    Parameters
    ----------
    ledger : Ledger
    which : str
        Id of the entry.
    changes : Mapping
        Fields of its body that become others; those that its kind does not have are passed over.
    signed : Signed
    number : str
        Id that the form gave the correction: sent again, it is stored once.
    at : datetime, aware, optional
        When it happened, if that was wrong.

    Returns
    -------
    LedgerEntry
        The correction; the entry itself if nothing changes.

    Raises
    ------
    JournalError
        If there is no such entry, it is one that takes another back, or it would be of the future.
    ValueError
        If a field becomes something impossible.
    """
    known = ledger.entry(number)
    if known is not None:
        return known
    entry = ledger.entry(which)
    if entry is None:
        raise JournalError(say("There is no entry {number}", number=which))
    if entry.withdrawn:
        raise JournalError(say("This was taken back; bring it back before you correct it."))
    body = body_of(entry)
    kept = {name: value for name, value in changes.items() if name in type(body).model_fields}
    changed = type(body).model_validate(body.model_dump() | kept)
    when = at if at is not None else entry.at
    if changed == body and when == entry.at:
        return entry
    made = entry_of(entry.kind, changed, tree=entry.tree, at=when, signed=signed, number=number, replaces=entry.id)
    ledger.add([made])
    return made


def withdraw(ledger: Ledger, which: str, *, signed: Signed) -> LedgerEntry:
    """Take an entry back, however old it is; it stays in the history and can be brought back.

    Parameters
    ----------
    ledger : Ledger
    which : str
        Id of the entry.
    signed : Signed

    Returns
    -------
    LedgerEntry
        The entry that takes it back.

    Raises
    ------
    JournalError
        If there is no such entry, or it does not stand any more.
    """
    if which not in {one.id for one in chain_of(ledger, which).standing}:
        raise JournalError(say("This does not stand any more: it was corrected or taken back meanwhile. Look again."))
    return take_back(ledger, which, signed=signed, within=None)


def bring_back(ledger: Ledger, which: str, *, signed: Signed) -> LedgerEntry:
    """Undo that an entry was taken back, or that it does not hold: it stands again as it was.

    Parameters
    ----------
    ledger : Ledger
    which : str
        Id of the entry that took it back.
    signed : Signed

    Returns
    -------
    LedgerEntry
        What stands now.

    Raises
    ------
    JournalError
        If there is no such entry.
    """
    back = ledger.entry(which)
    taken = ledger.entry(back.replaces) if back is not None and back.replaces is not None else None
    if back is None or taken is None or not back.withdrawn:
        raise JournalError(say("There is no entry {number}", number=which))
    # Named after what it undoes: pressed twice, it is brought back once.
    number = str(uuid.uuid5(uuid.UUID(back.id), "brought back"))
    known = ledger.entry(number)
    if known is not None:
        return known
    made = entry_of(
        taken.kind, body_of(taken), tree=taken.tree, at=taken.at, signed=signed, number=number, replaces=back.id
    )
    ledger.add([made])
    return made


def let_hold(ledger: Ledger, which: str, *, signed: Signed) -> list[LedgerEntry]:
    """Say which of several corrections of one entry holds: the others are kept, and no longer stand.

    Parameters
    ----------
    ledger : Ledger
    which : str
        Id of the one that holds.
    signed : Signed

    Returns
    -------
    list of LedgerEntry
        The entries that take the others back; each can be undone by `bring_back`.

    Raises
    ------
    JournalError
        If it does not stand any more.
    """
    chain = chain_of(ledger, which)
    if which not in {one.id for one in chain.standing}:
        raise JournalError(say("This does not stand any more: it was corrected or taken back meanwhile. Look again."))
    return [take_back(ledger, one.id, signed=signed, within=None) for one in chain.standing if one.id != which]
