"""The page of many winters."""

from __future__ import annotations

from collections.abc import Callable
from threading import Event

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.winters import PARTS, note_verdict
from fruitwall.service.winters_weather import WeatherChoice
from fruitwall.service.work import Progress
from fruitwall.speech import told
from fruitwall.web.winters.choice import choice_asked, choice_query
from fruitwall.web.winters.runner import Runner
from tests.service.many_winters import winters_file, winters_house
from tests.web.markup import read_page

__all__ = ["winters_file", "winters_house"]

PAGE = "/winters"


@pytest.fixture
def client(client_of: Callable[..., TestClient], winters_house: House) -> TestClient:
    return client_of(house=winters_house)


def test_the_winters_are_told_and_what_can_be_asked_of_them(client):
    page = read_page(client.get(PAGE).text)
    main = page.one("main")

    assert "12 real winters are known, 2010/11 to 2021/22" in main.text
    links = [one.attributes["href"] for one in main.one("ul", cls="winters-parts").all("a")]
    assert links == [f"/winters/{one.key}" for one in PARTS]
    rows = list(main.one("table").all("tr"))
    assert len(rows) == 13
    assert rows[1].one("th").text == "2021/22"


def test_every_part_that_is_linked_has_its_page(client):
    for part in PARTS:
        assert client.get(f"/winters/{part.key}?warmer=2").status_code in (200, 202), part.key


def test_how_they_are_taken_is_kept_in_the_form_and_goes_on_to_the_parts(client):
    page = read_page(client.get(f"{PAGE}?warmer=2.5&weighting=recent&winters=12&trend_out=1").text)
    form = page.one("form", cls="winters-choice")

    chosen = [one.attributes["value"] for one in form.all("option") if "selected" in one.attributes]
    assert chosen == ["2.5", "recent", "12"]
    assert "checked" in form.one("input").attributes
    assert "2.5 K warmer than they were" in page.one("main").text
    link = next(page.one("ul", cls="winters-parts").all("a")).attributes["href"]
    assert link == "/winters/years?warmer=2.5&weighting=recent&trend_out=1&winters=12"


@pytest.mark.parametrize("query", ["warmer=99", "warmer=nan", "warmer=hot", "weighting=some", "winters=0"])
def test_an_impossible_choice_is_refused_with_its_reason(client, query):
    answer = client.get(f"{PAGE}?{query}")

    assert answer.status_code == 422
    assert query.split("=")[0] in answer.text


def test_a_choice_comes_back_from_its_address():
    choice = WeatherChoice(1.5, "recent", True, 25)

    assert choice_query(choice) == "?warmer=1.5&weighting=recent&trend_out=1&winters=25"
    assert choice_query(WeatherChoice()) == ""
    assert choice_asked(1.5, "recent", True, 25) == choice


def test_what_a_part_said_last_stands_beside_it(client, winters_house):
    note_verdict(winters_house, "years", WeatherChoice(), told("The zone of these winters is {zone}", zone="9b"))

    assert "The zone of these winters is 9b" in client.get(PAGE).text
    spanish = client.get(PAGE, headers={"accept-language": "es"}).text
    assert "La zona de estos inviernos es 9b" in spanish
    assert "<h1>Inviernos</h1>" in spanish


def test_work_that_goes_on_is_told_and_leads_to_its_page(client_of, winters_house, monkeypatch):
    runners: list[Runner] = []

    class Noted(Runner):
        def __init__(self) -> None:
            super().__init__()
            runners.append(self)

    monkeypatch.setattr("fruitwall.web.app.Runner", Noted)
    client = client_of(house=winters_house)
    begun, done = Event(), Event()

    def do(heard, _stop) -> None:
        heard(Progress(0.42, 200.0, ""))
        begun.set()
        done.wait(20)

    runners[0].start("a", do, what="House rules", place="/winters/rules")
    runners[0].start("b", lambda _heard, _stop: None, what="Years", place="/winters/years?warmer=2")
    assert begun.wait(20)
    answer = client.get(PAGE)
    done.set()

    work = next(read_page(answer.text).one("main").all("ul", cls="winters-parts"))
    assert [one.text for one in work.all("a")] == ["House rules: 42 % done. About 3 min is left.", "Years: waits."]
    assert [one.attributes["href"] for one in work.all("a")] == ["/winters/rules", "/winters/years?warmer=2"]
    assert answer.headers["refresh"] == "10"


def test_without_winters_the_page_says_how_to_get_some(client_of, house):
    page = read_page(client_of(house=house).get(PAGE).text)

    assert "No whole winter of other years is known here" in page.one("main").text
    assert "fruitwall climate fetch --years 30" in page.one("main").text
    assert not list(page.one("main").all("form"))


def test_it_is_one_of_the_areas(client):
    assert f'href="{PAGE}"' in client.get("/more").text


def test_a_price_that_is_none_is_told_also_where_its_form_is_not_worked_out_any_more(client):
    answer = client.post("/winters/gear", data={"key": "cover/fleece", "price": "twelve"})

    assert answer.status_code == 422
    assert "“twelve” is no price" in answer.text or "&#34;twelve&#34; is no price" in answer.text
