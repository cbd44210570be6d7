"""Where messages shall go one day: a list that the owner keeps.

Addresses may hold secrets, such as the token of a messenger. They are stored as they are, for whoever sends needs them
whole, and shown only in part again.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from fruitwall.errors import FruitwallError
from fruitwall.journal.ledger import Ledger
from fruitwall.speech import say, say_count

TARGETS = "notify_targets"
"""Setting of a yard: the list."""

MOST = 20
"""Addresses in the list. Our judgement."""
LONGEST = 500
"""Of an address. Our judgement. [characters]"""
LONGEST_NAME = 60
"""Our judgement. [characters]"""

_EMAIL = re.compile(r"[^\s@<>\"'(),:;/\\]{1,64}@[A-Za-z0-9](?:[A-Za-z0-9.-]{0,250}[A-Za-z0-9])?\.[A-Za-z]{2,63}")
_ADDRESS = re.compile(r"[a-z][a-z0-9+-]{1,30}://[^\s]+", re.IGNORECASE)


@dataclass(frozen=True)
class Target:
    """Where messages shall go.

    Attributes
    ----------
    id : str
    name : str
        As its owner calls it.
    address : str
        An e-mail address, or ``service://…``. It may hold secrets: show `shown` instead.
    """

    id: str
    name: str
    address: str

    @property
    def shown(self) -> str:
        """The part of the address that may be seen: what it is of, never what opens it."""
        scheme, found, rest = self.address.partition("://")
        if found:
            length = say_count("{count} character", "{count} characters", len(rest))
            return f"{scheme}://… ({length})"
        user, _, host = self.address.partition("@")
        return f"{user[:2] if len(user) > 3 else user[:1]}…@{host}"


class TargetRefused(FruitwallError):
    """It cannot be kept.

    Attributes
    ----------
    field : str
        ``name`` or ``address``.
    """

    def __init__(self, field: str, message: str) -> None:
        self.field = field
        super().__init__(message)


def targets_of(ledger: Ledger) -> list[Target]:
    """Give the list; what cannot be read is left out."""
    return list(_read(ledger.setting(TARGETS)))


def _read(stored: Any) -> Iterable[Target]:
    for one in stored if isinstance(stored, list) else ():
        if isinstance(one, dict) and all(isinstance(one.get(key), str) for key in ("id", "name", "address")):
            yield Target(one["id"], one["name"], one["address"])


def add_target(ledger: Ledger, name: str, address: str, *, author: str, now: datetime) -> Target:
    """Keep one more.

    Parameters
    ----------
    ledger : Ledger
    name, address : str
        As typed.
    author : str
    now : datetime, aware

    Returns
    -------
    Target

    Raises
    ------
    TargetRefused
        If it is no address, or there already.
    """
    name, address = " ".join(name.split()), address.strip()
    known = targets_of(ledger)
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise TargetRefused("name", say("Give it a name of at most {count} characters.", count=LONGEST_NAME))
    if (
        len(address) > LONGEST
        or not address.isprintable()
        or not (_EMAIL.fullmatch(address) or _ADDRESS.fullmatch(address))
    ):
        raise TargetRefused(
            "address", say("Write an e-mail address, or an address that begins like ntfy:// or https://")
        )
    if any(one.address == address for one in known):
        raise TargetRefused("address", say("This address is in the list already."))
    if len(known) >= MOST:
        raise TargetRefused("address", say("There are {count} addresses already; take one out first.", count=MOST))
    new = Target(secrets.token_hex(8), name, address)
    _store(ledger, [*known, new], author, now)
    return new


def remove_target(ledger: Ledger, target: str, *, author: str, now: datetime) -> bool:
    """Take one out by its id; tells whether it was there."""
    known = targets_of(ledger)
    left = [one for one in known if one.id != target]
    if len(left) == len(known):
        return False
    _store(ledger, left, author, now)
    return True


def _store(ledger: Ledger, targets: list[Target], author: str, now: datetime) -> None:
    ledger.set(TARGETS, [asdict(one) for one in targets], author=author, now=now)
