"""The page of the weather: the forecast and its age, coming nights, readings beside it, a reading by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from fruitwall.errors import SourceUnavailable
from fruitwall.journal.entries import Reading
from fruitwall.service.weather_desk import LastAsked, TooSoon
from fruitwall.service.weather_story import Compared, mean_errors, weather_story
from fruitwall.weather.sources.forecast import SERVICES as KNOWN
from fruitwall.web.weather.source import SERVICES
from fruitwall.web.who import Who
from tests.web.markup import read_page
from tests.web.sample import NIGHT, NOW, sample_plan, sample_yard, spread_around

MORNING = datetime(2026, 12, 22, 14, 0, tzinfo=UTC)  # six in the morning of the 22nd, by the clock of the yard


def planned(house, night, middle_c):
    plan = sample_plan()
    forecast = plan.forecast.model_copy(update={"station_minimum_c": spread_around(middle_c)})
    plan = plan.model_copy(update={"night": night, "forecast": forecast})
    made = NOW - (NIGHT - night)
    version = house.yard()[1]
    house.journal.store_plan(night, plan.model_dump_json(), version=version, made=made)
    return plan


@pytest.fixture
def spell(house):
    """Plans of two nights, and thermometers read after the first."""
    planned(house, NIGHT - timedelta(days=1), -1.0)
    planned(house, NIGHT, -2.0)
    read = [
        Reading("north wall", "air_temperature_c", MORNING - timedelta(hours=2), -2.5),
        Reading("north wall", "air_temperature_c", MORNING, -3.0),
        # In the afternoon it does not count, however cold.
        Reading("north wall", "air_temperature_c", MORNING + timedelta(hours=7), -9.0),
        Reading("post", "air_temperature_c", MORNING, -0.5),
        Reading("post", "soil_temperature_c", MORNING, -20.0),
    ]
    house.ledger.add_readings(read, received=NOW)
    return house


@pytest.fixture
def browser(client_of, house):
    client = client_of(house=house, yard=sample_yard())
    client.headers["sec-fetch-site"] = "same-origin"
    client.follow_redirects = False
    return client


def test_the_lowest_reading_of_each_thermometer_stands_beside_the_forecast_of_its_night(spell):
    story = weather_story(spell)

    assert [(one.night, one.sensor, one.lowest_c) for one in story.compared] == [
        (NIGHT - timedelta(days=1), "north wall", -3.0),
        (NIGHT - timedelta(days=1), "post", -0.5),
    ]
    assert [(one.sensor, one.nights, one.within, round(one.mean_k, 6)) for one in story.errors] == [
        ("north wall", 1, 0, -2.0),
        ("post", 1, 1, 0.5),
    ]


def test_coming_nights_are_those_of_the_newest_plan_that_are_not_over(spell):
    story = weather_story(spell)
    assert story.coming[0].night == NIGHT
    assert story.coming[0].minimum_c.p50 == -2.0
    assert [one.night for one in story.coming[1:]] == [
        NIGHT + timedelta(days=days) for days in range(1, len(story.forecast.following_minima_c) + 1)
    ]
    assert story.coming[1].dew_point_c is None


def test_mean_errors_are_of_each_thermometer():
    nights = [NIGHT, NIGHT + timedelta(days=1)]
    compared = [
        Compared(night, "post", low, NOW, spread_around(0.0)) for night, low in zip(nights, (-3, 1), strict=True)
    ]
    (one,) = mean_errors(compared)
    assert (one.nights, one.within, one.mean_k) == (2, 1, -1.0)
    assert mean_errors([]) == ()


def test_the_page_tells_source_age_nights_and_errors(spell, browser):
    text = browser.get("/weather").text
    page = read_page(text)

    assert sample_plan().forecast.source in text
    assert "north wall: on average 2.0\N{NO-BREAK SPACE}K colder than the forecast, over 1 night." in text
    tables = list(page.all("table"))
    assert len(tables) == 5  # two of them how forecasts fared, in the picture and by lead time
    for table in tables:
        width = len(list(next(table.all("tr")).all("th")))
        for row in list(table.all("tr"))[1:]:
            assert len(list(row.all("td"))) == width - 1


def test_before_any_plan_the_page_says_so_and_takes_readings(browser):
    page = browser.get("/weather")
    assert page.status_code == 200
    assert "No night was planned yet" in page.text
    assert 'action="/weather/readings"' in page.text


def test_soil_moisture_is_entered_in_per_cent_under_the_name_of_a_tree(browser, house):
    sent = {"value": "24", "unit": "%", "at": "2026-12-22T06:00", "sensor": "Papaya"}
    answer = browser.post("/weather/readings", data=sent)
    assert (answer.status_code, answer.headers["location"]) == (303, "/weather?done=taken")
    (kept,) = house.ledger.readings(since=MORNING, until=MORNING + timedelta(seconds=1))
    assert (kept.sensor, kept.quantity, kept.value) == ("Papaya", "soil_moisture_pct", 24.0)
    for wrong in ("wet", "240"):
        again = browser.post("/weather/readings", data=sent | {"value": wrong, "at": "2026-12-22T07:00"})
        assert again.status_code == 422
        assert '<option value="%" selected>' in again.text
        assert "temperature must be" not in again.text


def test_a_reading_by_hand_is_kept_in_celsius_at_the_time_of_the_yard(browser, house):
    sent = {"value": "28,4", "unit": "°F", "at": "2026-12-22T06:00", "sensor": "north wall"}
    answer = browser.post("/weather/readings", data=sent)

    assert (answer.status_code, answer.headers["location"]) == (303, "/weather?done=taken")
    (kept,) = house.ledger.readings(since=MORNING, until=MORNING + timedelta(seconds=1))
    assert (kept.sensor, kept.quantity, kept.at) == ("north wall", "air_temperature_c", MORNING)
    assert kept.value == pytest.approx(-2.0)
    again = browser.post("/weather/readings", data=sent)
    assert again.status_code == 422
    assert "already" in again.text


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"value": "cold"}, "must be a number"),
        ({"value": "nan"}, "must be a number"),
        ({"value": "300"}, "cannot be a reading"),
        ({"at": "this morning"}, "must be written as"),
        ({"at": "0001-01-01T00:00"}, "must be written as"),
        ({"at": "2026-12-25T06:00"}, "future"),
        ({"sensor": " "}, "where the thermometer hangs"),
    ],
)
def test_what_is_wrong_is_told_and_what_was_typed_stays(browser, house, change, told):
    sent = {"value": "-1.5", "unit": "°C", "at": "2026-12-22T06:00", "sensor": "wall <b>"} | change
    answer = browser.post("/weather/readings", data=sent)

    assert answer.status_code == 422
    page = read_page(answer.text)
    assert told in page.one(id="reading-error").text
    for name in ("value", "at", "sensor"):
        assert page.one(id=f"reading-{name}").attributes["value"] == sent[name]
    since = datetime(1900, 1, 1, tzinfo=UTC)
    assert house.ledger.readings(since=since, until=NOW + timedelta(days=9)) == []


def test_the_form_asks_in_the_unit_of_the_reader_and_takes_the_other(browser, spell, house):
    browser.post("/settings/own/reads", data={"temperature": "F"})
    page = read_page(browser.get("/weather").text)
    unit = next(one for one in page.all("select") if one.attributes["name"] == "unit")
    assert [one.text for one in unit.all("option") if "selected" in one.attributes] == ["°F"]
    sent = {"value": "-1.5", "unit": "°C", "at": "2026-12-22T05:00", "sensor": "north wall"}
    assert browser.post("/weather/readings", data=sent).status_code == 303
    at = MORNING - timedelta(hours=1)
    (kept,) = house.ledger.readings(since=at, until=at + timedelta(seconds=1))
    assert kept.value == -1.5
    wrong = browser.post("/weather/readings", data=sent | {"value": "cold"})
    unit = next(one for one in read_page(wrong.text).all("select") if one.attributes["name"] == "unit")
    assert [one.text for one in unit.all("option") if "selected" in one.attributes] == ["°C"]


def test_a_thermometer_may_hang_at_a_tree(browser):
    page = read_page(browser.get("/weather").text)
    near = [one.attributes["value"] for one in page.one(id="reading-sensors").all("option")]
    assert set(near) >= {tree.name for tree in sample_yard().trees}


def test_each_planned_night_tells_what_it_was_planned_with(spell, browser):
    story = weather_story(spell)
    assert [one.night for one in story.planned] == [NIGHT, NIGHT - timedelta(days=1)]
    page = read_page(browser.get("/weather").text)
    first = [one.text for one in next(page.one("table", cls="planned").one("tbody").all("tr")).all("td")]
    forecast = sample_plan().forecast
    assert first[0] == "\N{MINUS SIGN}2.0"
    assert first[1].replace("\N{MINUS SIGN}", "-") == f"{forecast.dew_point_c.p50:.1f}"
    assert first[3] == f"{forecast.cloud.p50 * 100:.0f} %"
    assert first[4:] == [forecast.source, "Tue 22 Dec, 14:00"]
    # What was fetched is told where it is known, and not taken from when the plan was made.
    assert "Fetched" not in [one.text for one in page.one("dl").all("dt")]


class Asks:
    """A desk that fetches, or says why not."""

    forecast = None
    source = "open-meteo"

    def __init__(self, error=None):
        self.error = error
        self.chosen = []

    def last(self):
        good = LastAsked(NOW - timedelta(hours=3), "open-meteo", NOW - timedelta(hours=3))
        return good, LastAsked(NOW, "open-meteo", trouble="no <network>.") if self.error else None

    def fetch_now(self):
        if self.error:
            raise self.error

    def choose(self, source, *, author):
        self.chosen.append((source, author))


@pytest.mark.parametrize(
    ("error", "status", "told"),
    [
        (None, 303, ""),
        (SourceUnavailable("no <network>"), 503, "Asked Tue 22 Dec, 14:00, without success: no &lt;network&gt;."),
        (TooSoon("Asked a moment ago."), 429, "Asked a moment ago."),
    ],
)
def test_fetching_now_says_truly_what_came_of_it(client_of, spell, error, status, told):
    client = client_of(house=spell, yard=sample_yard(), weather=Asks(error))
    client.follow_redirects = False
    answer = client.post("/weather/fetch", headers={"sec-fetch-site": "same-origin"})

    assert answer.status_code == status
    if error is None:
        assert answer.headers["location"] == "/weather?done=fetched"
        return
    assert told in answer.text
    # The last good forecast is still there.
    assert "Last fetched from Open-Meteo: Tue 22 Dec, 11:00" in answer.text
    assert "The last good forecast stays in use." in answer.text
    assert sample_plan().forecast.source in answer.text


def test_the_source_is_chosen_by_the_owner(client_of, house, monkeypatch):
    desk = Asks()
    client = client_of(house=house, yard=sample_yard(), weather=desk)
    client.follow_redirects = False
    assert 'action="/weather/source"' in client.get("/weather").text
    assert client.post("/weather/source", data={"source": "nws"}).status_code == 303
    assert desk.chosen == [("nws", "owner")]
    for place in ("fruitwall.web.weather.routes.who", "fruitwall.web.who.who"):
        monkeypatch.setattr(place, lambda _: Who("Hal", "helper"))
    page = client.get("/weather").text
    assert 'action="/weather/source"' not in page
    assert 'action="/weather/fetch"' in page
    assert client.post("/weather/source", data={"source": "nws"}).status_code == 403
    for place in ("fruitwall.web.weather.routes.who", "fruitwall.web.who.who"):
        monkeypatch.setattr(place, lambda _: Who("Vera", "viewer"))
    assert 'action="/weather/fetch"' not in client.get("/weather").text
    assert client.post("/weather/fetch").status_code == 403


def test_where_the_weather_is_fixed_nothing_is_asked(browser):
    page = browser.get("/weather").text
    assert "The weather is fixed" in page
    assert 'action="/weather/fetch"' not in page
    assert browser.post("/weather/fetch").status_code == 409
    assert browser.post("/weather/source", data={"source": "nws"}).status_code == 409


def test_every_service_has_its_words():
    assert set(SERVICES) == set(KNOWN)


# ---------------------------------------------------------------- how forecasts fare here


def fared_nights(house, count):
    """Plans of some nights with the same forecast, and a post that was read two kelvin colder in each."""
    for back in range(count, 0, -1):
        planned(house, NIGHT - timedelta(days=back), -1.0)
    ends = [MORNING - timedelta(days=back) for back in range(count)]
    house.ledger.add_readings([Reading("post", "air_temperature_c", at, -3.0) for at in ends], received=NOW)


def test_how_forecasts_fare_is_told_with_picture_and_what_the_plan_makes_of_it(browser, house):
    fared_nights(house, 8)
    text = browser.get("/weather").text
    page = read_page(text)
    assert "This thermometer stands for the yard: post." in text
    assert "K too warm: beyond doubt, from 8 nights of this kind." in text
    assert "each foretold from the nights before it" in text
    assert "For a clear calm night the plan takes the forecast of its minimum 1." in text
    assert "lower, and eight nights in ten within" in text
    figure = page.one("figure")
    summary = figure.one("p", cls="summary").text
    assert "Read: lowest \N{MINUS SIGN}2 K" in summary
    rows = list(next(figure.all("tbody")).all("tr"))
    assert len(rows) == 8


def test_before_a_reading_the_page_says_how_plans_go_then(browser):
    text = browser.get("/weather").text
    assert "No reading can be held against a forecast yet." in text
    assert "<figure" not in text
    assert "What the plan makes of it" not in text


def test_differences_are_told_in_the_unit_of_the_reader(browser, house):
    fared_nights(house, 8)
    browser.post("/settings/own/reads", data={"temperature": "F"})
    text = browser.get("/weather").text
    assert "\N{NO-BREAK SPACE}°F too warm: beyond doubt" in text
    assert "Mean error" in text
    assert "Read: lowest \N{MINUS SIGN}3.6 °F" in read_page(text).one("p", cls="summary").text


def test_the_owner_chooses_which_thermometer_stands_for_the_yard(browser, house, monkeypatch):
    fared_nights(house, 2)
    tree = sample_yard().trees[0].name
    house.ledger.add_readings([Reading(tree, "air_temperature_c", MORNING, -4.0)], received=NOW)
    page = read_page(browser.get("/weather").text)
    form = next(one for one in page.all("form") if one.attributes["action"] == "/weather/station")
    words = {one.attributes["value"]: "checked" in one.attributes for one in form.all("input")}
    assert words == {"": True, "post": False, tree: False}
    answer = browser.post("/weather/station", data={"sensor": tree})
    assert (answer.status_code, answer.headers["location"]) == (303, "/weather?done=station#fared")
    text = browser.get("/weather?done=station").text
    assert f"This thermometer stands for the yard: {tree}. It was chosen." in text
    assert "Chosen. Plans go by what it read from now on." in text
    assert browser.post("/weather/station", data={"sensor": "nobody's"}).status_code == 422
    assert browser.post("/weather/station", data={"sensor": ""}).status_code == 303
    assert "This thermometer stands for the yard: post. Of those" in browser.get("/weather").text
    for place in ("fruitwall.web.weather.routes.who", "fruitwall.web.who.who"):
        monkeypatch.setattr(place, lambda _: Who("Hal", "helper"))
    assert 'action="/weather/station"' not in browser.get("/weather").text
    assert browser.post("/weather/station", data={"sensor": "post"}).status_code == 403


def test_coming_nights_tell_what_was_issued_where_the_plan_was_made_with_what_was_learned(browser, house):
    plan = planned(house, NIGHT, -2.0)
    assert "as issued, the middle of the first night" not in browser.get("/weather").text
    forecast = plan.forecast.model_copy(update={"as_issued_c": [spread_around(-0.8)]})
    later = plan.model_copy(update={"night": NIGHT, "forecast": forecast, "made": NOW})
    house.journal.store_plan(NIGHT, later.model_dump_json(), version=house.yard()[1], made=NOW + timedelta(minutes=1))
    text = browser.get("/weather").text
    assert "as issued, the middle of the first night was \N{MINUS SIGN}0.8\N{NO-BREAK SPACE}°C." in text
