"""The page of thermometers: what each taught, and answers to what is asked of it."""

from __future__ import annotations

import re
import sys
from datetime import timedelta

import numpy as np
import pytest
from starlette.testclient import TestClient

from fruitwall import __version__
from fruitwall.cli import main
from fruitwall.journal.entries import Reading
from fruitwall.journal.opening import open_journal
from fruitwall.service.spot_offsets import learned_offsets
from fruitwall.service.thermometers import air_at, hung_in, mends_of
from fruitwall.weather.forcing import as_datetime
from fruitwall.web.app import create_app
from fruitwall.web.settings import WebSettings
from tests.service.past import LATER, house_with_past, past_forcing
from tests.web.bracketed import bracketing, unbracketed
from tests.web.sample import sample_plan

PAGE = "/weather/thermometers"
FAHRENHEIT = slice(200, 230)
AS_READ = {"accept-language": "es-MX,es;q=0.9", "cookie": "fruitwall_reads=es.F.ft.lb"}


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


@pytest.fixture
def client(house):
    settings = WebSettings(
        plan_for=lambda _: sample_plan(), yard=lambda: house.yard()[0], now=lambda: LATER, house=house, patience_s=120.0
    )
    return TestClient(create_app(settings), base_url="http://localhost", follow_redirects=False)


def read_at_the_lime(house):
    yard = house.yard()[0]
    (there,) = air_at(yard, [hung_in(yard)["lime"]], past_forcing()).values()
    value = there.air_c - 1.5 * there.clear + np.random.default_rng(1).normal(0.0, 0.2, there.air_c.size)
    value[FAHRENHEIT] = value[FAHRENHEIT] * 1.8 + 32.0
    rows = [
        Reading("Lime", "air_temperature_c", as_datetime(time), float(one))
        for time, one in zip(there.time_utc, value, strict=True)
        if as_datetime(time) < LATER
    ]
    house.ledger.add_readings(rows, received=LATER)


def test_a_yard_without_thermometers_is_told_how_to_begin(client):
    answer = client.get(PAGE)
    assert answer.status_code == 200
    assert "No thermometer is known here." in answer.text
    assert "Where to hang the next one" in answer.text


def test_what_a_thermometer_taught_is_told_before_and_after_with_its_nights(client, house):
    read_at_the_lime(house)
    text = client.get(PAGE).text
    assert "colder here than they are worked out." in text
    assert "−1.7 to +1.7" in text
    assert "Why do you believe this?" in text
    assert "°F entered as °C" in text
    assert "Ten nights would narrow its clear nights" in text
    assert PAGE in client.get("/weather").text


def test_what_it_taught_and_what_is_asked_leaves_no_english_in_another_language(client, house, monkeypatch):
    read_at_the_lime(house)
    sent = answers_of(client.get(PAGE).text)
    client.post(f"{PAGE}/mend", data=sent | {"how": "ignore", "since": sent["until"]})
    with bracketing(monkeypatch):
        text = client.get(f"{PAGE}?done=mended", headers=AS_READ).text
    assert "unmend" in text
    names = ["Lime", "Mango", "Second mango", "Small yard", "fruitwall", "owner", __version__]
    assert "\n".join(unbracketed(text, typed=names)) == ""


def test_the_terminal_tells_the_same(capsys, monkeypatch, house):
    read_at_the_lime(house)
    place, now = str(house.journal.place), LATER.isoformat()
    monkeypatch.setattr(sys, "argv", ["fruitwall", "sensors", "--database", place, "--now", now])
    with pytest.raises(SystemExit) as left:
        main()
    out = " ".join(capsys.readouterr().out.split())
    assert not left.value.code
    assert "Lime readings under the name of the tree" in out
    assert "colder here than they are worked out." in out
    assert "! °F entered as °C" in out
    assert "1. " in out[out.index("Where to hang the next one") :]


def answers_of(text):
    """The forms under the first trouble, as a browser would send them."""
    trouble = text[text.index('class="trouble"') :]
    form = re.search(r'<form method="post" action="[^"]*/mend">(.*?)</form>', trouble, re.DOTALL)
    assert form is not None
    return dict(re.findall(r'name="(\w+)" value="([^"]*)"', form[1]))


def test_an_answer_mends_a_stretch_and_can_be_taken_back(client, house):
    read_at_the_lime(house)
    left_out = learned_offsets(house)["lime"]
    sent = answers_of(client.get(PAGE).text)
    assert sent["how"] == "fahrenheit"
    answer = client.post(f"{PAGE}/mend", data=sent)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{PAGE}?done=mended")
    text = client.get(f"{PAGE}?done=mended").text
    assert "°F entered as °C" not in text
    assert "taken as °F" in text
    assert learned_offsets(house)["lime"].nights >= left_out.nights
    (kept,) = mends_of(house)
    mark = "|".join((kept["sensor"], kept["since"], kept["until"], kept["how"]))
    assert client.post(f"{PAGE}/unmend", data={"mark": mark}).status_code == 303
    assert mends_of(house) == []
    assert learned_offsets(house)["lime"] == left_out


@pytest.mark.parametrize(
    "wrong",
    [{"how": "burn"}, {"since": "soon"}, {"since": "2027-01-01T00:00:00+00:00"}, {"sensor": " "}, {"hours": "900"}],
)
def test_an_answer_that_makes_no_sense_is_refused(client, house, wrong):
    sent = {"sensor": "Lime", "since": "2026-12-20T00:00:00+00:00", "until": "2026-12-21T00:00:00+00:00",
            "how": "clock", "hours": "3"} | wrong  # fmt: skip
    assert client.post(f"{PAGE}/mend", data=sent).status_code == 422
    assert mends_of(house) == []


def test_a_reading_in_the_wrong_unit_is_stored_and_asked_about_with_its_mend(client, house):
    forcing = past_forcing()
    at = int(np.argmin(np.abs(forcing.t_air_c[0] - 9.0)))
    when = as_datetime(forcing.time_utc[at])
    typed = f"{float(forcing.t_air_c[0, at]) * 1.8 + 32.0:.1f}"
    sent = {"value": typed, "unit": "°C", "at": when.isoformat(), "sensor": "Lime"}
    answer = client.post("/weather/readings", data=sent)
    assert answer.status_code == 303
    assert len(house.ledger.readings(since=when, until=when + timedelta(seconds=1))) == 1
    asked = client.get(answer.headers["location"]).text
    assert "from what was expected: was it in °F?" in asked
    assert "It was in °F" in asked
    client.post(f"{PAGE}/mend", data=answers_of(asked))
    assert "was it in °F?" not in client.get(answer.headers["location"]).text
    # What is as expected is taken without a word.
    plain = sent | {"value": "9.0", "sensor": "Mango"}
    assert client.post("/weather/readings", data=plain).headers["location"] == "/weather?done=taken"
