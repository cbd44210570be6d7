"""Accounts, passphrases, devices, codes and keys for scripts."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from threading import Barrier

import pytest
from argon2 import PasswordHasher

from fruitwall.errors import JournalError
from fruitwall.journal.accounts import Accounts
from fruitwall.journal.opening import open_journal
from fruitwall.service.accounts import (
    KEPT_AFTER_END,
    PAIRED_SESSION,
    PAIRING_CODE,
    PASSPHRASE_SESSION,
    People,
    Preferences,
    preferences_of,
)
from fruitwall.service.accounts_passphrases import Passphrases, check_new
from fruitwall.service.accounts_waits import FORGOTTEN_AFTER_S, FREE_TRIES, LONGEST_WAIT_S, MOST_KEPT, Waits
from fruitwall.speech import speaking

GOOD = "stone pear window"


def quick(passes: int = 1) -> PasswordHasher:
    """Hash without the work that keeps guessers out."""
    return PasswordHasher(time_cost=passes, memory_cost=8, parallelism=1)


class Clock:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.moment = datetime(2026, 12, 22, 22, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.moment


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def people(database, clock):
    with open_journal(database) as journal:
        yield People(Accounts(journal), clock, Passphrases(quick()))


@pytest.fixture
def ana(people):
    return people.add("Ana", "owner", GOOD)


# ------------------------------------------------------------ passphrases


@pytest.mark.parametrize(
    "passphrase",
    [GOOD, "Drei Äpfel im Schnee", "lluvia tejado nube", "x7Kq!m2Zr9#Lw4Pd", "my mango hates frost and wind"],
)
def test_long_passphrases_of_any_characters_are_taken(passphrase):
    assert check_new(passphrase, "Ana")


@pytest.mark.parametrize(
    "passphrase",
    [
        "stone pear wind",
        "passwordpassword",
        "Password 1234567890",
        "aaaaaaaaaaaaaaaaaa",
        "abababababababababab",
        "abcdefghijklmnopq",
        "qwertyuiopasdfghj",
        "123456789012345678",
        "98765432109876543",
        "My garden is my orchard 2026",
        "Ana Ana Ana Ana Ana 2026!",
        "fruitwall fruitwall",
        "contraseña secreta 1",
        "stone\npear\nwindow\n",
        "ab" * 501,
    ],
)
def test_short_and_easily_guessed_passphrases_are_refused(passphrase):
    if passphrase == "stone pear wind":
        assert check_new(passphrase, "Ana")  # fifteen characters: just enough
        passphrase = passphrase[:-1]
    with pytest.raises(JournalError):
        check_new(passphrase, "Ana")


def test_the_same_characters_typed_in_another_way_are_the_same_passphrase(people):
    people.add("Ana", "owner", "lluvia tejado caf\u00e9")

    assert people.log_in("Ana", "lluvia tejado cafe\u0301", "phone") is not None


def test_the_hash_is_argon2id_and_never_the_passphrase():
    stored = Passphrases().hashed(GOOD)

    assert stored.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert GOOD not in stored


def test_an_unknown_name_costs_as_much_work_as_a_known_one(people, ana, monkeypatch):
    verified = []
    verify = PasswordHasher.verify
    monkeypatch.setattr(
        PasswordHasher, "verify", lambda self, stored, text: verified.append(stored) or verify(self, stored, text)
    )
    people.add("Ben", "helper")

    for name in ("Ana", "Ben", "Nobody"):
        assert people.log_in(name, "wrong wrong wrong", "phone") is None

    assert len(verified) == 3
    assert {text.rsplit("$", 2)[0] for text in verified} == {"$argon2id$v=19$m=8,t=1,p=1"}


def test_a_passphrase_is_hashed_anew_when_the_parameters_rise(people, ana, clock):
    stronger = People(people.accounts, clock, Passphrases(quick(passes=2)))

    assert stronger.log_in("Ana", GOOD, "phone") is not None

    assert "t=2" in people.named("Ana").passphrase_hash
    assert stronger.log_in("Ana", GOOD, "phone") is not None


def test_an_endless_passphrase_is_wrong_and_costs_nothing(people, ana):
    assert people.log_in("Ana", GOOD + "x" * 5_000_000, "phone") is None


# ------------------------------------------------------------ accounts


def test_the_first_account_is_an_owners_with_a_passphrase(people):
    for role, passphrase in (("helper", GOOD), ("viewer", None), ("owner", None)):
        with pytest.raises(JournalError, match="first account"):
            people.add("Ana", role, passphrase)
    assert not people.any_ever()

    people.add("Ana", "owner", GOOD)

    assert people.any_ever()
    assert people.owner_can_log_in()


@pytest.mark.parametrize("name", ["", "   ", "x" * 101, "a\0b", "a\u202eb"])
def test_a_name_that_cannot_be_read_is_refused(people, ana, name):
    with pytest.raises(JournalError):
        people.add(name, "helper")


def test_names_that_look_alike_are_one_and_names_of_closed_accounts_stay_taken(people, ana):
    ben = people.add("Ben", "helper")
    people.close(ben.id)

    for name in ("ana", " ANA ", "ben"):
        with pytest.raises(JournalError, match="somebody of that name"):
            people.add(name, "helper")
    assert people.named("  aNA ").id == ana.id
    assert people.named("Ben") is None


def test_an_owner_who_can_log_in_stays(people, ana):
    ben = people.add("Ben", "owner")  # without passphrase: paired phones only
    for change in (lambda: people.close(ana.id), lambda: people.change_role(ana.id, "helper")):
        with pytest.raises(JournalError, match="must stay"):
            change()

    people.change_passphrase(ben, "window pear stone")
    people.change_role(ana.id, "helper")

    assert people.named("Ana").role == "helper"


def test_a_changed_passphrase_throws_out_all_devices_but_the_one_at_hand(people, ana):
    first, second = (people.log_in("Ana", GOOD, label) for label in ("phone", "desk"))
    code = people.pairing_code(ana)

    people.change_passphrase(ana, "window pear stone", keep=people.session(second.secret).id)

    assert people.session(first.secret) is None
    assert people.session(second.secret) is not None
    assert people.whose_code(code.secret) is None
    assert people.log_in("Ana", GOOD, "phone") is None


def test_preferences_are_kept_and_what_is_not_known_is_left_out(people, ana):
    people.set_preferences(ana.id, Preferences(language="es", temperature="F"))
    assert preferences_of(people.named("Ana")) == Preferences(language="es", temperature="F")

    for stored in ('{"language": "xx", "mass": ["kg"], "length": "ft"}', "[1]", "no json", json.dumps(None)):
        people.accounts.change(ana.id, preferences=stored)
        assert preferences_of(people.named("Ana")) in (Preferences(length="ft"), Preferences())


# ------------------------------------------------------------ devices, codes, keys


def test_only_digests_of_secrets_are_stored(people, ana, tmp_path):
    secrets = [
        people.log_in("Ana", GOOD, "phone").secret,
        people.pairing_code(ana).secret,
        people.make_token(ana, "readings", "roof").secret,
    ]
    with people.accounts.journal.reading() as connection:
        rows = str(connection.exec_driver_sql("SELECT * FROM keys").all())

    assert all(secret not in rows for secret in secrets)


def test_a_session_lasts_as_long_as_it_should(people, ana, clock):
    made = people.log_in("Ana", GOOD, "phone")
    start = clock.moment

    clock.moment = start + PASSPHRASE_SESSION - timedelta(seconds=1)
    assert people.session(made.secret).account.name == "Ana"
    clock.moment = start + PASSPHRASE_SESSION
    assert people.session(made.secret) is None
    assert people.devices() == []


def test_the_last_use_is_noted_by_the_hour(people, ana, clock):
    made = people.log_in("Ana", GOOD, "phone")
    first = clock.moment
    people.session(made.secret)
    clock.moment += timedelta(minutes=59)
    people.session(made.secret)
    assert people.devices()[0].used == first

    clock.moment += timedelta(minutes=1)
    people.session(made.secret)
    assert people.devices()[0].used == clock.moment


def test_a_code_works_once(people, ana):
    code = people.pairing_code(ana).secret
    assert len(code) == 12

    assert people.whose_code(code).name == "Ana"
    made = people.spend_code(f"{code[:4]} {code[4:8]}-{code[8:]}", "phone")

    assert people.session(made.secret).account.name == "Ana"
    assert people.spend_code(code, "another phone") is None
    assert people.whose_code(code) is None


def test_a_code_expires_and_a_paired_phone_stays_for_a_winter(people, ana, clock):
    code = people.pairing_code(ana).secret
    late = people.pairing_code(ana).secret
    assert people.whose_code(code) is None  # the newer one takes its place

    clock.moment += PAIRING_CODE
    assert people.spend_code(late, "phone") is None

    made = people.spend_code(people.pairing_code(ana).secret, "phone")
    assert made.expires == clock.moment + PAIRED_SESSION


def test_of_phones_that_spend_a_code_at_once_one_comes_in(people, ana, monkeypatch):
    code = people.pairing_code(ana).secret
    all_have_seen_it = Barrier(4, timeout=10)
    look = Accounts.key

    def look_together(self, *arguments, **options):
        found = look(self, *arguments, **options)
        all_have_seen_it.wait()
        return found

    monkeypatch.setattr(Accounts, "key", look_together)
    with ThreadPoolExecutor(4) as pool:
        made = list(pool.map(lambda number: people.spend_code(code, f"phone {number}"), range(4)))

    assert sum(one is not None for one in made) == 1
    assert len(people.devices()) == 1


def test_a_closed_account_is_out_everywhere(people, ana):
    ben = people.add("Ben", "helper", "window pear stone")
    session, token = people.log_in("Ben", "window pear stone", "phone"), people.make_token(ben, "helper", "script")

    people.close(ben.id)

    assert people.session(session.secret) is None
    assert people.token(token.secret) is None
    assert people.log_in("Ben", "window pear stone", "phone") is None


def test_a_key_for_scripts_has_a_scope_and_is_no_session(people, ana):
    made = people.make_token(ana, "readings", "  roof   sensor ")

    key, scope = people.token(made.secret)

    assert (key.label, scope, key.expires) == ("roof sensor", "readings", None)
    assert people.session(made.secret) is None
    people.end(key.id)
    assert people.token(made.secret) is None


def test_who_only_looks_makes_keys_that_only_look(people, ana):
    carl = people.add("Carl", "viewer")

    for scope in ("helper", "readings", "owner"):
        with pytest.raises(JournalError):
            people.make_token(carl, scope, "script")
    assert people.make_token(carl, "viewer", "script")


def test_what_is_refused_is_said_in_the_language_of_who_asks(people):
    with speaking("es"), pytest.raises(JournalError, match="primera cuenta"):
        people.add("Ana", "helper")


# ------------------------------------------------------------ waits


class Seconds:
    """Seconds that are moved by hand."""

    now = 1000.0

    def __call__(self) -> float:
        return self.now


def test_waits_grow_with_every_wrong_guess_up_to_a_quarter_of_an_hour():
    seconds = Seconds()
    waits = Waits(seconds)
    grown = []
    for _ in range(FREE_TRIES + 12):
        wait = waits.try_now(["name:ana"])
        grown.append(wait)
        seconds.now += wait
        if wait:
            assert waits.try_now(["name:ana"]) == 0

    assert grown[:FREE_TRIES] == [0] * FREE_TRIES
    assert grown[FREE_TRIES : FREE_TRIES + 4] == [2, 4, 8, 16]
    assert max(grown) == grown[-1] == LONGEST_WAIT_S


def test_guesses_sent_at_once_count_before_they_are_found_wrong():
    waits = Waits(Seconds())

    passed = [waits.try_now(["name:ana"]) == 0 for _ in range(100)]

    assert sum(passed) == FREE_TRIES


def test_a_right_guess_clears_the_name_but_not_what_the_address_guessed_elsewhere():
    waits = Waits(Seconds())
    for name in ("ana", "ben", "carl"):
        waits.try_now([f"name:{name}", "address:7"])
    assert waits.try_now(["name:me", "address:7"]) == 0
    waits.right("name:me", not_counted=["address:7"])

    assert waits.try_now(["name:me", "address:7"]) == 0
    assert waits.try_now(["name:me", "address:7"]) > 0
    assert waits.try_now(["name:me", "address:8"]) == 0


def test_what_is_long_ago_is_forgotten_and_memory_is_bounded():
    seconds = Seconds()
    waits = Waits(seconds)
    for _ in range(FREE_TRIES):
        waits.try_now(["name:ana"])
    assert waits.try_now(["name:ana"]) > 0
    seconds.now += FORGOTTEN_AFTER_S
    assert waits.try_now(["name:ana"]) == 0

    for number in range(MOST_KEPT + 50):
        waits.try_now([f"address:{number}"])
    assert len(waits._tries) == MOST_KEPT


def test_devices_codes_and_keys_that_ended_long_ago_are_taken_away_whenever_one_is_made(people, ana, clock):
    lasting = people.make_token(ana, "helper", "logger")
    ended = people.make_token(ana, "viewer", "old script")
    people.end(people.token(ended.secret)[0].id)
    people.pairing_code(ana)
    people.log_in("Ana", GOOD, "phone")
    assert len(people.accounts.keys_of()) == 4

    clock.moment += KEPT_AFTER_END
    people.pairing_code(ana)
    assert len(people.accounts.keys_of()) == 5

    clock.moment += PASSPHRASE_SESSION + timedelta(hours=1)
    people.pairing_code(ana)
    assert [key.label for key in people.accounts.keys_of()] == ["pairing", "logger"]
    assert people.token(lasting.secret) is not None
