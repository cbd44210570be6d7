"""Who may log in, and the secrets by which their devices are known.

Secrets never reach this module: it is given digests.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import delete, exc, func, insert, select, update

from fruitwall.errors import JournalError
from fruitwall.journal.entries import Account, Key
from fruitwall.journal.store import Journal
from fruitwall.journal.tables import accounts, keys
from fruitwall.speech import say

ROLES = ("owner", "helper", "viewer")
"""Owner: everything. Helper: sees the plan, ticks, logs. Viewer: looks."""

KEY_KINDS = ("session", "pairing", "token_helper", "token_viewer", "token_readings", "token_calendar")
"""A browser; a code to make a session, once; a script or sensor with what it may do at most; and a calendar that reads
the tasks."""

_account_columns = (
    accounts.c.id,
    accounts.c.name,
    accounts.c.role,
    accounts.c.passphrase_hash,
    accounts.c.preferences,
    accounts.c.created_utc,
    accounts.c.closed_utc,
)
_key_columns = (
    keys.c.id.label("key_id"),
    keys.c.kind,
    keys.c.label,
    keys.c.created_utc.label("key_created"),
    keys.c.expires_utc,
    keys.c.used_utc,
    keys.c.ended_utc,
)


class Accounts:
    """The accounts of a journal.

    Parameters
    ----------
    journal : Journal
        Open.
    """

    def __init__(self, journal: Journal) -> None:
        self.journal = journal

    def add(
        self, name: str, role: str, *, passphrase_hash: str | None, now: datetime, preferences: str = "{}"
    ) -> Account:
        """Make an account.

        Parameters
        ----------
        name : str
            1 to 100 characters, not taken.
        role : str
            One of `ROLES`.
        passphrase_hash : str or None
            From argon2; None where only paired devices may log in.
        now : datetime, aware
        preferences : str
            JSON.

        Returns
        -------
        Account

        Raises
        ------
        JournalError
            If the name is taken.
        ValueError
            If an argument is outside its range.
        """
        if not 1 <= len(name) <= 100 or "\0" in name:
            raise ValueError(f"a name must be 1 to 100 characters, got {len(name)}")
        if role not in ROLES:
            raise ValueError(f"a role is one of {', '.join(ROLES)}, got {role!r}")
        values = {
            "name": name,
            "role": role,
            "passphrase_hash": passphrase_hash,
            "preferences": preferences,
            "created_utc": now,
        }
        try:
            with self.journal.writing() as connection:
                connection.execute(insert(accounts).values(values))
        except exc.IntegrityError as error:
            raise JournalError(say('there is an account named "{name}" already', name=name)) from error
        found = self.named(name)
        assert found is not None
        return found

    def all(self) -> list[Account]:
        """Give all accounts by name, closed ones too."""
        with self.journal.reading() as connection:
            query = select(*_account_columns).order_by(accounts.c.name)
            return [Account(*row) for row in connection.execute(query)]

    def named(self, name: str) -> Account | None:
        """Give an account by its name; None if there is none."""
        with self.journal.reading() as connection:
            row = connection.execute(select(*_account_columns).where(accounts.c.name == name)).first()
            return None if row is None else Account(*row)

    def change(
        self,
        account: int,
        *,
        role: str | None = None,
        passphrase_hash: str | None = None,
        preferences: str | None = None,
        closed: datetime | None = None,
    ) -> None:
        """Change what is given of an account; what is left out stays.

        Parameters
        ----------
        account : int
            `Account.id`.
        role, passphrase_hash, preferences : str, optional
        closed : datetime, aware, optional
            Closes it, and ends all its keys.

        Raises
        ------
        JournalError
            If there is no such account, or no owner would be left.
        """
        if role is not None and role not in ROLES:
            raise ValueError(f"a role is one of {', '.join(ROLES)}, got {role!r}")
        given = {
            "role": role,
            "passphrase_hash": passphrase_hash,
            "preferences": preferences,
            "closed_utc": closed,
        }
        values = {name: value for name, value in given.items() if value is not None}
        with self.journal.writing() as connection:
            # Held until the end: else two owners who demote each other at once on PostgreSQL both see the other stay.
            connection.execute(select(accounts.c.id).where(accounts.c.role == "owner").with_for_update()).all()
            if values:
                done = connection.execute(update(accounts).where(accounts.c.id == account).values(values))
                if done.rowcount == 0:
                    raise JournalError(say("there is no account number {number}", number=account))
            if closed is not None:
                still = update(keys).where(keys.c.account_id == account, keys.c.ended_utc.is_(None))
                connection.execute(still.values(ended_utc=closed))
            owners = select(func.count()).where(accounts.c.role == "owner", accounts.c.closed_utc.is_(None))
            if connection.scalar(owners) == 0:
                raise JournalError(say("one owner must stay, or nobody could change anything any more"))

    # ------------------------------------------------------------ keys

    def add_key(
        self, account: int, kind: str, secret_sha256: str, *, label: str, now: datetime, expires: datetime | None
    ) -> None:
        """Store the digest of a secret.

        Parameters
        ----------
        account : int
            `Account.id` for whom it stands.
        kind : str
            One of `KEY_KINDS`.
        secret_sha256 : str
            64 hexadecimal digits.
        label : str
            The device or program, 1 to 200 characters.
        now : datetime, aware
        expires : datetime, aware, or None
        """
        if kind not in KEY_KINDS:
            raise ValueError(f"a key is one of {', '.join(KEY_KINDS)}, got {kind!r}")
        values = {
            "account_id": account,
            "kind": kind,
            "secret_sha256": secret_sha256,
            "label": label[:200] or "?",
            "created_utc": now,
            "expires_utc": expires,
        }
        with self.journal.writing() as connection:
            connection.execute(insert(keys).values(values))

    def key(self, kind: str, secret_sha256: str, *, now: datetime) -> Key | None:
        """Give a key that is good now: known, of this kind, neither expired nor ended, its account open."""
        query = (
            select(*_account_columns, *_key_columns)
            .join(keys, keys.c.account_id == accounts.c.id)
            .where(
                keys.c.secret_sha256 == secret_sha256,
                keys.c.kind == kind,
                keys.c.ended_utc.is_(None),
                accounts.c.closed_utc.is_(None),
                keys.c.expires_utc.is_(None) | (keys.c.expires_utc > now),
            )
        )
        with self.journal.reading() as connection:
            row = connection.execute(query).first()
            return None if row is None else _key(tuple(row))

    def keys_of(self, account: int | None = None) -> list[Key]:
        """Give all keys, or those of an account, newest first; ended ones too."""
        query = select(*_account_columns, *_key_columns).join(keys, keys.c.account_id == accounts.c.id)
        if account is not None:
            query = query.where(keys.c.account_id == account)
        with self.journal.reading() as connection:
            return [_key(tuple(row)) for row in connection.execute(query.order_by(keys.c.id.desc()))]

    def use_key(self, key: int, *, now: datetime) -> None:
        """Note that a key was used."""
        with self.journal.writing() as connection:
            connection.execute(update(keys).where(keys.c.id == key).values(used_utc=now))

    def purge(self, *, before: datetime) -> int:
        """Take away keys that ended or expired before a moment; they open nothing and say only who had which device.

        Parameters
        ----------
        before : datetime, aware

        Returns
        -------
        int
            How many.
        """
        with self.journal.writing() as connection:
            done = connection.execute(delete(keys).where((keys.c.ended_utc < before) | (keys.c.expires_utc < before)))
            return int(done.rowcount)

    def spend_key(self, key: int, *, now: datetime) -> bool:
        """End a key; tell whether it was this call that ended it, so that a pairing code works once."""
        with self.journal.writing() as connection:
            done = connection.execute(
                update(keys).where(keys.c.id == key, keys.c.ended_utc.is_(None)).values(ended_utc=now, used_utc=now)
            )
            return bool(done.rowcount == 1)


def _key(row: tuple[object, ...]) -> Key:
    account = Account(*row[:7])  # type: ignore[arg-type]
    number, kind, label, created, expires, used, ended = row[7:]
    return Key(number, account, kind, label, created, expires, used, ended)  # type: ignore[arg-type]
