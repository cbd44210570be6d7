"""The plan of the yard as a page: complete without scripts, every edit a form."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.yard_edit import data_of, find
from fruitwall.web.who import Who
from tests.web.markup import Element, read_page
from tests.web.sample import FAHRENHEIT, NOW, sample_plan, sample_yard


@pytest.fixture
def open_yard(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


def get(client: TestClient, address: str, status: int = 200) -> Element:
    answer = client.get(address)
    assert answer.status_code == status, answer.text
    return read_page(answer.text)


def send(client: TestClient, action: str, status: int = 200, /, **fields: object) -> Element:
    answer = client.post(f"/yard/{action}", data={key.replace("__", "."): value for key, value in fields.items()})
    assert answer.status_code == status, answer.text
    return read_page(answer.text)


def thing_of(house: House, name: str) -> dict:
    return find(data_of(house.journal.current_yard().text), name) or {}


def filled(page: Element) -> dict[str, list[str]]:
    """Give what a browser would send of the form of a thing."""
    form = page.one("form", cls="yard-form")
    sent: dict[str, list[str]] = {}
    for one in form.all("input"):
        a = one.attributes
        if a.get("type") != "checkbox" or "checked" in a:
            sent.setdefault(a["name"], []).append(a.get("value", ""))
    for one in form.all("textarea"):
        sent[one.attributes["name"]] = [one.text]
    for one in form.all("select"):
        chosen = [o.attributes["value"] for o in one.all("option") if "selected" in o.attributes]
        sent[one.attributes["name"]] = chosen or [next(one.all("option")).attributes["value"]]
    return sent


def test_everything_in_the_yard_is_in_the_drawing_and_in_the_list(open_yard):
    page = get(open_yard, "/yard")

    yard = sample_yard()
    drawn = {one.attributes["data-thing"] for one in page.one("svg", cls="plan").all("a", cls="thing")}
    listed = {one.attributes["href"].split("pick=")[1].split("#")[0] for one in page.one(cls="yard-lists").all("a")}
    things = {one.id for one in [*yard.trees, *yard.structures, *yard.shelters, *yard.circuits, *yard.indoor_places]}
    assert drawn == things | {"@outline", "@gear"}
    assert listed == things | {"%40outline", "%40gear"}


def test_what_is_not_in_the_yard_is_not_picked(open_yard):
    page = get(open_yard, "/yard?pick=nothing-such&layer=none&add=castle")

    assert not list(page.all("form", cls="yard-form"))


def test_a_form_sent_as_it_was_changes_nothing(open_yard, house):
    yard = sample_yard()
    for name in ["@outline", "@gear", *(one.id for one in yard.structures), "papaya", "pot-mango", "hoops"]:
        sent = filled(get(open_yard, f"/yard?pick={name.replace('@', '%40')}"))
        answer = open_yard.post("/yard/change", data=sent)
        assert "said=same" in str(answer.url), name
    assert house.journal.current_yard().number == 1


def test_a_changed_form_is_stored_and_tells_so(open_yard, house):
    sent = filled(get(open_yard, "/yard?pick=papaya"))
    sent |= {"height": ["2,5"], "position.0.x": ["11.8"], "notes": ["leans"], "stages": ["leafy"]}

    page = read_page(open_yard.post("/yard/change", data=sent).text)

    assert page.one(id="yard-said").text == "Changed."
    stored = thing_of(house, "papaya")
    assert (stored["height"], stored["position"], stored["notes"]) == (2.5, [11.8, 17.2], "leans")
    assert stored["stages"] == ["leafy"]
    assert house.journal.current_yard().author == "owner"


def test_corners_are_added_and_taken_out_by_rows(open_yard, house):
    wall = next(one for one in sample_yard().structures if one.kind == "wall")
    sent = filled(get(open_yard, f"/yard?pick={wall.id}"))
    spare = len(wall.line)
    sent |= {f"line.{spare}.x": ["20"], f"line.{spare}.y": ["21.5"]}
    open_yard.post("/yard/change", data=sent)
    assert thing_of(house, wall.id)["line"][-1] == [20, 21.5]

    sent = filled(get(open_yard, f"/yard?pick={wall.id}"))
    sent |= {"line.0.x": [""], "line.0.y": [""]}
    open_yard.post("/yard/change", data=sent)
    assert thing_of(house, wall.id)["line"][-1] == [20, 21.5]
    assert len(thing_of(house, wall.id)["line"]) == len(wall.line)


def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_stays(open_yard, house):
    sent = filled(get(open_yard, "/yard?pick=papaya")) | {"height": ["tall"], "name": ["Pawpaw"]}
    answer = open_yard.post("/yard/change", data=sent)
    assert answer.status_code == 422
    form = read_page(answer.text).one("form", cls="yard-form")
    assert form.one(id="field-height-error").text == "This cannot be read as a number."
    assert form.one(id="field-height").attributes["value"] == "tall"
    assert form.one(id="field-name").attributes["value"] == "Pawpaw"

    sent |= {"height": ["60"]}
    answer = open_yard.post("/yard/change", data=sent)
    assert answer.status_code == 422
    assert "at most 40 m" in read_page(answer.text).one(id="field-height-error").text
    assert house.journal.current_yard().number == 1


def test_a_move_out_of_the_yard_is_refused_in_words(open_yard):
    page = send(open_yard, "move", 422, thing="papaya", seen=1, x="99", y="99")

    assert "outside the yard" in page.one(cls="yard-error").text


@pytest.mark.parametrize(
    "fields",
    [
        {"thing": "papaya", "x": "nan", "y": "1", "seen": 1},
        {"thing": "papaya", "x": "1e9", "y": "1", "seen": 1},
        {"thing": "papaya", "seen": 1},
        {"thing": "papaya", "x": "1", "y": "1", "corner": "3", "seen": 1},
        {"thing": "no-such", "x": "1", "y": "1", "seen": 1},
        {"thing": "papaya", "x": "12", "y": "17", "seen": "x"},
        {"thing": "papaya", "x": "12", "y": "17", "seen": "999999999"},
    ],
)
def test_nonsense_is_refused_and_stores_nothing(open_yard, house, fields):
    send(open_yard, "move", 422, **fields)

    assert house.journal.current_yard().number == 1


@pytest.mark.parametrize("kind", ["tree", "wall", "fence", "building", "roof", "paving", "canopy", "pond", "hollow"])
def test_things_are_added_by_form(open_yard, house, kind):
    sent = filled(get(open_yard, f"/yard?add={kind}")) | {"name": ["New one"]}
    if "position.0.x" in sent:
        sent |= {"position.0.x": ["20"], "position.0.y": ["14"]}
    shape = "line" if "line.0.x" in sent else "outline"
    for number, (x, y) in enumerate([(20, 14), (22, 14), (22, 15)]):
        sent |= {f"{shape}.{number}.x": [str(x)], f"{shape}.{number}.y": [str(y)]} if f"{shape}.0.x" in sent else {}
    sent |= {key: ["3"] for key in ("height", "crown_diameter", "colder") if key in sent}
    sent |= {"taxon": ["guava"]} if "taxon" in sent else {}

    page = read_page(open_yard.post("/yard/add", data=sent).text)

    assert page.one(id="yard-said").text == "Added."
    assert page.one("section", cls="yard-thing").one("h2").text == "New one"
    assert thing_of(house, "new-one")["name"] == "New one"


def test_the_form_of_an_outlet_helps_as_on_the_page_of_gear(open_yard):
    page = get(open_yard, "/yard?add=circuit")

    assert "its test button worked" in page.one(id="field-ground_fault-told").text
    assert not list(page.all("p", id="field-outlet-told"))


def test_only_what_stands_on_the_plan_is_added_there(open_yard, house):
    page = send(open_yard, "add", 422, adding="trolley", name="Cart", max_mass="80", seen=1)

    assert "Nothing of this kind can be added." in page.one(cls="yard-error").text
    assert house.journal.current_yard().number == 1


def test_an_empty_form_for_a_new_tree_tells_what_is_needed(open_yard):
    sent = filled(get(open_yard, "/yard?add=tree"))

    answer = open_yard.post("/yard/add", data=sent)

    assert answer.status_code == 422
    wrong = [one.attributes["id"] for one in read_page(answer.text).all("p", cls="yard-wrong")]
    assert wrong == [f"field-{name}-error" for name in ("name", "taxon", "position", "height", "crown_diameter")]


def test_removing_asks_once_and_is_undone_and_redone(open_yard, house):
    text = house.journal.current_yard().text
    page = send(open_yard, "remove", thing="papaya", seen=1)
    assert "What was noted about it stays" in page.one(cls="yard-error").text
    assert house.journal.current_yard().number == 1

    page = send(open_yard, "remove", thing="papaya", seen=1, sure="yes")
    assert thing_of(house, "papaya") == {}
    page = send(open_yard, "undo", seen=2)
    assert page.one(id="yard-said").text == "Undone."
    assert house.journal.current_yard().text == text
    assert page.one("section", cls="yard-thing").one("h2").text == "Papaya"
    send(open_yard, "redo", seen=3)
    assert thing_of(house, "papaya") == {}


def test_what_has_no_place_on_the_plan_has_its_words_when_it_comes_back(open_yard):
    sent = filled(get(open_yard, "/household?pick=%40prices")) | {"per_kwh": ["0.5"]}
    open_yard.post("/household/change", data=sent)

    page = send(open_yard, "undo", seen=2)

    assert page.one("section", cls="yard-thing").one("h2").text == "What effort costs"


def test_a_form_that_is_too_long_is_told_its_limit(open_yard):
    answer = open_yard.post("/yard/change", data={"thing": "papaya", "notes": "x" * 100_000})

    assert answer.status_code == 413
    assert "at most 100 kB" in answer.text


def test_any_version_is_brought_back_from_the_history(open_yard, house):
    first = house.journal.current_yard().text
    send(open_yard, "move", thing="papaya", seen=1, x="12", y="17")
    send(open_yard, "move", thing="longan", seen=2, x="20", y="11")
    page = get(open_yard, "/yard/history")
    rows = [row.one("th").text for row in page.one("tbody").all("tr")]
    assert rows == ["3", "2", "1"]

    page = send(open_yard, "restore", number=1, seen=3)
    assert page.one(id="yard-said").text == "Brought back."
    assert house.journal.current_yard().text == first
    send(open_yard, "restore", 422, number=2, seen=3)
    send(open_yard, "restore", 422, number=77, seen=4)
    send(open_yard, "redo", seen=4)
    assert thing_of(house, "papaya")["position"] == [12, 17]


def test_what_to_look_at_is_told_after_a_change(open_yard):
    page = send(open_yard, "move", thing="longan", seen=1, x="12", y="17.95")

    assert "wall" in page.one(cls="yard-warning").text


def test_two_who_change_one_thing_are_shown_both_and_choose(open_yard, house):
    theirs = filled(get(open_yard, "/yard?pick=papaya")) | {"name": ["Theirs"], "height": ["2"]}
    mine = filled(get(open_yard, "/yard?pick=papaya")) | {"name": ["Mine"]}
    open_yard.post("/yard/change", data=theirs)

    answer = open_yard.post("/yard/change", data=mine)

    assert answer.status_code == 409
    page = read_page(answer.text)
    cells = [one.text for one in page.one(cls="yard-error").one("tbody").all() if one.name in ("th", "td")]
    assert cells == ["Name", "Papaya", "Theirs", "Mine", "Height", "1.8288", "2", "2"]
    assert thing_of(house, "papaya")["name"] == "Theirs"
    form = next(one for one in page.one(cls="yard-error").all("form"))
    again: dict[str, list[str]] = {}
    for one in form.all("input"):
        again.setdefault(one.attributes["name"], []).append(one.attributes["value"])
    open_yard.post("/yard/change", data=again)
    assert thing_of(house, "papaya")["name"] == "Mine"
    assert thing_of(house, "papaya")["height"] == 2


def test_two_who_change_different_things_are_both_heard(open_yard, house):
    send(open_yard, "move", thing="papaya", seen=1, x="12", y="17")
    send(open_yard, "move", thing="longan", seen=1, x="20", y="11")

    assert thing_of(house, "papaya")["position"] == [12, 17]
    assert thing_of(house, "longan")["position"] == [20, 11]


def test_a_helper_sees_the_numbers_and_changes_nothing(open_yard, house, monkeypatch):
    for module in ("fruitwall.web.who", "fruitwall.web.yard.routes", "fruitwall.web.pages"):
        monkeypatch.setattr(f"{module}.who", lambda _: Who("Ben", "helper"))

    page = get(open_yard, "/yard?pick=papaya")

    assert not list(page.all("form"))
    assert "1.83 m" in page.one("dl", cls="yard-facts").text
    send(open_yard, "move", 403, thing="papaya", seen=1, x="12", y="17")


def test_numbers_are_in_the_units_of_who_reads_and_are_stored_so(open_yard, house, monkeypatch):
    for module in ("fruitwall.web.yard.routes", "fruitwall.web.editing"):
        monkeypatch.setattr(f"{module}.who", lambda _: Who(length="ft", temperature="F"))

    sent = filled(get(open_yard, "/yard?pick=papaya"))
    assert (sent["height"], sent["position.0.x"]) == (["6"], ["38.06"])
    open_yard.post("/yard/change", data=sent | {"height": ["7"]})

    assert thing_of(house, "papaya")["height"] == "7 ft"
    assert thing_of(house, "papaya")["position"] == [11.6, 17.2]


@pytest.mark.parametrize(("layer", "unit"), [("sun", "h"), ("winter", "h"), ("sky", "%")])
def test_a_layer_shows_numbers_in_cells_and_a_table(open_yard, layer, unit):
    page = get(open_yard, f"/yard?layer={layer}")

    cells = list(page.one("g", cls="raster").all("text"))
    assert len(cells) > 80
    rows = list(page.one("table", cls="yard-table").one("tbody").all("tr"))
    assert len(rows) == len(sample_yard().trees)
    assert all(row.text.endswith(unit) for row in rows)
    assert len(list(page.one("ul", cls="yard-legend").all("li"))) == 5


def test_the_margin_of_the_last_plan_is_shown_on_the_trees(open_yard, house):
    assert "No night was planned yet" in get(open_yard, "/yard?layer=margin").one(cls="yard-warning").text
    plan = sample_plan()
    house.journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=NOW)

    page = get(open_yard, "/yard?layer=margin")

    soursop = next(one for one in page.all("a", cls="thing") if one.attributes["data-thing"] == "longan")
    assert "short" in soursop.attributes["aria-label"]
    assert "danger" in soursop.one("circle", cls="mark").classes


def test_a_yard_in_feet_has_a_scale_in_feet(client_of, tmp_path, house):
    from fruitwall.yard.file import write_yard

    yard = sample_yard(display=FAHRENHEIT)
    house.journal.store_yard(write_yard(yard), name=yard.name, now=NOW, author="test")

    page = get(client_of(house=house), "/yard?pick=papaya")

    assert "20 ft" in page.one("svg", cls="plan").text
    assert page.one("section", cls="yard-thing").one(id="field-height").attributes["value"] == "6"


@pytest.mark.parametrize(("unit", "small_m", "words"), [("ft", 0.25 * 0.3048, "0.25 ft"), ("m", 0.1, "0.1 m")])
def test_keys_move_a_thing_by_round_steps_of_the_readers_unit(open_yard, monkeypatch, unit, small_m, words):
    monkeypatch.setattr("fruitwall.web.yard.routes.who", lambda _: Who(length=unit))

    page = get(open_yard, "/yard")

    assert float(page.one("div", id="yard-work").attributes["data-snap"]) == pytest.approx(small_m)
    assert f"by {words}," in page.one("section", cls="yard-thing").text.replace("\N{NO-BREAK SPACE}", " ")
    spanish = read_page(open_yard.get("/yard", headers={"accept-language": "es"}).text)
    assert words.replace(".", ",") in spanish.one("section", cls="yard-thing").text.replace("\N{NO-BREAK SPACE}", " ")
