"""What the pages of people and devices show, worked out before the template."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fruitwall.service.accounts import CODE_DIGITS, ROLE_NAMES, ROLE_WORDS, SCOPES
from fruitwall.service.household import ago
from fruitwall.speech import language, marked, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fruitwall.journal.entries import Account, Key
    from fruitwall.web.who import Who

DONE = {
    "first": marked("You are the owner now. From now on everybody has to log in."),
    "added": marked("The account is made. Pair their phone, or tell them the passphrase by word of mouth."),
    "role": marked("The role is changed."),
    "closed": marked("The account is closed and its devices are out. What they entered stays."),
    "passphrase": marked("The passphrase is changed. All your other devices have to log in anew."),
    "ended": marked("It is out."),
}
"""What is told after something was done, by the word in the address."""


@dataclass(frozen=True)
class Choice:
    """One choice of a list."""

    value: str
    text: str
    chosen: bool = False


@dataclass(frozen=True)
class DeviceRow:
    """A device or a key for scripts."""

    id: int
    label: str
    told: str
    here: bool = False


@dataclass(frozen=True)
class PersonRow:
    """An account as the owner sees it."""

    id: int
    name: str
    role: str
    told: str
    me: bool
    roles: tuple[Choice, ...]
    devices: tuple[DeviceRow, ...]


@dataclass(frozen=True)
class PeoplePage:
    """The page of people and devices.

    Attributes
    ----------
    me : PersonRow or None
        Who asks; None where nobody has to log in yet.
    others : tuple of PersonRow
        The other accounts, for an owner.
    owner, has_passphrase : bool
        Of who asks.
    tokens : tuple of DeviceRow
        Keys for scripts: one's own, or all for an owner.
    scopes, roles : tuple of Choice
        Of the forms.
    done : str
        What was just done.
    error, form : str
        What went wrong, and in which form.
    kept : dict
        What was typed there, without passphrases.
    """

    me: PersonRow | None
    others: tuple[PersonRow, ...]
    owner: bool
    has_passphrase: bool
    tokens: tuple[DeviceRow, ...]
    scopes: tuple[Choice, ...]
    roles: tuple[Choice, ...]
    done: str = ""
    error: str = ""
    form: str = ""
    kept: dict[str, str] | None = None


def people_page(
    asking: Who,
    accounts: Sequence[Account],
    devices: Sequence[Key],
    tokens: Sequence[Key],
    *,
    here: int | None,
    now: datetime,
    done: str = "",
    error: str = "",
    form: str = "",
    kept: dict[str, str] | None = None,
) -> PeoplePage:
    """Work out the page of people and devices.

    Parameters
    ----------
    asking : Who
        Who asks; others than owners see themselves only.
    accounts : sequence of Account
        All that are open.
    devices, tokens : sequence of Key
        All that are good.
    here : int or None
        `Key.id` of the device that asks.
    now : datetime, aware
    done : str
        A word of `DONE`.
    error, form : str
        What went wrong, and in which form.
    kept : dict, optional
        What was typed.

    Returns
    -------
    PeoplePage
    """
    owner = asking.role == "owner"
    kept = kept or {}

    def person(account: Account) -> PersonRow:
        own = tuple(_device(key, here, now) for key in devices if key.account.id == account.id)
        ways = say("has a passphrase") if account.passphrase_hash else say("only by paired phone")
        told = say("{role}: {words}; {ways}", role=_role(account.role), words=say(ROLE_WORDS[account.role]), ways=ways)
        roles = _roles(account.role)
        return PersonRow(account.id, account.name, account.role, told, account.id == asking.account, roles, own)

    people = [person(account) for account in accounts]
    me = next((one for one in people if one.me), None)
    mine = next((account for account in accounts if account.id == asking.account), None)
    return PeoplePage(
        me=me,
        others=tuple(one for one in people if not one.me) if owner and me is not None else (),
        owner=owner,
        has_passphrase=mine is not None and mine.passphrase_hash is not None,
        tokens=tuple(_token(key, now, owner=owner) for key in tokens if owner or key.account.id == asking.account),
        scopes=tuple(
            Choice(key, say(words), key == kept.get("scope", "readings"))
            for key, words in SCOPES.items()
            if asking.role != "viewer" or key == "viewer"
        ),
        roles=_roles(kept.get("role", "helper")),
        done=say(DONE[done]) if done in DONE else "",
        error=error,
        form=form,
        kept=kept,
    )


def grouped(code: str) -> str:
    """Write a code in groups of four, as it is read out."""
    return " ".join(code[start : start + 4] for start in range(0, CODE_DIGITS, 4))


def waiting(seconds: float) -> str:
    """Say how long somebody has to wait, rounded up."""
    from datetime import timedelta
    from math import ceil

    from babel.dates import format_timedelta

    return format_timedelta(timedelta(seconds=ceil(seconds)), locale=language(), threshold=1.5, granularity="second")


def _role(role: str) -> str:
    return say(ROLE_NAMES[role])


def _roles(chosen: str) -> tuple[Choice, ...]:
    return tuple(
        Choice(role, say("{role}: {words}", role=_role(role), words=say(words)), role == chosen)
        for role, words in ROLE_WORDS.items()
    )


def _device(key: Key, here: int | None, now: datetime) -> DeviceRow:
    used = say("used {ago}", ago=ago(key.used or key.created, now))
    ends = "" if key.expires is None else say("logs in anew {ahead}", ahead=ago(key.expires, now))
    here_or_used = say("this device") if key.id == here else used
    told = say("{used}; {ends}", used=here_or_used, ends=ends)
    return DeviceRow(key.id, key.label, told, key.id == here)


def _token(key: Key, now: datetime, *, owner: bool) -> DeviceRow:
    scope = say(SCOPES[key.kind.removeprefix("token_")])
    used = say("used {ago}", ago=ago(key.used, now)) if key.used else say("never used")
    if owner:
        return DeviceRow(
            key.id, key.label, say("{scope}, for {name}; {used}", scope=scope, name=key.account.name, used=used)
        )
    return DeviceRow(key.id, key.label, say("{scope}; {used}", scope=scope, used=used))
