"""The page of placing and its address for programs; physics is made up."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from tests.service.placing_made import placing_file, placing_house
from tests.web.markup import read_page

__all__ = ["placing_file", "placing_house"]

KIND = "/placing?ask=kind&kind=mangifera-indica&age=3"


@pytest.fixture
def client(client_of: Callable[..., TestClient], placing_house: House) -> TestClient:
    return client_of(house=placing_house)


def worked_out(client: TestClient, place: str) -> TestClient:
    """Press the button of the working page, and wait until the answer is there."""
    first = client.get(place)
    assert first.status_code == 202
    form = read_page(first.text).one("form")
    sent = {one.attributes["name"]: one.attributes["value"] for one in form.all("input")}
    answer = client.post(form.attributes["action"], data=sent)
    for _ in range(60):
        if answer.status_code == 200:
            return answer
        answer = client.get(place)
    raise AssertionError("it was never worked out")


def test_without_a_question_the_forms_stand_there(client):
    page = read_page(client.get("/placing").text)
    asked = [one.attributes["value"] for one in page.all("input") if one.attributes["name"] == "ask"]
    assert asked == ["kind", "pot", "list", "all"]
    assert any(one.text == "Mango" for one in page.all("option"))
    assert [one.attributes["value"] for one in page.one("select", id="placing-pot").all("option")] == ["pot"]


def test_a_kind_is_shown_with_map_legend_and_numbered_places(client):
    page = read_page(worked_out(client, KIND).text)
    assert page.one("h2", id="answer-mangifera-indica").text == "Mango"
    picture = page.one("svg", cls="placing-map")
    assert "chance of mango" in picture.attributes["aria-label"]
    numbers = [one.text for one in page.all("span", cls="placing-number")]
    assert numbers == [str(number) for number in range(1, len(numbers) + 1)]
    assert len(list(page.one("ul", cls="placing-legend").all("li"))) == 5
    ids = [one.attributes["id"] for one in page.all("pattern")]
    assert len(ids) == len(set(ids))
    chosen = [one.text for one in page.one("select", id="placing-kind").all("option") if "selected" in one.attributes]
    assert chosen == ["Mango"]
    assert "Before you dig" in page.one("main").text


def test_a_container_a_list_and_the_ranking_are_shown(client):
    pot = read_page(worked_out(client, "/placing?ask=pot&pot=pot").text)
    assert "Mango in a pot" in pot.one("h2", id="answer-pot").text
    listed = read_page(worked_out(client, "/placing?ask=list&list=mango%3A2%0Alychee&age=3").text)
    assert listed.one("textarea").text.split() == ["mango:2", "lychee"]
    assert any(one.attributes["class"] == "place-crown" for one in listed.all("circle"))
    ranking = read_page(worked_out(client, "/placing?ask=all").text)
    assert len(list(ranking.one("main").all("summary"))) > 100


@pytest.mark.parametrize(
    ("query", "error", "kept"),
    [
        ("ask=list&list=mangoo%20tree", "placing-list-error", "mangoo tree"),
        ("ask=pot&pot=nobody", "placing-pot-error", ""),
        ("ask=kind&kind=xyzzy", "placing-kind-error", ""),
    ],
)
def test_what_cannot_be_read_is_told_at_its_form_and_kept(client, query, error, kept):
    answer = client.get(f"/placing?{query}")
    page = read_page(answer.text)
    assert answer.status_code == 422
    assert page.one("p", id=error).text
    assert kept in page.one("textarea").text


def test_how_the_winters_are_taken_goes_from_form_to_form(client):
    page = read_page(client.get("/placing?warmer=2").text)
    hidden = [one.attributes["value"] for one in page.all("input") if one.attributes["name"] == "warmer"]
    assert hidden == ["2"] * 4


def test_programs_get_the_answer_or_how_far_it_is(client):
    for _ in range(60):
        answer = client.get("/api/placing", params={"taxon": ["mango", "lychee"]})
        if answer.status_code == 200:
            break
        assert answer.status_code == 202
        assert answer.headers["retry-after"]
        assert answer.json()["state"] in ("waiting", "running")
    assert [one["taxon"] for one in answer.json()["kinds"]] == ["Mangifera indica", "Litchi chinensis"]
    assert client.get("/api/placing").status_code == 422
    assert client.get("/api/placing", params={"taxon": "mango", "pot": "pot"}).status_code == 422
    assert client.get("/api/placing", params={"taxon": "xyzzy"}).status_code == 422
    assert client.get("/api/placing", params={"taxon": ["mango"] * 13}).status_code == 422


def test_what_a_program_asked_for_is_there_for_the_page(client):
    for _ in range(60):
        answer = client.get("/api/placing", params={"taxon": "mango", "age": 5})
        if answer.status_code == 200:
            break
    assert client.get("/placing?ask=kind&kind=mango&age=5").status_code == 200
