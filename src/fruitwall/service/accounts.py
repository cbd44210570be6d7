"""Who may come in: accounts, the devices they use, codes that pair a phone, and keys for scripts.

Secrets leave this module once, when they are made; stored are only their SHA-256 digests. They are random and long
enough that a digest without salt cannot be turned back. A passphrase is not: that one is hashed by argon2
(`service.accounts_passphrases`).
"""

from __future__ import annotations

import hashlib
import json
import secrets
import unicodedata
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fruitwall.errors import JournalError
from fruitwall.service.accounts_passphrases import Passphrases, check_new
from fruitwall.speech import LANGUAGES, marked, say

if TYPE_CHECKING:
    from fruitwall.journal.accounts import Accounts
    from fruitwall.journal.entries import Account, Key

PASSPHRASE_SESSION = timedelta(days=30)
"""How long a browser stays known that logged in by passphrase (NIST SP 800-63B rev. 4, 2.1.3: 30 days at most)."""

PAIRED_SESSION = timedelta(days=200)
"""How long a paired phone stays known: a winter, so that nobody pairs anew on a cold evening. Our judgement."""

PAIRING_CODE = timedelta(minutes=10)
"""How long a code may be typed or photographed."""

CODE_DIGITS = 12
"""Digits of a code: 40 bits. At the few guesses a minute that the waits allow, ten minutes find none."""

USED_WITHIN = timedelta(hours=1)
"""How coarsely the last use of a device is kept, so that looking at a page writes nothing. Our judgement."""

KEPT_AFTER_END = timedelta(days=30)
"""How long an ended or expired device, code or key stays in the database before it is taken away. Our judgement."""

SCOPES = {
    "readings": marked("Only sends readings of sensors"),
    "viewer": marked("Looks at everything"),
    "helper": marked("Looks, ticks, logs"),
}
"""What a key for a script may do, in plain words."""

CALENDAR = "calendar"
"""What the secret address of a calendar may: read the feed of tasks, and nothing else. It is no key for scripts, since
calendars cannot send one: it stands in the address."""

ROLE_NAMES = {"owner": marked("Owner"), "helper": marked("Helper"), "viewer": marked("Viewer")}
ROLE_WORDS = {
    "owner": marked("everything"),
    "helper": marked("sees the plan, ticks, logs"),
    "viewer": marked("looks"),
}
UNITS = {"temperature": ("C", "F"), "length": ("m", "ft"), "mass": ("kg", "lb"), "volume": ("L", "gal")}
"""Units that somebody may read in, by `Who` attribute."""


@dataclass(frozen=True)
class Preferences:
    """How somebody reads.

    Attributes
    ----------
    language : str or None
        Code of `speech.LANGUAGES`; None for the browser's.
    temperature, length, mass, volume : str or None
        Units; None for those of the yard file.
    """

    language: str | None = None
    temperature: str | None = None
    length: str | None = None
    mass: str | None = None
    volume: str | None = None


def preferences_of(account: Account) -> Preferences:
    """Read what an account prefers; what is not known is left out."""
    try:
        stored = json.loads(account.preferences)
    except ValueError:
        return Preferences()
    if not isinstance(stored, dict):
        return Preferences()
    allowed: Mapping[str, object] = {"language": tuple(LANGUAGES), **UNITS}
    known = {name: stored.get(name) for name, values in allowed.items() if stored.get(name) in values}  # type: ignore[operator]
    return Preferences(**known)


@dataclass(frozen=True)
class Made:
    """A secret that was just made.

    Attributes
    ----------
    secret : str
        To be handed over now; it cannot be shown again.
    account : Account
        For whom it stands.
    expires : datetime, aware, or None
    """

    secret: str
    account: Account
    expires: datetime | None


class People:
    """What can be done with the accounts of a household.

    Parameters
    ----------
    accounts : Accounts
        Where they are kept.
    clock : callable
        Gives the present moment, aware: the true one, also where the pages show another evening.
    passphrases : Passphrases, optional
        How they are hashed.
    """

    def __init__(
        self, accounts: Accounts, clock: Callable[[], datetime], passphrases: Passphrases | None = None
    ) -> None:
        self.accounts = accounts
        self.clock = clock
        self.passphrases = passphrases or Passphrases()

    # ------------------------------------------------------------ accounts

    def all(self) -> list[Account]:
        """Give the open accounts by name."""
        return [account for account in self.accounts.all() if account.closed is None]

    def any_ever(self) -> bool:
        """Tell whether an account was ever made; from then on everybody has to log in."""
        return bool(self.accounts.all())

    def owner_can_log_in(self) -> bool:
        """Tell whether there is an owner with a passphrase, without whom nothing may listen on a network."""
        return any(account.role == "owner" and account.passphrase_hash for account in self.all())

    def named(self, name: str) -> Account | None:
        """Give an open account; capitals and spaces around make no difference."""
        wanted = _plain_name(name).casefold()
        return next((one for one in self.all() if one.name.casefold() == wanted), None)

    def numbered(self, number: int) -> Account:
        """Give an open account by its number.

        Raises
        ------
        JournalError
            If there is none.
        """
        found = next((one for one in self.all() if one.id == number), None)
        if found is None:
            raise JournalError(say("There is no such account any more."))
        return found

    def add(self, name: str, role: str, passphrase: str | None = None) -> Account:
        """Make an account.

        Parameters
        ----------
        name : str
            As entries will be signed; not taken by anybody, also not by a closed account.
        role : str
            ``owner``, ``helper`` or ``viewer``.
        passphrase : str, optional
            Without one only paired phones may log in.

        Returns
        -------
        Account

        Raises
        ------
        JournalError
            If the name or the passphrase will not do, or the first account is not an owner's with a passphrase:
            nobody could ever make another one.
        """
        name = _plain_name(name)
        if not 1 <= len(name) <= 100:
            raise JournalError(say("A name has 1 to 100 characters."))
        if any(unicodedata.category(character).startswith("C") for character in name):
            raise JournalError(say("A name is one line without control characters."))
        if role not in ROLE_NAMES:
            raise JournalError(say("A role is owner, helper or viewer."))
        known = self.accounts.all()
        if any(one.name.casefold() == name.casefold() for one in known):
            raise JournalError(say("There is or was somebody of that name; take another one."))
        if not known and (role != "owner" or not passphrase):
            raise JournalError(say("The first account must be an owner's and have a passphrase."))
        stored = self.passphrases.hashed(check_new(passphrase, name)) if passphrase else None
        return self.accounts.add(name, role, passphrase_hash=stored, now=self.clock())

    def change_role(self, account: int, role: str) -> None:
        """Give somebody another role; refused where no owner with a passphrase would be left."""
        if role not in ROLE_NAMES:
            raise JournalError(say("A role is owner, helper or viewer."))
        if role != "owner":
            self._keep_an_owner(account)
        self.accounts.change(account, role=role)

    def close(self, account: int) -> None:
        """Close an account and end all its devices; its entries stay."""
        self._keep_an_owner(account)
        self.accounts.change(account, closed=self.clock())

    def change_passphrase(self, account: Account, new: str, *, keep: int | None = None) -> None:
        """Set a passphrase, and end all devices of the account but one: whoever knew the old one is out.

        Parameters
        ----------
        account : Account
        new : str
            As typed.
        keep : int, optional
            `Key.id` of the device on which it was changed.
        """
        stored = self.passphrases.hashed(check_new(new, account.name))
        self.accounts.change(account.id, passphrase_hash=stored)
        for key in self.accounts.keys_of(account.id):
            if key.ended is None and key.kind in ("session", "pairing") and key.id != keep:
                self.accounts.spend_key(key.id, now=self.clock())

    def knows_passphrase(self, account: Account, passphrase: str) -> bool:
        """Tell whether somebody who is logged in knows the passphrase of the account."""
        return self.passphrases.right(account.passphrase_hash, passphrase)[0]

    def set_preferences(self, account: int, preferences: Preferences) -> None:
        """Store how somebody reads.

        Parameters
        ----------
        account : int
            `Account.id`.
        preferences : Preferences
        """
        given = {name: value for name, value in vars(preferences).items() if value is not None}
        self.accounts.change(account, preferences=json.dumps(given))

    def _keep_an_owner(self, account: int) -> None:
        others = [one for one in self.all() if one.role == "owner" and one.passphrase_hash and one.id != account]
        if not others and self.numbered(account).role == "owner":
            raise JournalError(say("One owner with a passphrase must stay, or nobody could change anything any more."))

    # ------------------------------------------------------------ devices

    def log_in(self, name: str, passphrase: str, device: str) -> Made | None:
        """Log in by passphrase.

        Parameters
        ----------
        name, passphrase : str
            As typed.
        device : str
            The browser, in words.

        Returns
        -------
        Made or None
            A session; None where name and passphrase do not belong together, after as much work in every case.
        """
        account = self.named(name)
        right, fresher = self.passphrases.right(account.passphrase_hash if account else None, passphrase)
        if account is None or not right:
            return None
        if fresher is not None:
            self.accounts.change(account.id, passphrase_hash=fresher)
        return self.start_session(account, device, PASSPHRASE_SESSION)

    def start_session(self, account: Account, device: str, lasts: timedelta) -> Made:
        """Make a session for a device."""
        return self._make(account, "session", secrets.token_urlsafe(32), device, lasts)

    def session(self, secret: str) -> Key | None:
        """Give the session of a secret, None if it is not good; notes the use, coarsely."""
        return self._good("session", secret)

    def devices(self, account: int | None = None) -> list[Key]:
        """Give the devices that are known now, of one account or all, newest first."""
        return self._alive(account, ("session",))

    def end(self, key: int) -> None:
        """End a device, a code or a key for scripts; it is not good from now on."""
        self.accounts.spend_key(key, now=self.clock())

    # ------------------------------------------------------------ pairing

    def pairing_code(self, account: Account) -> Made:
        """Make a code that lets one phone in, once, within ten minutes; earlier ones of the account end."""
        for key in self._alive(account.id, ("pairing",)):
            self.end(key.id)
        code = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
        return self._make(account, "pairing", code, "pairing", PAIRING_CODE)

    def whose_code(self, code: str) -> Account | None:
        """Tell who a phone with this code would be, without spending it; None if it is not good."""
        key = self.accounts.key("pairing", _digest(_digits(code)), now=self.clock())
        return None if key is None else key.account

    def spend_code(self, code: str, device: str) -> Made | None:
        """Spend a code for a session.

        Parameters
        ----------
        code : str
            Digits; what stands between them makes no difference.
        device : str
            The phone, in words.

        Returns
        -------
        Made or None
            None if the code is not good or was spent by somebody else a moment ago.
        """
        key = self.accounts.key("pairing", _digest(_digits(code)), now=self.clock())
        if key is None or not self.accounts.spend_key(key.id, now=self.clock()):
            return None
        return self.start_session(key.account, device, PAIRED_SESSION)

    # ------------------------------------------------------------ keys for scripts

    def make_token(self, account: Account, scope: str, label: str) -> Made:
        """Make a key for a script or sensor.

        Parameters
        ----------
        account : Account
            In whose name it acts; it never may more than they.
        scope : str
            One of `SCOPES`.
        label : str
            What uses it, 1 to 200 characters.

        Raises
        ------
        JournalError
            If an argument will not do.
        """
        label = _plain_label(label)
        if scope not in SCOPES:
            raise JournalError(say("Choose what the key may do."))
        if not 1 <= len(label) <= 200:
            raise JournalError(say("Name the script or sensor in 1 to 200 characters."))
        if account.role == "viewer" and scope != "viewer":
            raise JournalError(say("Who only looks can make keys that only look."))
        return self._make(account, f"token_{scope}", f"fw_{secrets.token_urlsafe(32)}", label, None)

    def token(self, secret: str) -> tuple[Key, str] | None:
        """Give the key of a script and its scope; None if it is not good."""
        if not secret.startswith("fw_"):
            return None
        for scope in SCOPES:
            key = self._good(f"token_{scope}", secret)
            if key is not None:
                return key, scope
        return None

    def tokens(self, account: int | None = None) -> list[Key]:
        """Give the keys for scripts that are good now, newest first."""
        return self._alive(account, tuple(f"token_{scope}" for scope in SCOPES))

    # ------------------------------------------------------------ calendars

    def make_calendar(self, account: Account, label: str) -> Made:
        """Make the secret of an address from which a calendar reads the tasks.

        Parameters
        ----------
        account : Account
            In whose language and units they are told.
        label : str
            Whose calendar it is, 1 to 200 characters.

        Raises
        ------
        JournalError
            If the label will not do.
        """
        label = _plain_label(label)
        if not 1 <= len(label) <= 200:
            raise JournalError(say("Name the phone or calendar in 1 to 200 characters."))
        return self._make(account, f"token_{CALENDAR}", f"fwc_{secrets.token_urlsafe(32)}", label, None)

    def calendar(self, secret: str) -> Key | None:
        """Give the calendar of a secret; None if it is not good."""
        return self._good(f"token_{CALENDAR}", secret) if secret.startswith("fwc_") else None

    def calendars(self, account: int) -> list[Key]:
        """Give the calendars of an account that are good now, newest first."""
        return self._alive(account, (f"token_{CALENDAR}",))

    def purge(self) -> int:
        """Take away devices, codes and keys that ended long ago; gives how many."""
        return self.accounts.purge(before=self.clock() - KEPT_AFTER_END)

    # ------------------------------------------------------------ inside

    def _make(self, account: Account, kind: str, secret: str, label: str, lasts: timedelta | None) -> Made:
        now = self.clock()
        expires = None if lasts is None else now + lasts
        # Whenever one comes the dead ones go: so a server that runs for years gathers none.
        self.purge()
        self.accounts.add_key(account.id, kind, _digest(secret), label=label, now=now, expires=expires)
        return Made(secret, account, expires)

    def _good(self, kind: str, secret: str) -> Key | None:
        now = self.clock()
        key = self.accounts.key(kind, _digest(secret), now=now)
        if key is not None and (key.used is None or now - key.used >= USED_WITHIN):
            # A database that is busy for long is no reason to turn somebody away.
            with suppress(JournalError):
                self.accounts.use_key(key.id, now=now)
        return key

    def _alive(self, account: int | None, kinds: tuple[str, ...]) -> list[Key]:
        now = self.clock()
        return [
            key
            for key in self.accounts.keys_of(account)
            if key.kind in kinds
            and key.ended is None
            and key.account.closed is None
            and (key.expires is None or key.expires > now)
        ]


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _digits(code: str) -> str:
    """Leave only the digits, whatever was typed between them."""
    return "".join(character for character in code if character in "0123456789")


def _plain_label(label: str) -> str:
    """Bring a label into one line; a NUL, which PostgreSQL cannot store, is a space."""
    return " ".join(label.replace("\0", " ").split())


def _plain_name(name: str) -> str:
    """Bring a name into one form: without spaces around, each space single, Unicode NFC."""
    return unicodedata.normalize("NFC", " ".join(name.split()))
