"""Who asks for a page, and what they may do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fastapi import HTTPException, Request

from fruitwall.service.household import OWNER
from fruitwall.speech import say

RANK = {"viewer": 0, "helper": 1, "owner": 2}
"""Owner: everything. Helper: sees the plan, ticks, logs. Viewer: looks."""


@dataclass(frozen=True)
class Who:
    """Somebody who asks.

    Attributes
    ----------
    name : str
        As entries are signed.
    role : str
        ``owner``, ``helper`` or ``viewer``.
    language : str
        Code of `speech.LANGUAGES`.
    temperature, length, mass, volume : str or None
        Units they read in; None for those of the yard file.
    account : int or None
        `Account.id`; None where no account was ever made and the server answers this machine only.
    scope : str or None
        What the key of a script may do, of `service.accounts.SCOPES`; None for a person.
    known : bool
        False for somebody who has not logged in, before whom only the log-in stands.
    """

    name: str = OWNER
    role: str = "owner"
    language: str = "en"
    temperature: str | None = None
    length: str | None = None
    mass: str | None = None
    volume: str | None = None
    account: int | None = None
    scope: str | None = None
    known: bool = True

    def may(self, role: str) -> bool:
        """Tell whether they may do what a role may."""
        return RANK[self.role] >= RANK[role]


def who(request: Request) -> Who:
    """Give who asks, as the access layer found out; the owner where there is no access layer."""
    found = getattr(request.state, "who", None)
    return found if isinstance(found, Who) else Who()


def need(role: str) -> Callable[[Request], Who]:
    """Make a dependency that refuses whoever may not do what a role may.

    Parameters
    ----------
    role : str
        ``helper`` or ``owner``; looking needs no dependency.
    """

    def check(request: Request) -> Who:
        asking = who(request)
        if not asking.may(role):
            raise HTTPException(403, say("Your account may look but not change this; ask the owner of the yard."))
        return asking

    return check
