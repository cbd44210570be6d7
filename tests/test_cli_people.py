"""Accounts from the command line, and serving beyond this machine."""

from __future__ import annotations

import io
import re
import ssl
import stat
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fruitwall import cli
from fruitwall.cli import serving
from fruitwall.cli.serving import Listening, names_of, renew_while_running
from fruitwall.errors import FruitwallError
from fruitwall.journal.accounts import Accounts
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.accounts import People
from fruitwall.service.house import House
from fruitwall.web.settings import LOCAL_HOSTS

GOOD = "stone pear window"


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Run the command in this process with what is piped in; gives status, output and errors."""

    def call(*arguments: object, piped: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["fruitwall", *map(str, arguments)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(piped))
        monkeypatch.setenv("FRUITWALL_DATABASE", str(tmp_path / "journal.db"))
        status = 0
        try:
            cli.main()
        except SystemExit as left:
            status = left.code if isinstance(left.code, int) else 0
        printed = capsys.readouterr()
        return status, printed.out, printed.err

    return call


@pytest.fixture
def people(tmp_path):
    with open_journal(tmp_path / "journal.db") as journal:
        yield People(Accounts(journal), lambda: datetime.now(UTC))


def test_accounts_are_made_listed_changed_and_closed(run, people):
    assert run("account", "list")[1].startswith("No accounts")
    assert run("account", "add", "Ana", "--role", "owner", piped=GOOD + "\n")[0] == 0
    assert run("account", "add", "Ben", "--phone-only")[0] == 0

    told = run("account", "list")[1]
    assert "Ana: owner, passphrase, 0 devices, 0 keys for scripts" in told
    assert "Ben: helper, phones only" in told

    assert run("account", "role", "ben", "viewer")[1] == "Ben is a viewer now.\n"
    assert run("account", "close", "Ben")[0] == 0
    assert [one.name for one in people.all()] == ["Ana"]
    assert people.log_in("Ana", GOOD, "test") is not None
    assert run("account", "passphrase", "Ana", piped="window pear stone")[0] == 0
    assert people.log_in("Ana", GOOD, "test") is None


@pytest.mark.parametrize(
    ("arguments", "piped", "words"),
    [
        (("add", "Ana", "--role", "owner"), "short\n", "at least 15 characters"),
        (("add", "Ana", "--role", "owner"), "", "no passphrase"),
        (("add", "Ana", "--role", "king"), GOOD, "owner, helper or viewer"),
        (("add", "Ana"), GOOD, "first account"),
        (("close", "Eve"), "", "there are: none"),
        (("pair", "Eve"), "", "there are: none"),
    ],
)
def test_what_will_not_do_is_refused_in_one_message(run, arguments, piped, words):
    status, out, err = run("account", *arguments, piped=piped)

    assert (status, out) == (2, "")
    assert words in err
    assert "Traceback" not in err


def test_a_code_made_in_the_terminal_lets_a_phone_in(run, people):
    run("account", "add", "Ana", "--role", "owner", piped=GOOD)

    told = run("account", "pair", "ana", "--address", "https://192.168.1.20:8765/")[1]

    code = re.search(r"https://192\.168\.1\.20:8765/pair/(\d{12})\n", told).group(1)
    assert f"{code[:4]} {code[4:8]} {code[8:]}" in told
    assert people.spend_code(code, "phone").account.name == "Ana"


def test_the_fingerprint_of_the_authority_stays(run, tmp_path):
    first, again = run("account", "authority")[1], run("account", "authority")[1]

    assert re.search(r"SHA-256 ([0-9A-F]{2}:){31}[0-9A-F]{2}\n", first)
    assert first == again
    for file in (tmp_path / "journal.db.access").iterdir():
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "journal.db.access").stat().st_mode) == 0o700


# ------------------------------------------------------------ serving


@pytest.fixture
def house(people, tmp_path):
    return House(people.accounts.journal, None, people.clock, PhotoFolder(tmp_path / "photos"))


@pytest.mark.parametrize(
    ("listening", "beyond"),
    [
        (Listening(), False),
        (Listening("::1"), False),
        (Listening("localhost", allow=("LOCALHOST",)), False),
        (Listening("0.0.0.0"), True),
        (Listening("::"), True),
        (Listening("192.168.1.20"), True),
        (Listening(allow=("garden.example",)), True),
    ],
)
def test_whoever_is_not_this_machine_alone_is_beyond(listening, beyond):
    assert listening.beyond is beyond


def test_nothing_listens_beyond_this_machine_before_an_owner_can_log_in(house, people, monkeypatch):
    monkeypatch.setattr(serving, "_bound", lambda listening: pytest.fail("took the port"))
    for allow, host in (((), "0.0.0.0"), (("garden.local",), "127.0.0.1")):
        with pytest.raises(FruitwallError, match="fruitwall account add"):
            serving.serve_pages(None, None, None, house, Listening(host, allow=allow))


def test_the_server_answers_under_its_addresses_and_names(monkeypatch):
    monkeypatch.setattr(serving, "own_addresses", lambda: ["192.168.1.20", "fd00::20"])

    called = ["orchardpi", "orchardpi.local", "garden.home.arpa"]
    for host, addresses in (
        ("0.0.0.0", ["192.168.1.20"]),
        ("::", ["192.168.1.20", "fd00::20"]),
        ("10.1.1.1", ["10.1.1.1"]),
    ):
        names = names_of(Listening(host, allow=("Garden.home.arpa",)), "orchardpi", LOCAL_HOSTS)
        assert names == [*LOCAL_HOSTS, *addresses, *called]
    assert names_of(Listening(), "orchardpi", LOCAL_HOSTS) == list(LOCAL_HOSTS)


def serve_once(monkeypatch, house, listening):
    """Go through everything of serving but answering; gives what uvicorn was given."""
    import uvicorn

    served = []
    monkeypatch.setattr(serving, "own_addresses", lambda: ["192.168.1.20"])
    monkeypatch.setattr(serving, "machine_name", lambda: "orchardpi")
    monkeypatch.setattr(uvicorn.Server, "run", lambda self, sockets: served.append((self.config, sockets)))
    serving.serve_pages(None, None, None, house, listening)
    config, sockets = served[0]
    sockets[0].close()
    return config


def test_with_an_owner_it_listens_and_says_where_phones_find_it(house, people, monkeypatch, capsys):
    people.add("Ana", "owner", GOOD)

    config = serve_once(monkeypatch, house, Listening("0.0.0.0", https=True))

    told = capsys.readouterr().out
    assert re.search(r"https://192\.168\.1\.20:\d+/pair", told)
    assert "SHA-256" in told
    assert config.is_ssl
    assert isinstance(config.ssl, ssl.SSLContext)


def test_without_https_it_says_what_that_means(house, people, monkeypatch, capsys):
    people.add("Ana", "owner", GOOD)

    config = serve_once(monkeypatch, house, Listening("0.0.0.0"))

    assert "can read along" in capsys.readouterr().out
    assert not config.is_ssl


def test_on_this_machine_alone_nothing_is_asked_for(house, monkeypatch, capsys):
    serve_once(monkeypatch, house, Listening())

    told = capsys.readouterr().out
    assert "http://127.0.0.1:" in told
    assert "phones" not in told


def test_devices_stay_known_over_a_restart(house, monkeypatch, tmp_path):
    from fruitwall.web.access.authority import access_folder, cookie_key

    folder = access_folder(house.journal.place)

    assert folder == tmp_path / "journal.db.access"
    assert cookie_key(folder) == cookie_key(folder)
    assert len(cookie_key(folder)) == 32
    (folder / "cookie.key").write_bytes(b"")
    with pytest.raises(FruitwallError, match="not whole"):
        cookie_key(folder)


def test_a_running_server_gets_a_new_certificate_when_an_address_comes_or_its_end_is_near(tmp_path):
    from fruitwall.web.access.authority import CertificateFolder

    class Context:
        loaded = 0

        def load_cert_chain(self, certificate: Path, key: Path) -> None:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
            self.loaded += 1

    moment = [datetime(2026, 12, 22, tzinfo=UTC)]
    names, context = ["192.168.1.20"], Context()
    certificates = CertificateFolder(tmp_path, lambda: moment[0])
    certificates.server(names, "orchardpi")
    look = renew_while_running(context, certificates, lambda: names, "orchardpi")

    look()
    assert context.loaded == 0
    names.append("192.168.1.77")
    look()
    assert context.loaded == 1
    moment[0] += timedelta(days=350)
    look()
    assert context.loaded == 2
    names.append("garden.example")  # cannot be vouched for: the old one stays in use
    look()
    assert context.loaded == 2
