"""``fruitwall account``: who may log in. Whoever may run it on this machine may do everything it offers."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, account_app
from fruitwall.cli.given import open_journal, present, refuse
from fruitwall.speech import marked, say, say_count

if TYPE_CHECKING:
    from fruitwall.journal.entries import Account
    from fruitwall.service.accounts import People

ROLES = {"owner": marked("owner"), "helper": marked("helper"), "viewer": marked("viewer")}

NOW = {
    "owner": marked("{name} is an owner now."),
    "helper": marked("{name} is a helper now."),
    "viewer": marked("{name} is a viewer now."),
}

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="As entries are signed.")]
RoleOption = Annotated[
    str, typer.Option(metavar="ROLE", help="owner: everything; helper: sees the plan, ticks, logs; viewer: looks.")
]


@account_app.command("add")
def add(
    name: NameArgument,
    role: RoleOption = "helper",
    phone_only: Annotated[
        bool, typer.Option("--phone-only", help="Without a passphrase: only phones that are paired come in.")
    ] = False,
    database: DatabaseOption = None,
) -> None:
    """Make an account; the passphrase is asked for, or read from the first line of what is piped in."""
    with people_of(database) as people:
        passphrase = None if phone_only else passphrase_asked()
        account = people.add(name, role, passphrase)
    typer.echo(_has_role(account.name, account.role))
    if role == "owner":
        typer.echo(say("From now on everybody who opens the pages logs in."))
    if phone_only:
        typer.echo(say("Pair a phone: fruitwall account pair {name!r}", name=account.name))


@account_app.command("list")
def list_accounts(database: DatabaseOption = None) -> None:
    """List the accounts, and what comes in by them."""
    with people_of(database) as people:
        accounts = people.all()
        if not accounts:
            typer.echo(say("No accounts: whoever sits at this machine is the owner, and nobody else comes in."))
        for account in accounts:
            devices, tokens = people.devices(account.id), people.tokens(account.id)
            parts = [
                say(ROLES[account.role]),
                say("passphrase" if account.passphrase_hash else "phones only"),
                say_count("{count} device", "{count} devices", len(devices)),
                say_count("{count} key for scripts", "{count} keys for scripts", len(tokens)),
            ]
            typer.echo(f"{account.name}: {', '.join(parts)}")
            for key in [*devices, *tokens]:
                used = say("used {time} UTC", time=f"{key.used:%Y-%m-%d %H:%M}") if key.used else say("never used")
                typer.echo(f"  {key.label}, {used}")


@account_app.command("close")
def close(name: NameArgument, database: DatabaseOption = None) -> None:
    """Close an account and end its devices at once; what was entered stays."""
    with people_of(database) as people:
        account = account_named(people, name)
        people.close(account.id)
    typer.echo(say("The account of {name} is closed; its devices are out within seconds.", name=account.name))


@account_app.command("role")
def role(
    name: NameArgument,
    role: Annotated[str, typer.Argument(metavar="ROLE", help="owner, helper or viewer.")],
    database: DatabaseOption = None,
) -> None:
    """Give somebody another role."""
    with people_of(database) as people:
        account = account_named(people, name)
        people.change_role(account.id, role)
    typer.echo(_has_role(account.name, role))


@account_app.command("passphrase")
def passphrase(name: NameArgument, database: DatabaseOption = None) -> None:
    """Set a new passphrase, as for somebody who forgot theirs; all their devices log in anew."""
    with people_of(database) as people:
        account = account_named(people, name)
        people.change_passphrase(account, passphrase_asked())
    typer.echo(say("{name} has a new passphrase; all devices of the account log in anew.", name=account.name))


@account_app.command("pair")
def pair(
    name: NameArgument,
    address: Annotated[
        str | None,
        typer.Option(metavar="URL", help="Where the phone finds the server, as `fruitwall serve` prints it."),
    ] = None,
    database: DatabaseOption = None,
) -> None:
    """Make a code by which a phone comes in, once, within ten minutes."""
    from fruitwall.service.accounts import CODE_DIGITS

    with people_of(database) as people:
        made = people.pairing_code(account_named(people, name))
    groups = " ".join(made.secret[start : start + 4] for start in range(0, CODE_DIGITS, 4))
    good = say("Code for a phone of {name}, good once and for ten minutes:", name=made.account.name)
    typer.echo(f"{good}  {groups}")
    if address is None:
        typer.echo(say("Open /pair on the phone, under the address that `fruitwall serve` printed, and type it."))
        return
    url = f"{address.rstrip('/').removesuffix('/pair')}/pair/{made.secret}"
    typer.echo(say("Or open {url}", url=url))
    if sys.stdout.isatty():
        import segno

        segno.make(url, error="m", micro=False).terminal(compact=True)


@account_app.command("authority")
def authority(database: DatabaseOption = None) -> None:
    """Print the fingerprint of the own certificate authority, to be compared with what a phone shows."""
    from fruitwall.cli.serving import machine_name
    from fruitwall.web.access.authority import CertificateFolder, access_folder

    with open_journal(database) as journal:
        folder = access_folder(journal.place)
    certificates = CertificateFolder(folder, present)
    shown = certificates.authority(machine_name())
    typer.echo(say("{name}, until {day}, in {folder}", name=shown.name, day=f"{shown.until:%Y-%m-%d}", folder=folder))
    typer.echo(f"SHA-256 {shown.fingerprint}")


@contextmanager
def people_of(database: str | None) -> Iterator[People]:
    """Open the accounts of a journal."""
    from fruitwall.journal.accounts import Accounts
    from fruitwall.service.accounts import People

    with open_journal(database) as journal:
        yield People(Accounts(journal), present)


def account_named(people: People, name: str) -> Account:
    """Give an open account, or say which there are."""
    found = people.named(name)
    if found is None:
        known = ", ".join(one.name for one in people.all()) or say("none")
        refuse(say('there is no account named "{name}"; there are: {known}', name=name, known=known))
    return found


def passphrase_asked() -> str:
    """Ask for a passphrase twice without showing it; in a pipe the first line is it."""
    if not sys.stdin.isatty():
        line = sys.stdin.readline().rstrip("\r\n")
        if not line:
            refuse(say("no passphrase: type one, pipe one in, or use --phone-only for somebody who only uses a phone"))
        return line
    from getpass import getpass

    typer.echo(say("At least 15 characters: four or five words that do not belong together."), err=True)
    first = getpass(say("Passphrase: "))
    if getpass(say("The same again: ")) != first:
        refuse(say("the two passphrases differ"))
    return first


def _has_role(name: str, role: str) -> str:
    """Say which role somebody has now."""
    return say(NOW[role], name=name)
