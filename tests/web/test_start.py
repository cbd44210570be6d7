"""The first evening: from an empty journal to a yard, by plain forms."""

from __future__ import annotations

import html
import re

import pytest
from starlette.testclient import TestClient

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.house import House
from fruitwall.web.app import create_app
from fruitwall.web.settings import WebSettings
from fruitwall.web.start.page import MORE, ROWS
from tests.web.sample import NOW, sample_plan

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def empty_house(tmp_path):
    with open_journal(tmp_path / "empty.db") as journal:
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


def app_of(house):
    def plan_for(night):
        house.yard()
        return sample_plan()

    # The plan shown is the sample's: its yard goes with it once there is any.
    return create_app(WebSettings(plan_for=plan_for, yard=_yard_of_plan, now=lambda: NOW, house=house, patience_s=60.0))


def _yard_of_plan():
    from tests.web.sample import sample_yard

    return sample_yard()


@pytest.fixture
def client(empty_house):
    return TestClient(app_of(empty_house), base_url="http://localhost", follow_redirects=False)


def carried(answer):
    """Give the fields of a step as they stand in the page, as a browser would send them."""
    found = {}
    for tag in re.findall(r"<input[^>]*>", answer.text):
        parts = dict(re.findall(r'(\w+)="([^"]*)"', tag))
        if parts.get("type") != "radio" or " checked" in tag:
            found[parts["name"]] = html.unescape(parts.get("value", ""))
    return found


def send(client, answer, **typed):
    return client.post("/start", data=carried(answer) | typed)


def test_every_page_leads_to_the_start_while_there_is_no_yard(client, empty_house):
    assert not empty_house.has_yard()
    for path in ("/", "/yard", "/walk"):
        answer = client.get(path)
        assert (answer.status_code, answer.headers.get("location")) == (303, "/start")
    assert client.get("/plan.json").status_code == 422
    assert client.get("/start").status_code == 200


def test_a_bare_height_above_the_sea_is_held_to_the_limits_of_the_unit_in_which_it_is_read(client):
    possible, impossible = (
        send(client, client.get("/start"), latitude="34", longitude="-117", units="feet", elevation=feet, go="next")
        for feet in ("7000", "25000")
    )
    assert 'id="elevation-wrong"' not in possible.text
    assert 'id="elevation-wrong"' in impossible.text


def test_what_can_hardly_be_is_told_in_the_units_of_the_first_step(client):
    feet = send(client, client.get("/start"), latitude="34", longitude="-117", units="feet", go="next")
    wrong = send(client, feet, tree0_kind="lemon", tree0_height="120", wall_south="300", go="next")
    assert "That can hardly be: 120\N{NO-BREAK SPACE}ft." in wrong.text
    assert "That can hardly be: 300\N{NO-BREAK SPACE}ft." in wrong.text
    nowhere = send(client, client.get("/start"), latitude="-95", longitude="0", go="next")
    assert "from \N{MINUS SIGN}90 to 90." in nowhere.text


@pytest.mark.parametrize("field", ["sheet0_count", "lamp_watts", "indoor0_spaces"])
def test_none_of_a_thing_is_told_beside_its_number(client, field):
    gear = send(client, to_trees(client), tree0_kind="lemon", go="next")
    typed = {"sheet0_width": "4", "sheet0_length": "4", "lamps": "1", "indoor0_name": "Shed", "indoor0_spaces": "2"}
    wrong = send(client, gear, **(typed | {field: "0"}), go="next")
    assert wrong.status_code == 422
    assert re.search(rf'id="{field}-wrong">A whole number from 1 to', wrong.text)


def test_four_forms_make_a_yard(client, empty_house):
    place = send(client, client.get("/start"), search="riverside, ca", go="search")
    trees = send(client, place, go="next", name="Ours <b>")
    gear = send(client, trees, go="next", wall_south="30", tree0_kind="mangoe", tree0_at="south", tree1_kind="avocado")
    look = send(client, gear, go="next", sheet0_width="12", sheet0_length="12", minutes="30", person="Ana")

    assert "is taken as mango" in look.text
    assert not empty_house.has_yard()
    assert send(client, look, go="store").headers["location"] == "/"
    yard, version = empty_house.yard()
    assert (yard.name, yard.location.time_zone, len(yard.trees)) == ("Ours <b>", "America/Los_Angeles", 2)
    assert (yard.display.length, round(yard.gear.covers[0].width_m, 2), yard.people[0].name) == ("ft", 3.66, "Ana")
    assert version.text.startswith("# Begun on the first evening.")


def test_nothing_typed_is_lost_when_something_is_wrong_or_one_goes_back(client):
    place = client.get("/start")
    wrong = send(client, place, latitude="95", longitude="3,5", name="Mine", go="next")
    assert wrong.status_code == 422
    assert 'value="95"' in wrong.text
    assert 'id="latitude-wrong"' in wrong.text
    trees = send(client, wrong, latitude="45", go="next")
    wrong = send(client, trees, tree0_kind="xyzzyplant", tree0_height="tall", go="next")
    assert 'id="tree0_kind-wrong"' in wrong.text
    assert 'id="tree0_height-wrong"' in wrong.text
    back = send(client, wrong, go="back")

    assert 'value="Mine"' in back.text
    assert carried(back)["tree0_kind"] == "xyzzyplant"


def test_without_a_tree_or_a_place_it_does_not_go_on(client):
    assert 'id="search-wrong"' in send(client, client.get("/start"), go="next").text
    trees = send(client, client.get("/start"), latitude="-33.9", longitude="151.2", go="next")
    assert 'id="tree0_kind-wrong"' in send(client, trees, go="next").text
    assert client.post("/start", data={"step": "look", "go": "store"}).status_code == 422


def test_what_is_not_shown_can_be_put_away_without_harm(client, empty_house):
    assert "/start/demo/away" not in client.get("/start").text

    assert client.post("/start/demo/away").headers["location"] == "/"

    assert empty_house.journal.yards() == []


def test_the_demo_comes_and_goes_in_one_click(client, empty_house):
    assert client.post("/start/demo").headers["location"] == "/"
    assert empty_house.has_yard()
    client.post("/start/demo/away")

    assert not empty_house.has_yard()
    assert len(empty_house.journal.yards()) == 1


def to_trees(client):
    return send(client, client.get("/start"), latitude="40.4", longitude="-3.7", go="next")


def test_two_fields_are_enough_for_a_first_plan(client, empty_house):
    place = send(client, client.get("/start"), search="Sevilla", go="search")
    trees = send(client, place, go="next")
    gear = send(client, trees, go="next", tree0_kind="lemon")
    look = send(client, gear, go="next")

    assert send(client, look, go="store").headers["location"] == "/"
    assert [tree.taxon for tree in empty_house.yard()[0].trees] == ["lemon"]
    assert not re.findall(r"<input[^>]* required", place.text + trees.text + gear.text)


@pytest.mark.parametrize(
    ("step", "kind", "field"),
    [("trees", "tree", "kind"), ("trees", "fwall", "length"), ("gear", "sheet", "width"), ("gear", "indoor", "name")],
)
def test_more_rows_come_without_scripts_and_what_was_typed_stays(client, step, kind, field):
    page = to_trees(client)
    if step == "gear":
        page = send(client, page, tree0_kind="lemon", go="next")
    first, most = ROWS[kind]
    typed = {f"{kind}{first - 1}_{field}": "kept <b>"}
    more = send(client, page, go=f"more-{kind}", **typed)

    assert more.status_code == 200
    fields = carried(more)
    assert fields[f"{kind}{first - 1}_{field}"] == "kept <b>"
    assert f"{kind}{first}_{field}" in fields
    again = send(client, more, go=f"more-{kind}")
    assert len([one for one in carried(again) if re.fullmatch(rf"{kind}\d+_{field}", one)]) == min(
        most, first + 2 * MORE[kind]
    )
    full = send(client, again, **{f"rows_{kind}": "999"})
    assert f'value="more-{kind}"' not in full.text


def test_the_clock_of_the_place_is_shown_and_another_zone_is_taken(client, empty_house):
    gear = send(client, to_trees(client), tree0_kind="lemon", go="next")
    look = send(client, gear, go="next")
    assert carried(look)["zone"] == "Europe/Madrid"
    assert "it is now Tuesday 22 December 2026, 23:00" in look.text

    wrong = send(client, look, zone="Atlantic/Nowhere", go="store")
    assert wrong.status_code == 422
    assert 'id="zone-wrong"' in wrong.text
    assert not empty_house.has_yard()
    assert send(client, wrong, zone="Atlantic/Canary", go="store").status_code == 303
    assert empty_house.yard()[0].location.time_zone == "Atlantic/Canary"


def test_a_zone_that_was_found_follows_the_place_when_that_is_changed(client, empty_house):
    look = send(client, send(client, to_trees(client), tree0_kind="lemon", go="next"), go="next")
    place = send(client, send(client, send(client, look, go="back"), go="back"), go="back")
    assert 'name="latitude" value="40.4"' in place.text
    page = send(client, place, latitude="19.4", longitude="-99.1", go="next")
    for go in ("next", "next", "store"):
        page = send(client, page, go=go)
    assert empty_house.yard()[0].location.time_zone == "America/Mexico_City"


def test_trees_at_a_free_wall_and_gear_reach_the_yard(client, empty_house):
    trees = to_trees(client)
    missing = send(client, trees, tree0_kind="lemon", tree0_at="wall0", go="next")
    assert 'id="fwall0_length-wrong"' in missing.text
    gear = send(client, missing, fwall0_length="9", fwall0_faces="west", go="next")
    lacking = send(client, gear, indoor0_name="Shed", trolley="80", lamps="2", go="next")
    assert 'id="indoor0_spaces-wrong"' in lacking.text
    look = send(client, lacking, indoor0_spaces="3", indoor0_kept="8", go="next")
    assert "no lamp is planned" in look.text
    send(client, look, go="store")

    yard, _ = empty_house.yard()
    assert [one.kind for one in yard.structures] == ["wall"]
    assert yard.trees[0].position[0] < yard.structures[0].line[0][0]
    assert (yard.gear.trolleys[0].max_mass_kg, yard.indoor_places[0].kept_at_c) == (80, 8)
    assert yard.circuits[0].ground_fault is False


def test_the_socket_of_the_lamps_is_asked_for(client, empty_house):
    gear = send(client, to_trees(client), tree0_kind="lemon", go="next")
    assert 'name="socket"' in gear.text
    look = send(client, gear, lamps="1", socket="yes", go="next")
    assert "no lamp is planned" not in look.text
    send(client, look, go="store")
    assert empty_house.yard()[0].circuits[0].ground_fault is True


def test_a_quiet_line_on_every_page_tells_that_the_yard_is_invented_until_it_is_put_away(client, empty_house):
    line = "This yard is invented, to look round in."
    assert line not in client.get("/start").text
    client.post("/start/demo")
    for path in ("/", "/yard", "/household", "/settings", "/weather"):
        assert line in client.get(path).text, path
        assert 'href="/start"' in client.get(path).text, path
    assert "nothing of the demo mixes with it" in client.get("/start").text

    look = send(client, send(client, to_trees(client), tree0_kind="lemon", go="next"), go="next")
    send(client, look, go="store")
    assert line not in client.get("/yard").text


def test_settings_lead_to_the_first_evening(client, empty_house):
    client.post("/start/demo")
    assert "Begin another yard, show the demo yard or put it away" in client.get("/settings").text


def test_a_server_of_one_yard_says_how_to_begin_another(house):
    fixed = House(house.journal, house.yard()[1].yard, house.clock, house.photos)
    client = TestClient(app_of(fixed), base_url="http://localhost")
    page = client.get("/start").text
    assert "fruitwall serve" in page
    assert "<form" not in page


@pytest.mark.browser
@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_phone_goes_from_nothing_to_the_plan(browser, empty_house, scripts):
    from tests.web.conftest import serving

    context = browser.new_context(viewport=PHONE, java_script_enabled=scripts, color_scheme="dark")
    page = context.new_page()
    with serving(app_of(empty_house)) as address:
        page.goto(address)
        assert page.url == f"{address}/start"
        page.get_by_label("City near you").fill("Sevilla")
        page.get_by_role("button", name="Search").click()
        page.get_by_role("radio").first.check()
        page.get_by_role("button", name="Next").click()
        page.get_by_label("south side", exact=True).fill("10")
        page.get_by_label("Kind").first.fill("lemon")
        if scripts:
            assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
        page.get_by_role("button", name="Next").click()
        page.get_by_label("Minutes before dark").fill("20")
        page.get_by_role("button", name="Next").click()
        page.get_by_role("button", name="Show the plan for tonight").click()
        assert page.url == f"{address}/"
        assert page.locator("h1").count() == 1
    context.close()
    assert empty_house.yard()[0].location.time_zone == "Europe/Madrid"
