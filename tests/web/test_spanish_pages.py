"""Kinds and gear, settings, the yard and errors are said wholly in the reader's language and units."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from fruitwall import __version__
from fruitwall.errors import SourceUnavailable
from fruitwall.plants.catalogue import catalogue
from fruitwall.service.house import House
from fruitwall.service.ledger import Sighting, Signed, entry_of
from fruitwall.service.reader import with_phrases
from fruitwall.speech import noting, say, say_again, told
from tests.web.bracketed import bracketing, typed_in, unbracketed
from tests.web.markup import read_page
from tests.web.sample import NOW, sample_plan, sample_yard
from tests.web.test_household import filled

AS_READ = {"accept-language": "es-MX,es;q=0.9", "cookie": "fruitwall_reads=es.F.ft.lb"}
"""Spanish, °F, feet and pounds, as a browser without an account keeps it."""

KINDS = [taxon.key for taxon in catalogue().taxa]

KEYS = {(taxon.acclimation_source or "fao").partition(":")[0] for taxon in catalogue().taxa}
NAMES = {name for taxon in catalogue().taxa for name in (*taxon.spanish, taxon.family, taxon.scientific)} | {
    "fruitwall", "test", "min", "Open-Meteo", "MET Norway", "National Weather Service", "America/Los_Angeles",
    __version__, *KEYS,
}  # fmt: skip
"""What no language bends."""


@pytest.fixture
def at_home(client_of: Callable[..., TestClient], house: House) -> TestClient:
    """A client of the whole application."""
    return client_of(house=house)


def left_in(client: TestClient, path: str, monkeypatch: pytest.MonkeyPatch, status: int = 200, *also: str) -> str:
    """Give what a page does not say in the reader's language."""
    with bracketing(monkeypatch):
        answer = client.get(path, headers=AS_READ)
    assert answer.status_code == status, answer.text[:300]
    return "\n".join(unbracketed(answer.text, typed=[*typed_in(sample_yard()), sample_yard().name, *NAMES, *also]))


@pytest.mark.parametrize("key", KINDS[::6])
def test_a_kind_has_no_english_left(client: TestClient, monkeypatch: pytest.MonkeyPatch, key: str):
    assert left_in(client, f"/kinds/{key}", monkeypatch) == ""


PAGES = (
    "/kinds", "/gear", "/settings", "/settings/people", "/yard", "/yard?pick=papaya", "/yard/history", "/household",
    "/household?pick=lamps-large", "/household?pick=odalis", "/walk", "/walk/papaya", "/walk/-/offline", "/trees",
    "/trees/papaya", "/weather", "/weather/thermometers", "/start", "/more",
    "/api",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_a_page_has_no_english_left(at_home: TestClient, monkeypatch: pytest.MonkeyPatch, path: str):
    assert left_in(at_home, path, monkeypatch) == ""


@pytest.mark.parametrize(
    ("path", "status"),
    [("/nowhere", 404), ("/kinds?name=xyzzyxyzzy", 404), (f"/kinds?name={'x' * 130}", 422), ("/night/yesterday", 404)],
)
def test_what_went_wrong_is_said_in_the_readers_language(
    at_home: TestClient, monkeypatch: pytest.MonkeyPatch, path: str, status: int
):
    assert left_in(at_home, path, monkeypatch, status, "xyzzyxyzzy", "yesterday", "name") == ""


@pytest.mark.parametrize("path", ["/walk/papaya", "/trees/papaya"])
def test_two_looks_that_contradict_each_other_are_told_without_english(
    at_home: TestClient, house: House, monkeypatch: pytest.MonkeyPatch, path: str
):
    signed = Signed("test", "phone", NOW)
    first = entry_of("sighting", Sighting(grade=1), tree="papaya", at=NOW, signed=signed)
    rivals = [
        replace(first, id=str(uuid.uuid4()), replaces=first.id, body=Sighting(grade=grade).model_dump_json())
        for grade in (3, 5)
    ]
    house.ledger.add([first, *rivals])

    assert left_in(at_home, path, monkeypatch, 200, "phone") == ""


@pytest.mark.parametrize(
    ("path", "thing", "theirs", "mine"),
    [
        ("/yard", "papaya", {"height": "3,5"}, {"height": "3"}),
        ("/household", "lamps-large", {"kind": "led"}, {"wear": "0.5"}),
    ],
)
def test_both_sides_of_a_conflict_are_told_without_english(
    at_home: TestClient, monkeypatch: pytest.MonkeyPatch, path: str, thing: str, theirs: dict[str, str], mine: dict
):
    sent = filled(read_page(at_home.get(f"{path}?pick={thing}", headers=AS_READ).text))
    reads = AS_READ | {"origin": "http://localhost"}
    at_home.post(f"{path}/change", data=sent | theirs, headers=reads)

    with bracketing(monkeypatch):
        answer = at_home.post(f"{path}/change", data=sent | mine, headers=reads)

    assert answer.status_code == 409
    assert unbracketed(answer.text, typed=[*typed_in(sample_yard()), sample_yard().name, *NAMES]) == []


def test_a_silent_weather_service_is_told_in_the_readers_language(
    client_of: Callable[..., TestClient], monkeypatch: pytest.MonkeyPatch
):
    def refuse(_day: object) -> None:
        raise SourceUnavailable(say("no connection"))

    assert left_in(client_of(refuse), "/", monkeypatch, 503) == ""


def test_a_defect_is_told_in_the_readers_language(
    client_of: Callable[..., TestClient], monkeypatch: pytest.MonkeyPatch
):
    def fail(_day: object) -> None:
        raise RuntimeError("a defect")

    assert left_in(client_of(fail), "/", monkeypatch, 500) == ""


def test_a_kind_is_called_by_its_spanish_name_and_told_in_fahrenheit(client: TestClient):
    page = read_page(client.get("/kinds/litchi-chinensis", headers=AS_READ).text)

    assert page.one("h1").text == "Lichi"
    assert "Inglés lychee" in page.text
    own = " ".join(part.text for part in page.all("div", cls="kind-plot"))
    assert "°F" in own
    assert "°C" not in own
    assert re.search(r"morir su madera cerca de \d+.°F", page.text)
    assert "1,2 m" not in page.text  # the small tree is told in feet


def test_sources_keep_the_language_they_are_written_in(client: TestClient):
    page = read_page(client.get("/kinds/mangifera-indica", headers=AS_READ).text)

    figures = page.one("ol", cls="kind-figures")
    spoken = [part.attributes.get("lang") for part in figures.all("span") if part.attributes.get("class") != "number"]
    assert "en" in spoken
    assert figures.text.count("Nota nuestra:") > 3


def test_what_is_doubtful_in_a_forecast_is_told_in_spanish_on_the_weather_page(at_home: TestClient, house: House):
    with noting() as book:
        warnings = [say_again(told("no wind given; nearly calm air ({wind:g} m/s) assumed, the safe side", wind=1.0))]
        source = say_again(told("{source}, daily", source=told("file {name}", name="a.csv")))
    plan = sample_plan()
    forecast = plan.forecast.model_copy(update={"warnings": warnings, "source": source})
    kept = with_phrases(plan.model_copy(update={"forecast": forecast}), book)
    version = house.journal.current_yard(None)
    house.journal.store_plan(kept.night, kept.model_dump_json(), version=version, made=kept.made)

    page = read_page(at_home.get("/weather", headers=AS_READ).text).text
    english = read_page(at_home.get("/weather").text).text

    assert "No se da el viento; se supone aire casi en calma (1 m/s), por seguridad" in page
    assert "nearly calm air (1 m/s)" in english
    assert "archivo a.csv, diario" in page


def test_what_is_wrong_with_the_yard_is_told_in_the_readers_units(at_home: TestClient, house: House):
    tree = sample_yard().trees[0]
    page = read_page(at_home.get(f"/yard?pick={tree.id}", headers=AS_READ).text)
    form = next(one for one in page.all("form") if any(f.attributes.get("name") == "height" for f in one.all("input")))
    fields = {f.attributes["name"]: f.attributes.get("value", "") for f in form.all("input") if "name" in f.attributes}
    fields |= {"height": "3,5", "crown_base": "4,5"}

    answer = at_home.post(form.attributes["action"], data=fields, headers=AS_READ | {"origin": "http://localhost"})

    assert answer.status_code == 422, answer.text[:500]
    told = read_page(answer.text).text.replace("\N{NO-BREAK SPACE}", " ")
    assert re.search(r"Debe ser menor que la altura del árbol \(\d+ ft\), pero es \d+ ft", told)
