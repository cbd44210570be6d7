"""The page of surprises, the commands, and the documents for scripts."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from fruitwall.cli import main
from fruitwall.errors import FruitwallError
from fruitwall.service import surprises as found_in
from fruitwall.service import taught as taught_in
from fruitwall.service.evening_document import Spread
from fruitwall.service.house import House
from fruitwall.service.surprises import Surprise
from fruitwall.service.taught import Taught
from fruitwall.web.surprises.page import range_bar
from fruitwall.yard.file import write_yard
from fruitwall.yard.model import Yard
from tests.service.test_surprises import every_kind, lemon_yard, look, night, taught
from tests.web.markup import read_page
from tests.web.sample import NOW

PAGE = "/surprises"
ENTRY = "3b241101-e2bb-4255-8caf-4136c566a962"


@pytest.fixture
def yard() -> Yard:
    return lemon_yard()


@pytest.fixture
def house(database: str, tmp_path, yard: Yard):
    from fruitwall.journal.opening import open_journal
    from fruitwall.journal.photos import PhotoFolder

    with open_journal(database) as journal:
        journal.store_yard(write_yard(yard), name=yard.name, now=NOW, author="test")
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


@pytest.fixture
def known(monkeypatch: pytest.MonkeyPatch, yard: Yard) -> tuple[list[Surprise], Taught]:
    """Every kind of surprise, as if the yard had taught it."""
    from fruitwall.learning.tolerances import Shift

    some = every_kind(yard)
    sure = (0.9, 0.04, 0.03, 0.02, 0.01, 0.0, 0.0, 0.0)
    learned = taught(yard, Shift(2.0, 0.5), (look(4, sure, night(0, -2.5)),))
    monkeypatch.setattr(found_in, "surprises_of", lambda _: some)
    monkeypatch.setattr(taught_in, "taught", lambda _: learned)
    return some, learned


def test_without_anything_learned_the_page_says_what_is_needed(client):
    page = read_page(client.get(PAGE).text)

    assert "Nothing unexpected so far." in page.one("main").text
    assert "Hang a thermometer at a tree" in page.one("ul", cls="because").text
    assert [one.attributes["href"] for one in page.one("main").all("a")][:2] == ["/walk", "/weather#reading"]


def test_each_surprise_is_told_with_its_advice_its_strength_and_its_evidence(client, known):
    page = read_page(client.get(PAGE).text)
    articles = list(page.all("article"))

    assert len(articles) == len(known[0])
    assert [one.text for one in page.all("h2")] == [
        "What to change",
        "Trees that stand other than believed",
        "Spots other than reckoned",
        "What paid",
    ]
    for article in articles:
        assert article.one("p", cls="change").text
        assert next(article.all("summary")).text.startswith("Why do you believe this?")
    start = next(one for one in articles if one.attributes["id"].startswith("start-"))
    assert "Grade 4: Most leaf lost" in start.one("ul", cls="looks").text
    assert "Pull of this look" in start.one("ul", cls="looks").text
    assert f"/trees/lemon/{ENTRY}" in [one.attributes["href"] for one in start.all("a")]
    assert "Mon 1 Dec 2025 nothing 28 28" in start.one("table", cls="proof").text  # −2.5 °C


def test_before_and_after_stand_beside_their_drawing_in_words(client, known):
    page = read_page(client.get(PAGE).text)
    table = next(page.all("table", cls="ranges"))

    assert [one.text for one in table.all("th")][-2:] == ["believed before", "now"]
    assert len(list(table.all("svg"))) == 2


def test_bars_stay_on_their_axis_and_grow_with_what_they_show():
    bar = str(range_bar(Spread(p10=-8.0, p50=-4.0, p90=0.0), (-10.0, 10.0), "after"))

    assert 'x="10.0%" width="40.0%"' in bar.replace('height="10" ', "")
    assert 'x1="30.0%"' in bar
    beyond = str(range_bar(Spread(p10=-80.0, p50=-40.0, p90=90.0), (-10.0, 10.0), "before"))
    assert 'x="0.0%" width="100.0%"' in beyond


def test_the_page_is_one_of_the_areas_and_linked_from_the_trees(client):
    assert 'href="/surprises"' in client.get("/trees").text
    more = read_page(client.get("/more").text)
    assert any(one.attributes["href"] == PAGE for one in more.one("main").all("a"))


def test_the_page_speaks_spanish(client, known):
    page = client.get(PAGE, headers={"accept-language": "es"}).text

    assert "¿Por qué cree esto?" in page
    assert "Why do you believe this?" not in page


def test_whoever_comes_while_it_is_worked_out_is_told_so(client_of, house, monkeypatch):
    from threading import Event

    done = Event()
    monkeypatch.setattr(found_in, "surprises_of", lambda _: done.wait(20) and [])
    answer = client_of(house=house, patience_s=0.01).get(PAGE)
    done.set()

    assert answer.status_code == 202
    assert answer.headers["refresh"]
    assert "is being worked out" in answer.text


def test_scripts_get_the_same_as_the_page(client, known):
    some, learned = known
    found, trees = client.get("/api/surprises").json(), client.get("/api/learned").json()

    assert [(one["kind"], one["tree"]) for one in found] == [(one.kind, one.tree) for one in some]
    assert {one["kind"]: one["entries"] for one in found}["start"] == [ENTRY]
    stop = next(one for one in found if one["kind"] == "stop")
    assert stop["limit_c"] < 0
    assert stop["change"].startswith("Stop carrying it")
    (tree,) = trees
    assert tree["shift_k"] == learned.trees["lemon"].shift.mean_k
    assert tree["looks"][0]["pull_k"] == 0.4
    assert len(tree["looks"][0]["expected"]) == 8


# ---------------------------------------------------------------- the terminal


def run(capsys, monkeypatch, house: House, *words: str) -> tuple[int, str, str]:
    place = str(house.journal.place)
    monkeypatch.setattr(sys, "argv", ["fruitwall", *words, "--database", place, "--now", "2026-12-23T14:30"])
    with pytest.raises(SystemExit) as left:
        main()
    printed = capsys.readouterr()
    return int(left.value.code or 0), printed.out.replace("\N{NO-BREAK SPACE}", " "), printed.err


def test_the_terminal_lists_what_was_unexpected(capsys, monkeypatch, house, known):
    status, out, err = run(capsys, monkeypatch, house, "surprises")

    assert (status, err) == (0, "")
    assert "What to change" in out
    assert "→ Stop carrying it" in " ".join(out.split())
    assert "fruitwall learned TREE" in out


def test_the_terminal_says_what_is_needed_where_nothing_was_learned(capsys, monkeypatch, house):
    status, out, _ = run(capsys, monkeypatch, house, "surprises")

    assert status == 0
    assert "Nothing unexpected so far." in out
    assert "Hang a thermometer" in out


def test_the_terminal_speaks_spanish_and_gives_documents(capsys, monkeypatch, house, known):
    assert "Qué cambiar" in run(capsys, monkeypatch, house, "surprises", "--language", "es")[1]
    document = json.loads(run(capsys, monkeypatch, house, "surprises", "--json")[1])
    assert {one["kind"] for one in document} == {one.kind for one in known[0]}
    (tree,) = json.loads(run(capsys, monkeypatch, house, "learned", "lemon", "--json")[1])
    assert tree["tree"] == "lemon"


def test_the_terminal_shows_before_and_after_and_why(capsys, monkeypatch, house, known):
    _, out, _ = run(capsys, monkeypatch, house, "learned")
    name = known[1].trees["lemon"].name
    row = next(line for line in out.splitlines() if line.startswith(name))
    assert row.split()[-1] == "1"

    _, out, _ = run(capsys, monkeypatch, house, "learned", name)
    assert "Most leaf lost" in out
    assert f"/trees/lemon/{ENTRY}" in out

    status, _, err = run(capsys, monkeypatch, house, "learned", "limon")
    assert status == 2
    assert "lemon" in err


def test_a_tree_that_nobody_graded_says_so(capsys, monkeypatch, house, known):
    one = replace(known[1].trees["lemon"], evidence=())
    other = replace(one, tree="other", name="Other lemon", evidence=known[1].trees["lemon"].evidence)
    monkeypatch.setattr(taught_in, "taught", lambda _: replace(known[1], trees={"lemon": one, "other": other}))

    _, out, _ = run(capsys, monkeypatch, house, "learned", "lemon")

    assert "Nobody has graded this tree itself so far." in out
    assert "Other lemon" in out


def test_what_cannot_be_worked_out_is_told_in_one_line(capsys, monkeypatch, house):
    def broken(_: House) -> Taught:
        raise FruitwallError("trees name unknown kinds")

    monkeypatch.setattr(taught_in, "taught", broken)

    status, out, err = run(capsys, monkeypatch, house, "surprises")

    assert (status, out) == (2, "")
    assert err == "fruitwall: trees name unknown kinds\n"
