"""The page of what a sighting may come of: probabilities with reasons, questions of one touch, mends."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.ledger import Sighting, Signed, body_of, entry_of
from fruitwall.service.walk import walking_order
from fruitwall.web.causes import routes
from fruitwall.web.causes.page import bar_of, cause_url
from fruitwall.web.who import Who
from tests.web.markup import read_page
from tests.web.sample import NOW


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


def look(house: House, tree: str = "papaya", *, days: float = 0.0, **said: object) -> str:
    body = Sighting.model_validate({"grade": 3, "signs": ["brown"]} | said)
    at = NOW - timedelta(days=days)
    entry = entry_of("sighting", body, tree=tree, at=at, signed=Signed("Ana", "phone", NOW))
    house.ledger.add([entry])
    return entry.id


def post(client: TestClient, which: str, tree: str = "papaya", **fields: str):
    data = {"entry": str(uuid.uuid4())} | fields
    return client.post(cause_url(tree, which), data=data, follow_redirects=False)


def test_the_page_names_causes_with_their_probability_and_why(client, house):
    which = look(house, signs=["yellow", "old_leaves", "fallen", "tips_green"], grade=2, note="under the eaves")
    page = read_page(client.get(cause_url("papaya", which)).text)
    causes = page.one("ol", cls="causes")
    lines = [one.text for one in causes.all("p", cls="cause-line")]
    assert lines[0].startswith("Natural shedding or rest")
    assert len(lines) == 5
    assert lines[4].startswith("All others: ")
    assert page.one("h2", id="verdict").text in (
        "Probably: natural shedding or rest",
        "Almost surely: natural shedding or rest",
    )
    assert "Seen: shoot tips green and firm." in causes.text
    assert "under the eaves" in page.text
    assert "Nothing: it rests or changes its leaf." in page.text
    assert "California Rare Fruit Growers" in page.text  # who says so


def test_shares_shown_sum_to_the_whole(client, house):
    page = read_page(client.get(cause_url("papaya", look(house))).text)
    shares = [re.search(r"(\d+)\W%", one.text) for one in page.all("p", cls="cause-line")]
    assert sum(int(share[1]) for share in shares if share) == pytest.approx(100, abs=3)


def test_a_question_is_answered_in_one_touch_and_undone_in_another(client, house):
    which = look(house)
    page = read_page(client.get(cause_url("papaya", which)).text)
    forms = list(page.one("section", id="questions").all("form"))
    assert 1 <= len(forms) <= 2
    fields = {one.attributes["name"]: one.attributes["value"] for one in forms[0].all("input")}
    button = next(iter(forms[0].all("button"))).attributes
    answered = client.post(
        cause_url("papaya", which), data=fields | {button["name"]: button["value"]}, follow_redirects=False
    )
    assert answered.status_code == 303
    (standing,) = house.ledger.current(tree="papaya")
    assert answered.headers["location"] == cause_url("papaya", standing.id)
    body = body_of(standing)
    assert isinstance(body, Sighting)
    assert body.asked == [fields["asked"]]
    assert button["value"] in body.signs

    undone = post(client, standing.id, undo=fields["asked"])
    assert undone.status_code == 303
    (standing,) = house.ledger.current(tree="papaya")
    assert body_of(standing) == Sighting(grade=3, signs=["brown"])


def test_at_most_two_questions_stand_on_the_page_answered_ones_counted(client, house):
    for asked in ([], ["wood"], ["wood", "soil"]):
        page = read_page(client.get(cause_url("papaya", look(house, asked=asked, days=len(asked)))).text)
        questions = list(page.all("fieldset", cls="question"))
        assert len(questions) <= 2 - len(asked)
        assert page.text.count("Undo this answer") == len(asked)


def test_an_old_address_leads_to_what_stands_now(client, house):
    which = look(house)
    post(client, which, asked="soil", said="none")
    (standing,) = house.ledger.current(tree="papaya")
    answer = client.get(cause_url("papaya", which), follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, cause_url("papaya", standing.id))
    assert post(client, which, asked="wood", said="none").status_code == 409


def test_what_is_not_there_is_not_found(client, house):
    sound = look(house, grade=0, signs=[])
    hurt = look(house, days=1)
    for tree, which in (("papaya", sound), ("papaya", str(uuid.uuid4())), ("guava", hurt), ("moon", hurt)):
        assert client.get(cause_url(tree, which)).status_code == 404
    assert post(client, str(uuid.uuid4()), asked="wood", said="none").status_code == 404
    assert post(client, hurt, asked="moon", said="full").status_code == 409
    assert post(client, hurt, move="moon").status_code == 409
    assert client.post(cause_url("papaya", hurt), data={"asked": "wood"}).status_code == 422


def test_a_look_is_moved_to_the_tree_that_was_meant(client, house):
    other = next(tree.id for tree in house.yard()[0].trees if tree.id != "papaya")
    which = look(house)
    moved = post(client, which, move=other)
    (standing,) = house.ledger.current()
    assert standing.tree == other
    assert moved.headers["location"] == cause_url(other, standing.id)
    assert client.get(moved.headers["location"]).status_code == 200


def test_a_doubtful_look_is_named_on_the_tree_the_walk_and_its_own_page(client, house):
    look(house, grade=4, days=20)
    which = look(house, grade=1)
    told = "burnt leaf does not heal"
    for address in ("/trees/papaya", "/walk", "/walk/papaya", cause_url("papaya", which)):
        assert told in client.get(address).text, address
    assert told not in client.get("/trees/guava").text


def test_tree_and_walk_offer_it_where_something_is_wrong_and_only_there(client, house):
    which = look(house)
    for address in ("/trees/papaya", "/walk", "/walk/papaya"):
        assert client.get(address).text.count(cause_url("papaya", which)) == 1
    assert "Perhaps: " in client.get("/trees/papaya").text or "Not to be told yet" in client.get("/trees/papaya").text
    sound = look(house, grade=0, signs=["new_growth"])
    for address in ("/trees/papaya", "/walk", "/walk/papaya"):
        assert cause_url("papaya", sound) not in client.get(address).text


def test_without_scripts_the_next_tree_of_the_walk_offers_the_one_just_seen(client, house):
    first, second = walking_order(house.yard()[0])[:2]
    fields = {"entry": str(uuid.uuid4()), "grade": "3", "act": "save"}
    text = client.post(f"/walk/{first.id}", data=fields).text
    assert f'action="/walk/{second.id}"' in text
    (entry,) = house.ledger.current()
    offered = read_page(text).one("p", cls="just-seen").one("a")
    assert offered.attributes["href"] == cause_url(first.id, entry.id)
    assert offered.text == f"{first.name}: what is it?"


def test_the_history_says_that_a_look_was_moved(client, house):
    other = next(tree.id for tree in house.yard()[0].trees if tree.id != "papaya")
    which = look(house)
    post(client, which, move=other)
    (standing,) = house.ledger.current()
    for tree, entry in ((other, standing.id), ("papaya", which)):
        assert "Moved to the tree that was meant" in client.get(f"/trees/{tree}/{entry}").text


def test_tree_and_walk_are_shown_where_nothing_can_be_worked_out(client, house, monkeypatch):
    from fruitwall.web.causes import beside

    def broken(*_: object) -> None:
        raise ValueError("weather that cannot be")

    for name in ("findings_of", "doubts_of"):
        monkeypatch.setattr(beside, name, broken)
    look(house)
    for address in ("/trees/papaya", "/walk", "/walk/papaya"):
        assert client.get(address).status_code == 200


def test_a_viewer_reads_and_has_nothing_to_press(client, house, monkeypatch):
    look(house, grade=4, days=20)
    which = look(house, grade=1, asked=["wood"])
    monkeypatch.setattr(routes, "who", lambda _: Who(role="viewer"))
    page = client.get(cause_url("papaya", which)).text
    assert "<button" not in page
    assert "<select" not in page


def test_it_is_told_in_spanish(client, house):
    which = look(house, signs=["yellow", "old_leaves", "fallen", "tips_green"], grade=2)
    page = read_page(client.get(cause_url("papaya", which), headers={"accept-language": "es"}).text)
    assert "caída natural o reposo" in page.one("h2", id="verdict").text
    assert "Visto: puntas de los brotes verdes y firmes." in page.text
    assert "Nada: reposa o cambia la hoja." in page.text
    assert not [word for word in ("Seen:", "What to", "Why", "Cannot tell") if word in page.text]


@pytest.mark.parametrize(("share", "width"), [(0.0, "0.5"), (0.5, "50.0"), (1.0, "100.0")])
def test_a_bar_is_as_long_as_its_share(share, width):
    assert f'width="{width}"' in bar_of(share)
