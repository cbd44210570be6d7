"""The page of growth: stages in one tap, taken back within the hour, and what the tree is foreseen to do."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service.ledger import Stage, says
from fruitwall.web.season.growth import routes
from fruitwall.web.who import Who
from tests.service.past import LATER, enter, house_with_past
from tests.web.markup import read_page

PAGE = "/season/growth"


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


@pytest.fixture
def client(client_of, house):
    return client_of(house=house)


def post(client, path=PAGE, **fields):
    return client.post(path, data=fields, follow_redirects=False)


def test_every_tree_has_its_year_and_a_button_for_each_stage(client, house):
    page = read_page(client.get(PAGE).text)
    trees = list(page.all("details", cls="growth-tree"))
    assert len(trees) == 3
    for tree in trees:
        assert len([one for one in tree.all("button") if one.attributes.get("name") == "stage"]) == 8
        assert len(list(tree.all("svg", cls="growth-strip"))) >= 2
    mango = trees[0].text
    assert "early December – late April 2027" in mango or "now, until late April 2027" in mango
    assert "published" in mango


def test_one_tap_enters_a_stage_twice_is_once_and_it_can_be_taken_back(client, house):
    for _ in range(2):
        answer = post(client, tree="mango", stage="bloom")
        assert (answer.status_code, answer.headers["location"]) == (303, f"{PAGE}?tree=mango#tree-mango")
    (entry,) = house.ledger.current(kind="stage")
    assert entry.tree == "mango"
    page = read_page(client.get(f"{PAGE}?tree=mango").text)
    mango = page.one(id="tree-mango")
    assert "open" in mango.attributes
    assert "flowers since" in mango.text
    back = [one for one in mango.all("button") if one.attributes.get("name") == "entry"]
    assert [one.attributes["value"] for one in back] == [entry.id]

    assert post(client, f"{PAGE}/take-back", tree="mango", entry=entry.id).status_code == 303
    assert house.ledger.current(kind="stage") == []
    assert "flowers since" not in client.get(PAGE).text
    # What was taken back can be entered again.
    post(client, tree="mango", stage="bloom")
    assert len(house.ledger.current(kind="stage")) == 1


def test_whoever_taps_another_stage_and_the_first_one_again_means_the_first(client_of, house):
    moments = [LATER]
    client = client_of(house=replace(house, clock=lambda: moments[0]))
    for stage in ("bloom", "fruit_set", "bloom", "bloom"):
        moments[0] += timedelta(minutes=1)
        assert post(client, tree="mango", stage=stage).status_code == 303
    assert sorted(says(one).stage for one in house.ledger.current(kind="stage")) == ["bloom", "bloom", "fruit_set"]


def test_after_an_hour_it_is_corrected_on_the_trees_page(client_of, tmp_path):
    moments = [LATER]
    with open_journal(tmp_path / "b.db") as journal:
        house = house_with_past(journal, tmp_path, clock=lambda: moments[-1])
        client = client_of(house=house)
        number = enter(house, Stage(stage="bloom"), "mango", LATER)
        moments.append(LATER + timedelta(minutes=90))
        page = read_page(client.get(PAGE).text)
        assert not [one for one in page.all("button") if one.attributes.get("name") == "entry"]
        assert f"/trees/mango/{number}" in client.get(PAGE).text
        answer = post(client, f"{PAGE}/take-back", tree="mango", entry=number)
        assert answer.status_code == 422
        assert "more than an hour ago" in answer.text
        assert len(house.ledger.current(kind="stage")) == 1


@pytest.mark.parametrize(
    ("day", "says"),
    [
        ("2999-01-01", "That day has not come yet"),
        ("soon", "The day must be written such as"),
        ("0001-01-01", "The day must be written such as"),
    ],
)
def test_a_day_that_cannot_be_keeps_what_was_typed_and_says_why(client, house, day, says):
    answer = post(client, tree="lime", stage="flush", day=day)
    assert answer.status_code == 422
    page = read_page(answer.text)
    (tree,) = [one for one in page.all("details", cls="growth-tree") if "open" in one.attributes]
    assert says in tree.text
    field = next(one for one in tree.all("input") if one.attributes.get("type") == "date")
    assert field.attributes["value"] == day
    assert house.ledger.current(kind="stage") == []


def test_an_earlier_day_counts_from_its_noon(client, house):
    day = LATER.date() - timedelta(days=30)
    post(client, tree="lime", stage="fruit_set", day=day.isoformat())
    (entry,) = house.ledger.current(kind="stage")
    local = entry.at.astimezone(ZoneInfo(house.yard()[0].location.time_zone))
    assert (local.date(), local.hour) == (day, 12)


def test_neither_a_strange_tree_nor_a_strange_stage_is_entered(client, house):
    assert post(client, tree="palm", stage="bloom").status_code == 404
    assert post(client, tree="mango", stage="asleep").status_code == 404
    assert house.ledger.current(kind="stage") == []


def test_on_the_walk_a_stage_is_one_tap_as_well(client, house):
    form = read_page(client.get("/walk/mango").text).one("form", cls="stage-taps")
    assert len([one for one in form.all("button") if one.attributes.get("name") == "stage"]) == 8
    answer = post(client, tree="mango", stage="flush", place="walk")
    assert answer.headers["location"] == "/walk/mango#stage"
    assert "New flush, just now" in client.get("/walk/mango").text


def test_who_only_looks_finds_no_buttons(client, monkeypatch):
    monkeypatch.setattr(routes, "who", lambda _: Who("Eva", "viewer"))
    page = read_page(client.get(PAGE).text)
    assert not [one for one in page.all("button") if one.attributes.get("name") == "stage"]


def test_the_page_speaks_spanish(client):
    post(client, tree="mango", stage="bloom")
    text = client.get(PAGE, headers={"accept-language": "es"}).text
    assert "Árbol por árbol" in text
    assert "flores desde el" in text
    assert "finales de abril de 2027" in text
    assert "harvest" not in read_page(text).one("main").text.lower()
