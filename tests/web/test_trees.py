"""The list of trees, and a tree's own page: what is entered there, corrected, and shown."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from io import BytesIO

import pytest
from PIL import Image
from starlette.testclient import TestClient

from fruitwall.service.corrections import correct, withdraw
from fruitwall.service.evening_document import ReasonPart
from fruitwall.service.house import House
from fruitwall.service.ledger import Sighting, Signed, entry_of
from fruitwall.service.ticks import tick, tick_key
from fruitwall.service.tree_story import Winter, stories_of
from fruitwall.web.trees import routes
from fruitwall.web.who import Who
from tests.databases import database  # noqa: F401 - on either kind of database
from tests.web.markup import read_page
from tests.web.sample import NIGHT, NOW, SUNRISE, sample_plan

PAPAYA = "/trees/papaya"


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


def add(client: TestClient, **fields: str):
    return client.post(PAPAYA, data={"entry": str(uuid.uuid4())} | fields, follow_redirects=False)


def entries(client: TestClient) -> list[str]:
    return [one.text for one in read_page(client.get(PAPAYA).text).one("ol", cls="entries").all("b")]


def test_the_list_tells_each_tree_how_it_looked_and_tonights_margin(client, house):
    plan = sample_plan()
    house.journal.store_plan(NIGHT, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    page = read_page(client.get("/trees").text).one("ul", cls="tree-list")

    assert len(list(page.all("li"))) == len(house.yard()[0].trees)
    papaya = next(one for one in page.all("li") if one.text.startswith("Papaya"))
    assert "Never looked at so far." in papaya.text
    assert "Tonight 1.3 K to spare" in papaya.text
    assert papaya.text.lower().count("papaya") == 1  # its name says its kind
    for tree in house.yard()[0].trees:
        line = next(one.text for one in page.all("li") if one.one("a").text == tree.name)
        assert tree.taxon.lower() in line.lower()


def test_a_stage_a_deed_and_a_note_are_one_touch_each_and_stored_once(client, house):
    number = str(uuid.uuid4())
    for _ in range(2):
        assert add(client, entry=number, stage="bloom").status_code == 303
    add(client, deed="watered", note="20 L")
    add(client, note="A bird's nest in it")

    assert sorted(entries(client)) == ["In bloom", "Note", "Watered"]
    assert {entry.kind for entry in house.ledger.current(tree="papaya")} == {"stage", "deed", "note"}
    assert "In bloom begins" in client.get(PAPAYA).text


def test_a_watering_may_tell_how_much_in_litres_gallons_or_minutes_of_the_emitter(client, house):
    for given in ("18", "5 gal", "40 min", ""):
        assert add(client, deed="watered", litres=given).status_code == 303
    # 5 US gallons are 18.927 L by definition; the two emitters of 1 gph of the demo's papaya give 5.047 L in 40 min.
    litres = [json.loads(one.body).get("litres") for one in house.ledger.current(tree="papaya")]
    assert sorted(litres, key=str) == sorted([18.0, 18.927, 5.047, None], key=str)
    assert "Watered: 18 L" in entries(client)

    wrong = add(client, deed="watered", litres="much", note="At noon")
    assert wrong.status_code == 422
    assert 'value="much"' in wrong.text
    assert "At noon" in wrong.text
    assert add(client, deed="pruned", litres="12").status_code == 303
    pruned = [json.loads(one.body) for one in house.ledger.current(tree="papaya") if "pruned" in one.body]
    assert [one.get("litres") for one in pruned] == [None]


def test_the_amount_of_a_watering_is_corrected_on_its_page(client, house):
    add(client, deed="watered", litres="18")
    first = house.ledger.current(tree="papaya")[0].id
    url = f"{PAPAYA}/{first}"
    assert read_page(client.get(url).text).one("input", id="litres").attributes["value"] == "18 L"
    client.post(url, data={"entry": str(uuid.uuid4()), "litres": "18 L", "note": "x"})
    assert json.loads(house.ledger.current(tree="papaya")[0].body)["litres"] == 18.0
    now = house.ledger.current(tree="papaya")[0].id
    client.post(f"{PAPAYA}/{now}", data={"entry": str(uuid.uuid4()), "litres": "7,5"})
    assert json.loads(house.ledger.current(tree="papaya")[0].body)["litres"] == 7.5
    now = house.ledger.current(tree="papaya")[0].id
    assert client.post(f"{PAPAYA}/{now}", data={"entry": str(uuid.uuid4()), "litres": "a lot"}).status_code == 422


def test_a_correction_stands_in_place_of_what_it_corrects_and_two_stand_side_by_side(client, house):
    add(client, note="Wrong")
    first = house.ledger.current(tree="papaya")[0].id
    for words in ("Right", "Other"):
        client.post(f"{PAPAYA}/{first}", data={"entry": str(uuid.uuid4()), "note": words})

    notes = [json.loads(entry.body)["note"] for entry in house.ledger.current(tree="papaya")]
    assert sorted(notes) == ["Other", "Right"]
    page = client.get(PAPAYA).text
    assert page.count("Somebody else corrected the same entry") == 2
    assert page.count("corrected; its history is kept") == 2
    assert page.count("This one holds") == 2


@pytest.mark.parametrize("fields", [{}, {"note": "  "}, {"stage": "asleep"}, {"entry": "x", "note": "a"}])
def test_nothing_empty_or_unknown_is_entered(client, house, fields):
    assert add(client, **fields).status_code == 422
    assert house.ledger.current() == []


def test_a_viewer_reads_and_has_nothing_to_press(client, monkeypatch):
    monkeypatch.setattr(routes, "who", lambda _: Who(role="viewer"))
    assert "<button" not in client.get(PAPAYA).text


def test_a_tree_that_is_not_there_is_not_found(client):
    assert client.get("/trees/moon").status_code == 404
    assert client.post("/trees/moon", data={"entry": str(uuid.uuid4()), "note": "a"}).status_code == 404


def test_minutes_of_shared_work_are_shared_and_nights_that_are_over_are_told(house):
    plan = sample_plan()
    house.journal.store_plan(NIGHT, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    cover = next(task for task in plan.tasks if "papaya" in task.trees)
    tick(house.ledger, plan, tick_key(plan, cover), signed=Signed("Anna", "phone", NOW))

    story = stories_of(house, "papaya")[0]
    assert story.winters == [Winter("2026/27", None, 0, pytest.approx(13 / 3))]
    assert story.nights == []  # the night is not over
    assert story.tonight is not None

    object.__setattr__(house, "clock", lambda: SUNRISE + timedelta(hours=1))
    story = stories_of(house, "papaya")[0]
    ((sunrise, felt),) = story.nights
    assert sunrise == SUNRISE
    assert felt.margin_planned_k == pytest.approx(1.3)
    tolerance = next(tree.tolerance_c for tree in plan.trees if tree.id == "papaya")
    assert felt.stands_c == (tolerance.p10, tolerance.p50, tolerance.p90)
    asked = [task for task in (*plan.tasks, *plan.morning) if "papaya" in task.trees]
    minutes = sum(task.minutes / len(task.trees) for task in asked)
    assert story.winters == [Winter("2026/27", pytest.approx(minutes), 1, pytest.approx(13 / 3))]


# ---------------------------------------------------------------- one entry


def kept_look(house: House, **said: object) -> str:
    body = Sighting.model_validate({"grade": 3, "signs": ["tips"], "note": "wind side"} | said)
    entry = entry_of("sighting", body, tree="papaya", at=NOW - timedelta(days=1), signed=Signed("Ana", "phone", NOW))
    house.ledger.add([entry])
    return entry.id


def form_of(client: TestClient, which: str) -> dict[str, object]:
    """Give the fields of the form of an entry as a browser would send them."""
    form = read_page(client.get(f"{PAPAYA}/{which}").text).one("form", cls="entry-form")
    fields: dict[str, object] = {}
    for one in form.all("input"):
        name, kind = one.attributes.get("name"), one.attributes.get("type", "text")
        if kind == "checkbox":
            if "checked" in one.attributes:
                fields.setdefault(name, []).append(one.attributes["value"])
        elif kind != "file":
            fields[name] = one.attributes.get("value", "")
    for one in form.all("select"):
        fields[one.attributes["name"]] = next(
            o.attributes["value"] for o in one.all("option") if "selected" in o.attributes
        )
    fields["note"] = form.one("textarea").text
    return fields


def post(client: TestClient, which: str, fields: dict[str, object], photo: bytes | None = None):
    files = {"photo": ("a.jpg", photo or b"", "image/jpeg")}
    return client.post(f"{PAPAYA}/{which}", data=fields, files=files, follow_redirects=False)


def test_all_fields_of_a_look_are_corrected_and_the_history_tells_both(client, house):
    which = kept_look(house)
    fields = form_of(client, which)
    assert (fields["grade"], fields["sign"], fields["day"], fields["clock"]) == ("3", ["tips"], "2026-12-21", "14:00")

    answer = post(client, which, fields | {"grade": "5", "sign": ["brown", "sudden"], "clock": "09:15", "note": ""})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{PAPAYA}#entries")
    (entry,) = house.ledger.current(tree="papaya")
    assert json.loads(entry.body) == {"grade": 5, "signs": ["brown", "sudden"]}
    assert entry.at == NOW - timedelta(days=1, hours=4, minutes=45)
    history = read_page(client.get(f"{PAPAYA}/{entry.id}").text).one("ol", cls="entries").text
    assert "Much leaf burnt" in history
    assert "wind side" in history
    assert "Twigs dead" in history
    assert "Corrected" in history


def test_a_form_sent_back_unchanged_changes_nothing(client, house):
    which = kept_look(house)
    assert post(client, which, form_of(client, which)).status_code == 303
    assert [entry.id for entry in house.ledger.current()] == [which]


def test_photos_are_added_and_taken_away(client, house):
    out = BytesIO()
    Image.new("RGB", (64, 48), "green").save(out, "JPEG")
    which = kept_look(house)
    post(client, which, form_of(client, which), out.getvalue())
    (entry,) = house.ledger.current()
    (photo,) = json.loads(entry.body)["photos"]
    assert f"/photos/{photo}-small.jpg" in client.get(PAPAYA).text

    fields = form_of(client, entry.id)
    assert fields.pop("keep") == [photo]
    post(client, entry.id, fields)
    assert "photos" not in json.loads(house.ledger.current()[0].body)
    assert house.ledger.photo(photo) is not None


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"day": "yesterday"}, "Give the day as"),
        ({"day": "2027-01-09"}, "future"),
        ({"grade": "9"}, "7"),
        ({"grade": "x"}, "from 0 to 7"),
        ({"note": "x" * 5001}, "5000"),
    ],
)
def test_what_is_wrong_is_told_in_the_form_and_what_was_typed_stays(client, house, wrong, told):
    which = kept_look(house)
    answer = post(client, which, form_of(client, which) | {"note": "as typed"} | wrong)
    page = read_page(answer.text)
    assert answer.status_code == 422
    assert told in page.one("p", cls="said").text
    assert page.one("textarea").text in ("as typed", "x" * 5001)
    assert [entry.id for entry in house.ledger.current()] == [which]


def test_stages_and_deeds_are_corrected_too(client, house):
    add(client, stage="bloom")
    add(client, deed="watered")
    stage, deed = (next(one for one in house.ledger.current() if one.kind == kind) for kind in ("stage", "deed"))
    post(client, stage.id, form_of(client, stage.id) | {"stage": "fruit_set"})
    client.headers["accept-language"] = "es"  # what is stored is the same whoever reads
    post(client, deed.id, form_of(client, deed.id) | {"deed": "fed", "minutes": "7,5"})
    del client.headers["accept-language"]
    bodies = [json.loads(entry.body) for entry in house.ledger.current()]
    assert {"stage": "fruit_set"} in bodies
    assert {"what": "fed", "words": "Fed", "minutes": 7.5} in bodies
    assert sorted(entries(client)) == ["Fed", "Fruit set"]

    corrected = next(one for one in house.ledger.current() if one.kind == "deed")
    assert post(client, corrected.id, form_of(client, corrected.id) | {"minutes": "soon"}).status_code == 422


def test_taken_back_it_is_listed_and_can_be_brought_back(client, house):
    which = kept_look(house)
    assert post(client, which, {"act": "withdraw"}).status_code == 303
    assert entries(client) == []
    page = client.get(PAPAYA).text
    assert "1 taken back" in page
    assert client.get(f"{PAPAYA}/{which}").text.count("<form") == 1  # only to bring it back

    back = next(one.id for one in house.ledger.history(which) if one.withdrawn)
    for _ in range(2):
        assert post(client, back, {"act": "bring-back"}).status_code == 303
    assert len(entries(client)) == 1
    assert "1 taken back" not in client.get(PAPAYA).text


def test_of_two_corrections_the_one_holds_that_a_person_says(client, house):
    which = kept_look(house)
    for grade in ("1", "6"):
        post(client, which, {"grade": grade})
    one, other = house.ledger.current()
    assert post(client, one.id, {"act": "holds"}).status_code == 303
    assert [entry.id for entry in house.ledger.current()] == [one.id]
    assert "another one holds" in client.get(f"{PAPAYA}/{one.id}").text
    refused = post(client, other.id, {"act": "holds"})
    assert refused.status_code == 422
    assert "does not stand any more" in refused.text


def test_an_entry_belongs_to_its_tree(client, house):
    which = kept_look(house)
    for address in (f"/trees/guava/{which}", f"{PAPAYA}/{uuid.uuid4()}", f"{PAPAYA}/x"):
        assert client.get(address).status_code == 404
        assert client.post(address, data={"act": "withdraw"}).status_code == 404
    assert len(house.ledger.current()) == 1


def test_an_empty_note_is_told_in_the_form(client):
    page = read_page(add(client, note="  ").text)
    assert page.one(id="add-error").text == "Write something, or choose what was done."
    assert page.one("textarea").attributes["aria-describedby"] == "add-error"


def test_the_picture_is_in_the_readers_degrees_against_what_the_tree_stands(client, house):
    plan = sample_plan()
    night = NIGHT - timedelta(days=1)
    past = plan.model_copy(update={"night": night, "sunrise": SUNRISE - timedelta(days=1)})
    house.journal.store_plan(night, past.model_dump_json(), version=house.yard()[1], made=NOW)
    kept_look(house, grade=6)
    tree = next(tree for tree in plan.trees if tree.id == "papaya")

    page = read_page(client.get(PAPAYA).text).one("figure", cls="chart")
    heads = [one.text for one in page.all("th") if "°" in one.text]
    assert heads == ["What it stands (°C)", "Left alone (°C)", "With what was planned (°C)"]
    assert f"{tree.tissue_min_c['nothing'].p50:.1f}".replace("-", "\N{MINUS SIGN}") in page.text
    assert "Grade 6: Limbs dead" in page.text
    summary = page.one("p", cls="summary").text
    assert "1 planned night is over." in summary
    assert not any(part[:1].islower() for part in summary.split(". "))

    client.cookies.set("fruitwall_reads", "en.F.-.-")
    assert "What it stands (°F)" in client.get(PAPAYA).text


def test_what_is_believed_is_told_with_its_reasons_and_sources(client, house):
    plan = sample_plan()
    because = ReasonPart(label="because", value="", note="a seedling: no two are alike")
    trees = [tree.model_copy(update={"chain": [*tree.chain, because]}) for tree in plan.trees]
    plan = plan.model_copy(update={"trees": trees})
    house.journal.store_plan(NIGHT, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    part = read_page(client.get(PAPAYA).text).one("section", cls="stands")
    tree = next(tree for tree in plan.trees if tree.id == "papaya")

    assert f"{tree.tolerance_c.p90:.1f}" in part.text.replace("\N{MINUS SIGN}", "-")
    lines = [one.text for one in part.all("li")]
    assert lines[0] == "A seedling: no two are alike"
    statements = stories_of(house, "papaya")[0].statements
    assert len(lines) == 1 + len(statements) >= 2
    assert statements[0].origin.authors in lines[1]
    assert "°C" in lines[1]
    assert "Sky view" in part.one("dl").text
    assert "seedling" not in part.one("dl").text


def test_a_viewer_sees_an_entry_and_its_history_and_has_nothing_to_press(client, house, monkeypatch):
    which = kept_look(house)
    correct(house.ledger, which, {"grade": 5}, signed=Signed("Ana", "phone", NOW), number=str(uuid.uuid4()))
    withdrawn = withdraw(house.ledger, house.ledger.current()[0].id, signed=Signed("Ana", "phone", NOW))
    monkeypatch.setattr(routes, "who", lambda _: Who(role="viewer"))

    for address in (PAPAYA, f"{PAPAYA}/{which}", f"{PAPAYA}/{withdrawn.id}"):
        page = client.get(address).text
        assert "<form" not in page
        assert "<button" not in page
    assert "Much leaf burnt" in page
    assert "Taken back" in page
