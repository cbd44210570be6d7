"""The page of settings: language and units of a browser or an account, the backup, who may what."""

from __future__ import annotations

import io
import tempfile
import zipfile
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from fruitwall.errors import JournalError
from fruitwall.journal.backup import look_into
from fruitwall.service.accounts import People, Preferences, preferences_of
from fruitwall.service.accounts_passphrases import Passphrases
from fruitwall.service.backups import last_backup
from fruitwall.service.notify_targets import targets_of
from fruitwall.web.access.reach import Reach
from fruitwall.web.reader import COOKIE, as_cookie, display_of, from_cookie
from fruitwall.web.who import Who
from tests.web.markup import read_page
from tests.web.sample import NOW, sample_yard

GOOD = "stone pear window"


@pytest.fixture
def reach():
    quick = Passphrases(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    return Reach(now=lambda: NOW, seconds=NOW.timestamp, passphrases=quick, cookie_key=b"k" * 32)


@pytest.fixture
def people(house, reach):
    return People(house.accounts, reach.now, reach.passphrases)


@pytest.fixture
def browser(make_app, house, reach):
    headers = {"sec-fetch-site": "same-origin"}
    return TestClient(
        make_app(house=house, reach=reach), base_url="http://localhost", headers=headers, follow_redirects=False
    )


def test_a_browser_without_account_keeps_its_own_units_and_language(browser):
    chosen = {"language": "es", "temperature": "F", "length": "ft", "mass": ""}
    answer = browser.post("/settings/own/reads", data=chosen)

    assert (answer.status_code, answer.headers["location"]) == (303, "/settings?done=reads")
    assert {"HttpOnly", "SameSite=lax"} <= {part.strip() for part in answer.headers["set-cookie"].split(";")}
    page = browser.get("/settings")
    assert '<html lang="es">' in page.text
    assert '<option value="F" selected>' in page.text
    assert '<option value="" selected>' in page.text
    assert "Pies</option>" in page.text
    assert "ft" in browser.get("/yard?pick=mango-grafted").text


def test_what_is_not_known_counts_as_not_chosen(browser):
    browser.post("/settings/own/reads", data={"language": "xx", "temperature": "K", "length": "m", "mass": "stone"})

    assert from_cookie(browser.cookies[COOKIE]) == Preferences(length="m")
    assert from_cookie("es.F.ft.-") == Preferences(language="es", temperature="F", length="ft")
    for text in ("", "es", "a.b.c.d.e", "a.b.c.d.e.f", "<script>.F.m", "....", "-.-.-.-", "é.F"):
        assert from_cookie(text) == Preferences()
    every = Preferences(language="es", temperature="F", length="ft", mass="lb", volume="gal")
    assert from_cookie(as_cookie(every)) == every


def test_an_account_keeps_its_choice_whatever_the_role_and_others_keep_theirs(browser, people):
    people.add("Ana", "owner", GOOD)
    vera = people.add("Vera", "viewer", GOOD)
    browser.post("/log-in", data={"name": "Vera", "passphrase": GOOD})

    answer = browser.post("/settings/own/reads", data={"language": "es", "temperature": "F"})

    assert answer.status_code == 303
    assert COOKIE not in browser.cookies
    assert preferences_of(people.numbered(vera.id)) == Preferences(language="es", temperature="F")
    assert preferences_of(people.named("Ana")) == Preferences()
    assert '<html lang="es">' in browser.get("/settings").text


def test_volumes_are_read_in_the_units_that_were_chosen(browser):
    before = browser.get("/household?pick=hoops").text
    browser.post("/settings/own/reads", data={"volume": "gal"})
    after = browser.get("/household?pick=hoops").text
    assert 'name="vessel" value="200"' in before
    assert 'name="vessel" value="52.83"' in after


def test_the_units_of_the_yard_stand_where_nothing_was_chosen():
    yard = sample_yard()
    read = display_of(yard, Who(length="ft"))
    assert (read.length, read.temperature, read.mass) == ("ft", yard.display.temperature, yard.display.mass)


def test_the_backup_is_whole_and_leaves_nothing_behind(browser, tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    before = set(tmp_path.iterdir())
    answer = browser.post("/settings/backup")

    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == 'attachment; filename="fruitwall-2026-12-22-2200.zip"'
    assert answer.headers["cache-control"] == "no-store"
    assert zipfile.ZipFile(io.BytesIO(answer.content)).testzip() is None
    assert set(tmp_path.iterdir()) == before
    kept = Path(tmp_path / "kept.zip")
    kept.write_bytes(answer.content)
    assert look_into(kept).rows["yards"] == 1


def test_only_the_owner_gets_the_backup(browser, people):
    people.add("Ana", "owner", GOOD)
    people.add("Hal", "helper", GOOD)
    assert browser.post("/settings/backup").status_code == 401
    browser.post("/log-in", data={"name": "Hal", "passphrase": GOOD})

    assert browser.post("/settings/backup").status_code == 403
    assert "/settings/backup" not in browser.get("/settings").text


def test_another_site_cannot_make_a_browser_choose_or_download(browser):
    foreign = {"sec-fetch-site": "cross-site", "origin": "http://evil.example"}
    assert browser.post("/settings/own/reads", data={"language": "es"}, headers=foreign).status_code == 403
    assert browser.post("/settings/backup", headers=foreign).status_code == 403


def test_the_page_leads_to_people_and_pairing_and_names_every_field(browser):
    page = read_page(browser.get("/settings").text)
    links = {one.attributes.get("href") for one in page.all("a")}
    assert {"/settings/people", "/pair", "/kinds"} <= links
    labels = {one.attributes["for"] for one in page.all("label")}
    fields = [*page.all("select"), *(one for one in page.all("input") if one.attributes.get("type") != "hidden")]
    assert {one.attributes["id"] for one in fields} == labels


def test_the_last_backup_is_told_and_an_old_one_is_warned_of(client_of, house, reach):
    def shown(days=0):
        later = replace(house, clock=lambda: NOW + timedelta(days=days))
        return client_of(house=later, reach=reach).get("/settings").text

    assert "No backup was made so far. Make one now" in shown()
    assert last_backup(house.journal) is None
    client_of(house=house, reach=reach).post("/settings/backup", headers={"sec-fetch-site": "same-origin"})

    assert last_backup(house.journal).author == "owner"
    assert "Last made Tue 22 Dec, 14:00 (2\N{NO-BREAK SPACE}days ago)." in shown(2)
    assert "Make one now" not in shown(2)
    assert "Make one now" in shown(31)


def test_a_backup_that_fails_is_not_told_to_be_made(client_of, house, reach, monkeypatch):
    def fails(*_, **__):
        raise JournalError("the disk is full")

    monkeypatch.setattr("fruitwall.journal.backup.look_into", fails)
    answer = client_of(house=house, reach=reach).post("/settings/backup", headers={"sec-fetch-site": "same-origin"})
    assert answer.status_code == 422
    assert last_backup(house.journal) is None


def test_targets_of_messages_are_kept_and_never_shown_whole(browser, house):
    page = browser.get("/settings").text
    assert "fruitwall does not send any message yet" in page
    sent = {"name": "Ana <b>", "address": "tgram://123:SECRETSECRET/9"}
    assert browser.post("/settings/targets", data=sent).headers["location"] == "/settings?done=target#targets"
    (target,) = targets_of(house.ledger)
    page = browser.get("/settings").text
    assert "SECRETSECRET" not in page
    assert "tgram://… (18 characters)" in page
    assert "Ana &lt;b&gt;" in page

    wrong = browser.post("/settings/targets", data={"name": "Bo", "address": "nowhere"})
    assert wrong.status_code == 422
    form = read_page(wrong.text)
    assert form.one(id="target-address").attributes["value"] == "nowhere"
    assert form.one(id="target-name").attributes["value"] == "Bo"
    assert "begins like ntfy://" in form.one(id="target-wrong").text

    browser.post("/settings/targets/remove", data={"target": target.id})
    assert targets_of(house.ledger) == []


def test_only_the_owner_sees_and_changes_targets(browser, house, people):
    browser.post("/settings/targets", data={"name": "Ana’s", "address": "ana@example.org"})
    people.add("Ana", "owner", GOOD)
    people.add("Hal", "helper", GOOD)
    browser.post("/log-in", data={"name": "Hal", "passphrase": GOOD})

    page = browser.get("/settings").text
    assert "example.org" not in page
    assert "/settings/targets" not in page
    assert browser.post("/settings/targets", data={"name": "x", "address": "x@example.org"}).status_code == 403
    (target,) = targets_of(house.ledger)
    assert browser.post("/settings/targets/remove", data={"target": target.id}).status_code == 403


def test_the_clock_of_the_yard_is_told(browser):
    told = "All times are those of the yard, for everybody: America/Los_Angeles, where it is now Tue 22 Dec, 14:00."
    assert told in browser.get("/settings").text
