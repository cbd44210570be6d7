"""Gear and people as a page: everything seen by all, changed by the owner alone, with undo."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.in_use import InUse, Taken, in_use
from fruitwall.service.yard_edit import GROUPS, data_of, find
from fruitwall.service.yard_form import MODELS, form_of, part_of, parts_of
from fruitwall.service.yard_words import HELP_WORDS
from fruitwall.speech import speaking
from fruitwall.web.household.lines import summary_of
from fruitwall.web.household.page import KINDS
from fruitwall.web.household.words import ADD_WORDS, AT_THE_PLAN, DRAWN
from fruitwall.web.who import Who
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Gear
from tests.web.markup import Element, read_page
from tests.web.sample import FAHRENHEIT, NIGHT, NOW, sample_plan, sample_yard
from tests.web.test_yard import filled

THINGS = [
    "odalis",
    "fleece-small",
    "hoops",
    "shed-outlet",
    "lead-long",
    "lamps-large",
    "heater",
    "trolley",
    "shed-floor",
]


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


@pytest.fixture
def helper(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> TestClient:
    for place in ("fruitwall.web.household.routes.who", "fruitwall.web.editing.who", "fruitwall.web.who.who"):
        monkeypatch.setattr(place, lambda _: Who("Hal", "helper"))
    return client


def look(client: TestClient, address: str, status: int = 200) -> Element:
    answer = client.get(address)
    assert answer.status_code == status, answer.text
    return read_page(answer.text)


def thing_of(house: House, name: str) -> dict:
    return dict(find(data_of(house.journal.current_yard().text), name) or {})


def test_all_gear_and_everybody_stand_on_the_page_with_what_they_are(client):
    page = look(client, "/household")
    yard = sample_yard()
    linked = {one.attributes["href"].split("pick=")[1] for one in page.all("a") if "?pick=" in one.attributes["href"]}
    wanted = {getattr(one, "id", kind) for kind in KINDS for one in parts_of(kind, yard)}
    assert {one.replace("%40", "@") for one in linked} == wanted | {"@gear#thing"}
    text = page.text
    for words in (
        "lifts up to 11 kg",
        "3 × 4.27 m by 4.27 m; medium fleece",
        "120 V, 15 A: 1440 W for the night; protected",
    ):
        assert words in text


def test_every_amount_of_a_line_has_the_decimal_mark_of_the_language():
    metric = Household(FAHRENHEIT.model_copy(update={"mass": "kg", "volume": "gal"}), ZoneInfo("UTC"))
    shelter = sample_yard().shelters[0].model_copy(update={"water_l": 30.0})
    trolley = sample_yard().gear.trolleys[0].model_copy(update={"max_mass_kg": 8.5})
    lamps = sample_yard().gear.lamps[0].model_copy(update={"watts": 7.5})
    with speaking("es"):
        lines = [
            summary_of(one, sample_yard(), metric).replace("\N{NO-BREAK SPACE}", " ")
            for one in (shelter, trolley, lamps)
        ]
    for line, amount in zip(lines, ("7,9 gal", "8,5 kg", "7,5 W"), strict=True):
        assert amount in line


def test_nothing_that_the_model_knows_of_gear_and_people_is_left_out():
    kinds = {MODELS[kind] for kind in KINDS}
    inner = {field.annotation.__args__[0] for field in Gear.model_fields.values()}
    yard = {field.annotation for field in type(sample_yard()).model_fields.values()}
    assert inner < kinds
    for name in ("people", "circuits", "indoor_places", "shelters"):
        assert type(sample_yard()).model_fields[name].annotation.__args__[0] in kinds
    assert {MODELS[group] for group in GROUPS} < yard


def test_every_help_belongs_to_a_field_and_every_kind_can_be_added():
    fields = {
        f"{kind}.{field.name}"
        for kind in (*KINDS, "tree")
        for field in form_of(kind, sample_yard(), FAHRENHEIT, part_of(kind, sample_yard()) if kind in GROUPS else None)
    }
    assert set(HELP_WORDS) | set(AT_THE_PLAN) <= fields
    assert not set(HELP_WORDS) & set(AT_THE_PLAN)
    assert set(ADD_WORDS) == set(KINDS) - set(GROUPS)


def test_before_any_plan_nothing_is_said_to_be_in_use(client, house):
    assert in_use(house) == InUse()
    page = look(client, "/household")
    assert "Nothing was planned for tonight yet" in page.text
    assert "Tonight:" not in page.text


def test_what_tonights_plan_takes_is_told_beside_each_thing(client, house):
    plan = sample_plan()
    limits = [
        plan.limits[0].model_copy(update={"key": key, "unit": unit, "used": used, "available": of})
        for key, unit, used, of in (
            ("sheet/fleece-small", "", 2, 3),
            ("person/odalis", "min", 30, 45),
            ("circuit/shed-outlet", "W", 0, 1440),
            ("room/place:shed-floor", "spaces", 4, 4),
        )
    ]
    tasks = [plan.tasks[0].model_copy(update={"key": "close:hoops"}), *plan.tasks[1:]]
    plan = plan.model_copy(update={"limits": limits, "tasks": tasks})
    house.journal.store_plan(NIGHT, plan.model_dump_json(), version=house.yard()[1], made=NOW)

    assert in_use(house).taken == {
        "fleece-small": Taken(2, 3),
        "odalis": Taken(30, 45, "min"),
        "shed-outlet": Taken(0, 1440, "W"),
        "shed-floor": Taken(4, 4),
        "hoops": Taken(1, 1),
    }
    text = look(client, "/household").text
    for words in ("Tonight: 2 of 3 in use.", "Tonight: 30 of 45 min.", "Tonight: 4 of 4 in use.", "Tonight: closed."):
        assert words in text
    assert "Tonight: not used." in look(client, "/household?pick=shed-outlet").text


@pytest.mark.parametrize("thing", [*THINGS, *GROUPS])
def test_a_form_sent_as_it_was_changes_nothing(client, house, thing):
    sent = filled(look(client, f"/household?pick={thing.replace('@', '%40')}"))
    answer = client.post("/household/change", data=sent)
    assert "said=same" in str(answer.url)
    assert house.journal.current_yard().number == 1


def test_a_change_is_a_version_that_undo_takes_back_and_redo_brings_again(client, house):
    sent = filled(look(client, "/household?pick=odalis"))
    sent |= {"minutes_before_dusk": ["1 h"], "evenings": ["mon", "sat"], "away_until": ["2027-01-03"]}
    page = read_page(client.post("/household/change", data=sent).text)
    assert page.one(cls="said").text == "Changed."
    changed = thing_of(house, "odalis")
    assert (changed["minutes_before_dusk"], changed["evenings"], changed["away_until"]) == (
        "1 h",
        ["mon", "sat"],
        "2027-01-03",
    )
    assert "here on Monday and Saturday; away until Sun 3 Jan" in look(client, "/household").text

    page = read_page(client.post("/household/undo", data={"seen": "2"}).text)
    assert page.one(cls="said").text == "Undone."
    assert thing_of(house, "odalis")["minutes_before_dusk"] == 45
    client.post("/household/redo", data={"seen": "3"})
    assert thing_of(house, "odalis")["minutes_before_dusk"] == "1 h"
    assert client.post("/household/undo", data={"seen": "3"}).status_code == 422


@pytest.mark.parametrize("kind", [kind for kind in ADD_WORDS if kind not in DRAWN])
def test_a_thing_of_each_kind_is_added_with_what_a_new_form_holds(client, house, kind):
    sent = filled(look(client, f"/household?add={kind}"))
    assert "seen" in sent
    needed = {
        "name": "New <b>", "width": "6", "length": "7", "watts": "60", "conductor": "1.5", "max_mass": "80",
        "volts": "230", "amps": "16", "spaces": "2", "minutes_before_dusk": "30", "material": "burlap",
        "shade": "50 %", "volume": "2.5",
    }  # fmt: skip
    empty = [name for name, values in sent.items() if values == [""] and name in needed]
    refused = client.post("/household/add", data=sent)
    assert refused.status_code == 422
    assert "This is needed." in refused.text

    answer = client.post("/household/add", data=sent | {name: needed[name] for name in empty})

    assert answer.status_code == 200, answer.text
    assert "said=added" in str(answer.url)
    yard = parse_yard(house.journal.current_yard().text)
    assert any(getattr(one, "name", "") == "New <b>" for one in parts_of(kind, yard))
    assert "New &lt;b&gt;" in answer.text


def test_a_new_outlet_is_not_taken_to_be_protected_and_the_page_warns(client, house):
    sent = filled(look(client, "/household?add=circuit")) | {"name": ["Wall"], "volts": ["230"], "amps": ["16"]}
    assert "ground_fault" not in sent
    page = read_page(client.post("/household/add", data=sent).text)
    assert thing_of(house, "wall")["ground_fault"] is False
    assert "licensed electrician" in page.one(cls="yard-warning").text
    assert "not known to be protected: nothing is planned on it" in page.text


def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_stays(client, house):
    sent = filled(look(client, "/household?pick=fleece-small")) | {"width": ["wide"], "name": ["Mine"]}
    answer = client.post("/household/change", data=sent)
    assert answer.status_code == 422
    page = read_page(answer.text)
    assert page.one(id="field-width-error").text == "This cannot be read as a number."
    assert page.one(id="field-width").attributes["value"] == "wide"
    assert page.one(id="field-name").attributes["value"] == "Mine"

    answer = client.post("/household/change", data=sent | {"width": ["4"], "count": ["0"]})
    assert answer.status_code == 422
    assert read_page(answer.text).one(id="field-count").attributes["value"] == "0"
    assert read_page(answer.text).one(id="field-count-error").text
    assert house.journal.current_yard().number == 1


def test_what_is_wrong_is_told_in_the_units_of_the_reader(client, monkeypatch):
    for module in ("fruitwall.web.household.routes", "fruitwall.web.editing"):
        monkeypatch.setattr(f"{module}.who", lambda _: Who(length="ft", temperature="F"))
    sent = filled(look(client, "/household?pick=fleece-small")) | {"width": ["500"]}
    wrong = read_page(client.post("/household/change", data=sent).text).one(id="field-width-error").text
    assert "at most 164 ft" in wrong
    assert "50 m" not in wrong
    sent = filled(look(client, "/household?pick=heater")) | {"thermostat": ["120"]}
    wrong = read_page(client.post("/household/change", data=sent).text).one(id="field-thermostat-error").text
    assert "at least 14 °F and at most 86 °F" in wrong


def test_taking_out_is_asked_first_and_undone(client, house):
    asked = client.post("/household/remove", data={"thing": "trolley", "seen": "1"})
    assert "Take Sack truck out? Undo brings it back." in asked.text
    assert thing_of(house, "trolley")
    gone = read_page(client.post("/household/remove", data={"thing": "trolley", "seen": "1", "sure": "yes"}).text)
    assert not thing_of(house, "trolley")
    assert gone.one(cls="said").text.startswith("Taken out.")
    client.post("/household/undo", data={"seen": "2"})
    assert thing_of(house, "trolley")["name"] == "Sack truck"


def test_two_who_change_one_thing_see_both(client, house):
    mine = filled(look(client, "/household?pick=heater")) | {"watts": ["1200"]}
    client.post("/household/change", data=filled(look(client, "/household?pick=heater")) | {"watts": ["900"]})
    answer = client.post("/household/change", data=mine)
    assert answer.status_code == 409
    page = read_page(answer.text)
    cells = [one.text for one in page.one("tbody").all("td")]
    assert cells == ["1500", "900", "1200"]
    form = next(one for one in page.all("form") if any(i.attributes.get("name") == "onto" for i in one.all("input")))
    sent = {one.attributes["name"]: one.attributes["value"] for one in form.all("input")}
    client.post("/household/change", data=sent)
    assert thing_of(house, "heater")["watts"] == 1200


def test_both_sides_of_a_conflict_are_told_in_words(client):
    seen = filled(look(client, "/household?pick=lamps-large"))
    client.post("/household/change", data=seen | {"kind": ["led"]})
    answer = client.post("/household/change", data=seen | {"wear": ["0.5"]})
    assert answer.status_code == 409
    rows = [[one.text for one in row.all() if one.name in ("th", "td")] for row in read_page(answer.text).all("tr")]
    assert ["Light from", "warm bulbs", "LEDs, which hardly warm", "LEDs, which hardly warm"] in rows

    seen = filled(look(client, "/household?pick=odalis"))
    client.post("/household/change", data=seen | {"evenings": ["sat", "sun"]})
    answer = client.post("/household/change", data=seen | {"evenings": ["mon"]})
    cells = [one.text for one in read_page(answer.text).one("tbody").all("td")]
    assert cells[1:] == ["Saturday, Sunday", "Monday"]


def test_helpers_and_viewers_see_but_do_not_change(helper, house):
    page = look(helper, "/household")
    assert not list(page.all("form"))
    assert "Add a person" not in page.text
    shown = look(helper, "/household?pick=odalis")
    assert not list(shown.all("form"))
    assert "Only the owner of the yard changes this." in shown.text
    for action in ("add", "change", "remove", "tonight", "undo", "redo"):
        sent = {"thing": "odalis", "adding": "cover", "seen": "1", "sure": "yes"}
        assert helper.post(f"/household/{action}", data=sent).status_code == 403
    assert house.journal.current_yard().number == 1


def test_somebody_is_away_for_one_evening_by_one_button_and_back_by_another(client, house):
    page = look(client, "/household")
    assert [one.text for one in page.all("form", cls="household-tonight")] == ["Not here tonight"] * 2
    answer = client.post("/household/tonight", data={"thing": "odalis", "here": "no"})
    assert "said=changed" in str(answer.url)
    assert thing_of(house, "odalis")["away_until"] == "2026-12-23"
    assert not house.yard()[0].people[1].is_here(NIGHT)
    assert "Here after all" in answer.text
    client.post("/household/tonight", data={"thing": "odalis", "here": "yes"})
    assert "away_until" not in thing_of(house, "odalis")
    assert client.post("/household/tonight", data={"thing": "heater", "here": "no"}).status_code == 404


def test_who_never_helps_on_this_evening_has_no_such_button(client, house):
    sent = filled(look(client, "/household?pick=odalis")) | {"evenings": ["sat"]}
    client.post("/household/change", data=sent)
    assert len(list(look(client, "/household").all("form", cls="household-tonight"))) == 1


@pytest.mark.parametrize("address", ["?pick=nothing", "?add=castle", "?add=shelter", "?add=%40prices", "?pick=papaya"])
def test_what_does_not_belong_here_shows_the_overview(client, address):
    assert look(client, f"/household{address}").one("h1").text == "Gear and people"


def test_cautions_stand_where_electricity_heaters_and_lifting_are_entered(client):
    for address, words in (
        ("?add=circuit", "local electrical, fire and building codes and the work of licensed people prevail"),
        ("?add=heater", "Never replace it by a gas or charcoal burner under a cover"),
        ("?pick=odalis", "Lift less, or not at all, if your back or doctor says so."),
    ):
        assert words in look(client, f"/household{address}").one(cls="household-heed").text


@pytest.mark.browser
@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_phone_adds_a_cover_changes_it_and_undoes(browser, house, make_app, scripts):
    from tests.web.conftest import serving

    phone = {"width": 390, "height": 844}
    context = browser.new_context(viewport=phone, java_script_enabled=scripts, color_scheme="dark")
    page = context.new_page()
    with serving(make_app(house=house)) as address:
        page.goto(f"{address}/household")
        page.get_by_role("link", name="Add a sheet or cover").click()
        page.get_by_label("Name").fill("Curtain")
        page.get_by_label("Made of").select_option("burlap")
        page.get_by_label("Width").fill("5")
        page.get_by_label("Length").fill("6")
        page.get_by_role("button", name="Add it").click()
        assert page.get_by_role("heading", level=1).inner_text() == "Curtain"
        if scripts:
            assert page.evaluate("document.documentElement.scrollWidth") == phone["width"]
        page.get_by_role("button", name="Undo the last change").click()
        assert page.get_by_text("Curtain").count() == 0
    context.close()
