"""The walk as the server gives it: plain forms, photos, entries, and what a telephone needs to keep the pages."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from io import BytesIO

import pytest
from PIL import Image
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.ledger import GRADES, Deed, Sighting, Signed, body_of, entry_of
from fruitwall.service.ticks import tick_key
from fruitwall.speech import speaking
from fruitwall.web.walk import routes
from fruitwall.web.walk.drawings import STATES, grade_picture
from fruitwall.web.walk.install import SHELL
from fruitwall.web.walk.words import kind_beside
from fruitwall.web.who import Who
from tests.web.markup import Element, read_page
from tests.web.sample import NOW, sample_plan, sample_yard


@pytest.fixture
def walker(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


def jpeg(width: int = 640, height: int = 480, colour: str = "green") -> bytes:
    out = BytesIO()
    Image.new("RGB", (width, height), colour).save(out, "JPEG")
    return out.getvalue()


def look(house: House, tree: str, *, hours_ago: float = 30, replaces: str | None = None, **said: object) -> str:
    signed = Signed("Odalis", "phone", NOW)
    at = NOW - timedelta(hours=hours_ago)
    entry = entry_of("sighting", Sighting(**said), tree=tree, at=at, signed=signed, replaces=replaces)
    house.ledger.add([entry])
    return entry.id


def stop_of(client: TestClient, tree: str = "papaya") -> Element:
    return read_page(client.get(f"/walk/{tree}").text)


def entry_id(page: Element) -> str:
    return next(one.attributes["value"] for one in page.all("input") if one.attributes.get("name") == "entry")


def send(client: TestClient, tree: str = "papaya", *, photo: bytes | None = None, **fields: object):
    data = {"entry": str(uuid.uuid4()), "act": "save"} | fields
    files = {"photo": ("IMG_1.jpg", photo, "image/jpeg")} if photo is not None else {"photo": ("", b"", "")}
    return client.post(f"/walk/{tree}", data=data, files=files, follow_redirects=False)


def sightings(house: House) -> list[Sighting]:
    return [body for entry in house.ledger.current() if isinstance(body := body_of(entry), Sighting)]


# ---------------------------------------------------------------- pages


def test_the_walk_lists_every_tree_once_and_links_it(walker, house):
    page = read_page(walker.get("/walk").text)

    links = [one.attributes["href"] for one in page.one("ol", cls="stops").all("a")]
    assert sorted(links) == sorted(f"/walk/{tree.id}" for tree in house.yard()[0].trees)
    assert page.one("a", cls="go").attributes["href"] == links[0]


def test_next_leads_through_the_whole_walk(walker):
    page = read_page(walker.get("/walk").text)
    order = [one.attributes["href"] for one in page.one("ol", cls="stops").all("a")]

    followed = [order[0]]
    while (
        after := read_page(walker.get(followed[-1]).text).one("form", cls="look").attributes["data-next"]
    ) != "/walk":
        followed.append(after)

    assert followed == order


def test_a_tree_shows_eight_grades_with_words_and_different_drawings(walker):
    page = stop_of(walker)

    grades = list(page.all("label", cls="grade"))
    assert [one.one("strong").text for one in grades] == [name for _, name, _ in GRADES]
    assert [one.one("span", cls="told").text for one in grades] == [told for *_, told in GRADES]
    assert len({str(grade_picture(grade)) for grade in range(8)}) == len(STATES) == len(GRADES) == 8


def test_drawings_differ_by_shape_and_not_by_colour_alone():
    bare = [re.sub(r'class="[^"]*"', "", str(grade_picture(grade))) for grade in range(8)]
    classes = [re.findall(r'class="([^"]*)"', str(grade_picture(grade))) for grade in range(8)]

    # Sound and pale have one form, filled or an outline; dead wood has one form, whole or dashed.
    assert bare[0] == bare[1]
    assert len(set(bare[1:5])) == 4
    assert [sum("gone" in name for name in names) for names in classes] == [0, 0, 0, 0, 0, 6, 9, 10]


def test_a_tree_tells_what_it_went_through(walker, house):
    look(house, "papaya", hours_ago=40, grade=2, signs=["tips"])
    plan = sample_plan(night=NOW.date() - timedelta(days=1), sunrise=NOW - timedelta(hours=7))
    house.journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=NOW)

    story = stop_of(walker).one("div", cls="story").text

    assert "Last look 40 h ago, by Odalis: Some leaf burnt; tips and margins only." in story
    assert "1 night since; the coldest was Mon 21 Dec, leaves at 0.9 °C by the forecast" in story
    assert "1.3 K to spare (−2.6 °C without)" in story


def test_the_yards_units_are_kept(walker, house):
    plan = sample_plan(night=NOW.date() - timedelta(days=1), sunrise=NOW - timedelta(hours=7))
    house.journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=NOW)

    assert "1 night of the last two weeks" in stop_of(walker).one("div", cls="story").text
    assert "K to spare" in walker.get("/walk").text or "K short" in walker.get("/walk").text


def test_a_tree_that_is_not_there_is_said_so(walker):
    assert walker.get("/walk/nowhere").status_code == 404
    assert send(walker, "nowhere", grade="1").status_code == 404


def test_the_walk_speaks_spanish(walker):
    page = walker.get("/walk/papaya", headers={"accept-language": "es"}).text

    assert "Guardar y seguir" in page
    assert "Cómo se ve ahora" in page


# ---------------------------------------------------------------- plain forms


def test_a_look_is_stored_and_leads_to_the_next_tree(walker, house):
    after = stop_of(walker).one("form", cls="look").attributes["data-next"]

    answer = send(walker, grade="3", sign=["tips", "brown", "no-such-sign"], note="  after the wind \r\n")

    assert (answer.status_code, answer.headers["location"]) == (303, after)
    (entry,) = house.ledger.current()
    assert (entry.kind, entry.tree, entry.at, entry.author) == ("sighting", "papaya", NOW, "owner")
    assert body_of(entry) == Sighting(grade=3, signs=["tips", "brown"], note="after the wind")
    assert "Much leaf burnt" in walker.get("/walk").text


def test_a_look_with_a_photo_shows_it_from_then_on(walker, house):
    answer = send(walker, photo=jpeg())

    assert answer.status_code == 303
    (body,) = sightings(house)
    assert body.grade is None
    picture = stop_of(walker).one("img").attributes["src"]
    assert picture == f"/photos/{body.photos[0]}-small.jpg"
    assert walker.get(picture).headers["content-type"] == "image/jpeg"


def test_a_form_sent_twice_is_stored_once(walker, house):
    number = entry_id(stop_of(walker))

    answers = [send(walker, entry=number, grade="2") for _ in range(2)]

    assert [answer.status_code for answer in answers] == [303, 303]
    assert [entry.id for entry in house.ledger.current()] == [number]


def test_going_back_and_choosing_anew_corrects(walker, house):
    number = entry_id(stop_of(walker))
    send(walker, entry=number, grade="2")

    send(walker, entry=number, grade="4")

    (entry,) = house.ledger.current()
    assert (entry.replaces, body_of(entry).grade) == (number, 4)
    assert len(house.ledger.history(number)) == 2


def test_the_same_as_last_time_takes_grade_and_signs_but_no_photo(walker, house):
    digest = "a" * 64
    look(house, "papaya", grade=3, signs=["tips"], photos=[digest], note="old words")

    send(walker, act="same", note="unchanged")

    assert sightings(house)[-1] == Sighting(grade=3, signs=["tips"], note="unchanged")


@pytest.mark.parametrize("fields", [{}, {"grade": "8"}, {"grade": "-1"}, {"grade": "²"}, {"note": "  "}])
def test_nothing_entered_is_asked_for_again(walker, house, fields):
    answer = send(walker, **fields)

    assert answer.status_code == 422
    assert "Choose a grade" in answer.text
    assert house.ledger.current() == []


def test_what_was_typed_stays_when_the_photo_is_refused(walker, house):
    answer = send(walker, photo=b"<svg xmlns='x'/>", grade="5", sign=["sudden"], note="see <b>this</b>")

    page = read_page(answer.text)
    assert answer.status_code == 422
    assert "no photo but" in page.one("div", cls="errors").text
    checked = {one.attributes["value"] for one in page.all("input") if "checked" in one.attributes}
    assert checked == {"5", "sudden"}
    assert page.one("textarea").text == "see <b>this</b>"
    assert "open" in page.one("form", cls="look").one("details").attributes
    assert house.ledger.current() == []


def test_a_correction_replaces_and_two_corrections_stand_side_by_side(walker, house):
    first = look(house, "papaya", hours_ago=2, grade=1)
    assert first in {one.attributes.get("value") for one in stop_of(walker).all("input")}

    send(walker, grade="3", replaces=first)
    assert [entry.replaces for entry in house.ledger.current()] == [first]
    send(walker, grade="5", replaces=first)

    assert sorted(body.grade for body in sightings(house)) == [3, 5]
    conflict = stop_of(walker).one("div", cls="conflict").text
    assert "Much leaf burnt" in conflict
    assert "Twigs dead" in conflict
    assert "side by side" in walker.get("/walk").text


def test_a_form_that_is_too_large_is_refused_before_it_is_read(walker, house, monkeypatch):
    monkeypatch.setattr("fruitwall.service.pictures.MOST_BYTES", 1000)
    monkeypatch.setattr("fruitwall.web.walk.routes.BESIDES_BYTES", 1000)

    assert send(walker, photo=jpeg(900, 900), note="x").status_code == 413
    assert house.ledger.current() == []


# ---------------------------------------------------------------- photos


def test_a_photo_is_answered_with_its_digest_and_served_as_a_picture_for_ever(walker, house):
    answer = walker.post("/api/photos", files={"photo": ("../../x.jpg", jpeg(2400, 1800), "text/html")})

    told = answer.json()
    assert (answer.status_code, told["width"], told["height"]) == (200, 2048, 1536)
    for name in (f"{told['sha256']}.jpg", f"{told['sha256']}-small.jpg"):
        served = walker.get(f"/photos/{name}")
        assert served.headers["content-type"] == "image/jpeg"
        assert served.headers["x-content-type-options"] == "nosniff"
        assert "immutable" in served.headers["cache-control"]
        assert "default-src 'none'" in served.headers["content-security-policy"]
        assert Image.open(BytesIO(served.content)).format == "JPEG"


@pytest.mark.parametrize(
    "name", ["0" * 64 + ".jpg", "0" * 64 + "-small.jpg", "..%2f..%2fetc%2fpasswd", "x.jpg", "a" * 63 + "G.jpg"]
)
def test_only_photos_of_this_yard_are_served(walker, house, name):
    # A file that lies in the folder but belongs to no row of this yard is none of its photos.
    assert walker.get(f"/photos/{name}").status_code == 404
    stray = house.photos.store(jpeg())
    assert walker.get(f"/photos/{stray}.jpg").status_code == 404


def test_a_hostile_photo_is_refused_with_its_reason(walker, house):
    answer = walker.post("/api/photos", files={"photo": ("x.jpg", jpeg() + b"<script>alert(1)</script>")})

    assert answer.status_code == 422
    assert "something else at once" in answer.text
    assert not house.photos.folder.exists()


def test_a_photo_must_be_a_file(walker):
    assert walker.post("/api/photos", data={"photo": "words"}).status_code == 422
    assert walker.post("/api/photos", content=b"words").status_code == 422


def test_too_much_is_refused_also_where_the_length_is_not_told(walker, monkeypatch):
    monkeypatch.setattr("fruitwall.service.pictures.MOST_BYTES", 1000)
    monkeypatch.setattr("fruitwall.web.walk.intake.BESIDES_BYTES", 0)
    boundary = b"--x\r\ncontent-disposition: form-data; name=photo; filename=a.jpg\r\n\r\n"

    def parts():
        yield boundary
        for _ in range(50):
            yield b"\xff" * 100

    answer = walker.post("/api/photos", content=parts(), headers={"content-type": "multipart/form-data; boundary=x"})

    assert answer.status_code == 413


# ---------------------------------------------------------------- entries


def test_entries_are_answered_one_by_one(walker, house):
    good = {
        "id": str(uuid.uuid4()),
        "kind": "sighting",
        "tree": "papaya",
        "at": NOW.isoformat(),
        "body": {"grade": 1},
    }
    bad = good | {"id": str(uuid.uuid4()), "body": {"grade": 11}}

    answer = walker.post("/api/entries", json={"entries": [good, bad, good], "sent": NOW.isoformat()})

    assert answer.status_code == 200
    told = answer.json()["answers"]
    assert [one["result"] for one in told] == ["stored", "refused", "known"]
    assert "grade" in told[1]["reason"]
    assert [entry.id for entry in house.ledger.current()] == [good["id"]]


def test_a_bare_list_of_entries_is_taken_too(walker):
    assert walker.post("/api/entries", json=[]).json() == {"answers": []}


@pytest.mark.parametrize(
    "body",
    ["", "{", "[" * 100_000, '"x"', "3", '{"entries": 3}', '{"entries": [], "sent": "noon"}', "[" + "0," * 200 + "0]"],
)
def test_what_is_no_list_of_entries_is_refused(walker, body):
    assert walker.post("/api/entries", content=body).status_code == 422


# ---------------------------------------------------------------- installing


def test_the_worker_comes_from_the_root_and_keeps_the_shell(walker):
    answer = walker.get("/sw.js")

    shell = json.loads(re.search(r"const SHELL = (.*);", answer.text)[1])
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert len(shell) == len(SHELL) + 1
    assert all(walker.get(url).status_code == 200 for url in shell)


def test_the_manifest_names_icons_that_are_there(walker):
    told = walker.get("/manifest.webmanifest").json()

    assert told["display"] == "standalone"
    for icon in told["icons"]:
        served = walker.get(icon["src"])
        assert served.headers["content-type"] == "image/png"
        assert "x".join(map(str, Image.open(BytesIO(served.content)).size)) == icon["sizes"]
    assert 'rel="manifest"' in walker.get("/walk").text
    assert walker.get("/icons/other.png").status_code == 404


def test_without_a_household_there_is_no_walk(client):
    assert client.get("/walk").status_code == 404
    assert "manifest" not in client.get("/more").text


def test_the_walk_is_light(walker, house):
    # Without photos and without the drawing of the browser: what a telephone fetches for a tree, compressed.
    import gzip

    names = ("base.css", "walk.css", "walk.js", "walk-queue.js", "walk-photo.js")
    text = walker.get("/walk/papaya").text
    links = set(re.findall(r"/static/[\w.-]+", text))
    assert {re.sub(r"\.\w{12}", "", link.split("/")[-1]) for link in links} >= set(names)
    weight = len(gzip.compress(text.encode())) + sum(len(gzip.compress(walker.get(link).content)) for link in links)

    assert weight < 40_000


def test_the_house_of_another_clock_refuses_nothing(house, client_of):
    # The demo's clock stands still: a telephone's is months off and its entries are still taken.
    client = client_of(house=replace(house, clock=lambda: NOW))
    sent = NOW + timedelta(days=300)
    entry = {"id": str(uuid.uuid4()), "kind": "note", "tree": None, "at": sent.isoformat(), "body": {"note": "x"}}

    answer = client.post("/api/entries", json={"entries": [entry], "sent": sent.isoformat()})

    assert [one["result"] for one in answer.json()["answers"]] == ["stored"]


def test_kind_and_cultivar_stand_beside_a_name_that_does_not_say_them_in_the_readers_language():
    yard = sample_yard()
    (avocado,) = (tree for tree in yard.trees if tree.name == "Big avocado")
    papaya = next(tree for tree in yard.trees if tree.name == "Papaya")

    assert kind_beside(papaya) == ""
    assert kind_beside(avocado).startswith("Persea americana (Guatemalan x Mexican hybrids)")
    with speaking("es"):
        assert kind_beside(avocado).startswith("Persea americana (híbridos de guatemalteco y mexicano)")


# ---------------------------------------------------------------- who holds, who may


def test_a_person_says_which_correction_holds_and_the_other_is_kept(walker, house):
    first = look(house, "papaya", hours_ago=2, grade=1)
    send(walker, grade="3", replaces=first)
    send(walker, grade="5", replaces=first)
    box = stop_of(walker).one("div", cls="conflict")
    keep = next(one for one in box.all("li") if "Twigs dead" in one.text).one("button").attributes["value"]

    for _ in range(2):
        answer = walker.post("/walk/papaya/holds", data={"which": keep}, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/walk/papaya")
    assert [body.grade for body in sightings(house)] == [5]
    assert not list(stop_of(walker).all("div", cls="conflict"))
    assert len(house.ledger.history(first)) == 4


@pytest.mark.parametrize("which", ["825c9a49-e5fa-483f-b460-f19468447657", "-" * 36, "x"])
def test_what_does_not_stand_cannot_hold(walker, house, which):
    look(house, "papaya", hours_ago=2, grade=1)
    assert walker.post("/walk/papaya/holds", data={"which": which}).status_code in (409, 422)
    assert walker.post("/walk/nowhere/holds", data={"which": str(uuid.uuid4())}).status_code == 409
    assert [body.grade for body in sightings(house)] == [1]


def test_a_viewer_sees_a_conflict_and_has_nothing_to_press(walker, house, monkeypatch):
    first = look(house, "papaya", hours_ago=2, grade=1)
    for grade in (3, 5):
        look(house, "papaya", hours_ago=2, grade=grade, replaces=first)
    monkeypatch.setattr(routes, "who", lambda _: Who(role="viewer"))

    page = walker.get("/walk/papaya").text
    assert "Twigs dead" in read_page(page).one("div", cls="conflict").text
    assert "<button" not in page
    assert "<form" not in page
    assert 'class="go"' not in walker.get("/walk").text


def test_a_tree_tells_what_was_done_and_whether_the_plan_was_followed(walker, house):
    night = NOW.date() - timedelta(days=1)
    plan = sample_plan(night=night, sunrise=NOW - timedelta(hours=7))
    house.journal.store_plan(night, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    assert "without), not ticked as done." in stop_of(walker).one("div", cls="story").text

    task = next(task for task in plan.tasks if "papaya" in task.trees)
    deed = Deed(what=tick_key(plan, task), words="said otherwise", night=night, trees=task.trees)
    at = NOW - timedelta(hours=22)
    house.ledger.add([entry_of("deed", deed, tree=None, at=at, signed=Signed("Odalis", "phone", NOW))])
    story = stop_of(walker).one("div", cls="story").text
    assert "without), ticked as done." in story
    assert f"Done since: {task.what} (Mon 21 Dec)." in story
