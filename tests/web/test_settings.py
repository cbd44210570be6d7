"""The page of settings: language and units of a browser or an account, the backup, who may what."""

from __future__ import annotations

import io
import tempfile
import zipfile
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from fruitwall.journal.backup import look_into
from fruitwall.service.accounts import People, Preferences, preferences_of
from fruitwall.service.accounts_passphrases import Passphrases
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
    for text in ("", "es", "a.b.c.d.e", "<script>.F.m", "....", "-.-.-.-", "é.F"):
        assert from_cookie(text) == Preferences()
    every = Preferences(language="es", temperature="F", length="ft", mass="lb")
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
    assert {one.attributes["id"] for one in page.all("select")} == labels
