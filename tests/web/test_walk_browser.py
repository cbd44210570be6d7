"""The walk in a real browser: out of reach, on two phones, by keyboard, without scripts."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image

from fruitwall.service.house import House
from fruitwall.service.ledger import Deed, Sighting, Signed, body_of, entry_of
from fruitwall.service.pictures import keep_picture
from fruitwall.service.walk import walking_order
from tests.web.sample import NOW, sample_plan

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}


@pytest.fixture
def photo(tmp_path: Path) -> str:
    out = BytesIO()
    Image.effect_noise((2600, 1950), 60).convert("RGB").save(out, "JPEG", quality=80)
    path = tmp_path / "leaf.jpg"
    path.write_bytes(out.getvalue())
    return str(path)


@pytest.fixture
def address(serve: Callable[..., str], house: House) -> str:
    return serve(house=house)


@pytest.fixture
def phones(browser: Any):
    """Make phones, each with a storage of its own."""
    contexts = []

    def make(**options: object) -> Any:
        contexts.append(browser.new_context(**{"viewport": PHONE, "has_touch": True} | options))
        page = contexts[-1].new_page()
        page.set_default_timeout(20_000)
        return page

    yield make
    for context in contexts:
        context.close()


def kept(page: Any, address: str) -> None:
    """Open the walk and wait until the device keeps all of it."""
    page.goto(f"{address}/walk")
    page.wait_for_selector("html[data-walk='kept']", timeout=60_000)


def looks(house: House) -> list[tuple[str | None, int | None]]:
    return [(entry.tree, body_of(entry).grade) for entry in house.ledger.current()]


def save(page: Any, grade: int | None) -> None:
    """Choose a grade and go on; waits until the next page is there."""
    before = page.url
    if grade is not None:
        page.locator("label.grade").nth(grade).click()
    page.locator("button.save").click()
    page.wait_for_function("before => location.href !== before", arg=before)


def until_sent(page: Any, house: House, count: int) -> None:
    page.wait_for_function("() => !document.querySelector('#waiting, .waiting-line:not([hidden])')?.checkVisibility()")
    for _ in range(100):
        if len(house.ledger.current()) >= count:
            break
        page.wait_for_timeout(50)


def conflict(house: House) -> None:
    """Let two telephones have corrected one look at the papaya."""
    signed = Signed("Odalis", "phone", NOW)
    first = entry_of("sighting", Sighting(grade=1), tree="papaya", at=NOW - timedelta(days=2), signed=signed)
    rivals = [
        replace(first, id=str(uuid.uuid4()), replaces=first.id, body=Sighting(grade=grade).model_dump_json())
        for grade in (3, 5)
    ]
    house.ledger.add([first, *rivals])


def test_a_whole_walk_out_of_reach_comes_in_once_and_whole(phones, address, house, photo):
    order = [tree.id for tree in walking_order(house.yard()[0])]
    page = phones()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    kept(page, address)

    page.context.set_offline(True)
    page.locator("a.go").click()
    page.wait_for_url(f"**/walk/{order[0]}")
    for at in range(3):
        save(page, at)
    page.reload()  # out of reach: from the service worker
    assert page.locator("h1").inner_text()
    page.locator("input[type=file]").set_input_files(photo)
    page.locator(".chosen-photos canvas").wait_for()
    page.locator("textarea").fill("bark split near the foot")
    page.locator("label.sign").first.click()
    save(page, 4)
    page.locator(".round-nav a", has_text="All trees").click()
    page.locator(f"a.go[href$='/walk/{order[4]}']").click()
    page.wait_for_url(f"**/walk/{order[4]}")
    for _ in order[4:]:
        save(page, 0)
    page.wait_for_selector("#waiting")
    assert page.locator("#waiting .waiting-count").inner_text() == f"{len(order)} waiting to be sent"
    assert house.ledger.current() == []

    page.context.set_offline(False)
    until_sent(page, house, len(order))

    assert sorted(looks(house)) == sorted(zip(order, [0, 1, 2, 4] + [0] * (len(order) - 4), strict=True))
    (with_photo,) = (body for entry in house.ledger.current() if (body := body_of(entry)).photos)
    assert isinstance(with_photo, Sighting)
    assert (with_photo.note, with_photo.signs) == ("bark split near the foot", ["pale"])
    stored = house.ledger.photo(with_photo.photos[0])
    assert stored is not None
    assert (stored.width, stored.height) == (2048, 1536)
    assert errors == []


def test_a_stage_tapped_out_of_reach_comes_in_with_the_looks_and_is_no_look(phones, address, house):
    page = phones()
    kept(page, address)
    page.context.set_offline(True)
    page.locator("a.go").click()
    page.wait_for_selector("form.look")
    tree = page.locator("[data-tree]").get_attribute("data-tree")
    page.locator("form.stage-taps summary").click()
    page.locator("form.stage-taps button[value=bloom]").click()
    page.locator(".stage-told", has_text="In bloom: entered.").wait_for()
    assert page.locator(".on-device").is_hidden()
    page.locator(".round-nav a", has_text="All trees").click()
    page.locator(".waiting-list li", has_text="In bloom").wait_for()
    assert house.ledger.current() == []

    page.context.set_offline(False)
    until_sent(page, house, 1)

    (entry,) = house.ledger.current()
    assert (entry.kind, entry.tree) == ("stage", tree)
    assert body_of(entry).stage == "bloom"


def test_an_answer_that_was_lost_does_not_make_an_entry_twice(phones, address, house):
    page = phones()
    kept(page, address)
    page.locator("a.go").click()
    page.wait_for_selector("form.look")
    lost = []

    def lose(route: Any) -> None:
        # The server stores it, the answer never arrives.
        route.fetch()
        lost.append(route.request.url)
        route.abort()

    page.context.route("**/api/entries", lose, times=1)
    save(page, 3)
    page.locator(".waiting-line:not([hidden])").wait_for()
    for _ in range(100):
        if lost:
            break
        page.wait_for_timeout(50)
    assert len(lost) == 1
    assert len(house.ledger.current()) == 1

    page.goto(f"{address}/walk")
    until_sent(page, house, 1)

    assert [grade for _, grade in looks(house)] == [3]


def test_what_is_refused_stays_with_its_reason_until_it_is_mended(phones, address, house, tmp_path):
    wrong = tmp_path / "leaf.jpg"
    wrong.write_bytes(b"<svg xmlns='http://www.w3.org/2000/svg'/>")
    page = phones()
    kept(page, address)
    page.locator("a.go").click()
    page.wait_for_selector("form.look")
    page.locator("input[type=file]").set_input_files(str(wrong))
    page.locator(".chosen-photos li").wait_for()
    save(page, 2)

    page.goto(f"{address}/walk")
    line = page.locator(".waiting-list li")
    line.get_by_text("This is no photo but HTML, SVG").wait_for()
    assert page.locator("#waiting .waiting-count").inner_text() == "1 was not taken: see why"
    assert house.ledger.current() == []
    line.get_by_role("button", name="Send without the photo").click()
    until_sent(page, house, 1)

    assert [grade for _, grade in looks(house)] == [2]


def test_two_phones_at_the_same_time_and_a_conflict_keeps_both(phones, address, house):
    one, other = phones(), phones()
    for page in (one, other):
        kept(page, address)
    for page, grade in ((one, 1), (other, 2)):
        page.goto(f"{address}/walk/papaya")
        page.context.set_offline(True)
        save(page, grade)
    for page in (one, other):
        page.context.set_offline(False)
    for page in (one, other):
        page.goto(f"{address}/walk")
        until_sent(page, house, 2)
    assert sorted(looks(house)) == [("papaya", 1), ("papaya", 2)]

    for page, grade in ((one, 5), (other, 6)):
        page.goto(f"{address}/walk/papaya")
        page.locator("label.corrects input").check()
        page.context.set_offline(True)
        save(page, grade)
    for page in (one, other):
        page.context.set_offline(False)
        page.goto(f"{address}/walk")
        until_sent(page, house, 3)

    assert {5, 6} <= {grade for _, grade in looks(house)}
    one.goto(f"{address}/walk/papaya")
    assert "Twigs dead" in one.locator(".conflict").inner_text()
    assert "Limbs dead" in one.locator(".conflict").inner_text()


def test_two_tabs_send_what_waits_once(phones, address, house):
    page = phones()
    kept(page, address)
    page.goto(f"{address}/walk/papaya")
    page.wait_for_selector("form.look")
    page.context.set_offline(True)
    save(page, 1)
    second = page.context.new_page()
    second.goto(f"{address}/walk")
    second.wait_for_selector("#waiting:not([hidden])")

    page.context.set_offline(False)
    until_sent(second, house, 1)
    page.wait_for_timeout(300)

    assert looks(house) == [("papaya", 1)]


def test_without_scripts_the_walk_is_plain_forms(phones, address, house, photo):
    page = phones(java_script_enabled=False)
    page.goto(f"{address}/walk")
    page.locator("a.go").click()
    first = page.url
    page.locator("label.grade").nth(3).click()
    page.locator("label.sign").nth(2).click()
    page.locator("input[type=file]").set_input_files(photo)
    page.locator("textarea").fill("seen")
    page.locator("button.save").click()

    assert page.url != first
    assert page.url.startswith(f"{address}/walk/")
    page.goto(first)
    assert page.locator(".last-photo img").is_visible()
    page.locator("button.same").click()
    assert [body_of(entry).grade for entry in house.ledger.current()] == [3, 3]


def test_by_keyboard_alone(phones, address, house):
    page = phones(viewport=DESK, has_touch=False)
    kept(page, address)
    page.locator("a.go").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("form.look")
    assert page.evaluate("document.activeElement.tagName") == "H1"
    while page.evaluate("document.activeElement.name") != "grade":
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    while "save" not in page.evaluate("document.activeElement.className"):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    until_sent(page, house, 1)

    (entry,) = house.ledger.current()
    assert body_of(entry) == Sighting(grade=2, signs=["pale"])


def test_the_device_id_needs_no_secure_address(phones, address):
    page = phones()
    page.goto(f"{address}/walk")
    url = page.locator("#walk-told").get_attribute("data-queue")

    ids = page.evaluate("async url => { const q = await import(url); return [q.newId(), q.newId()] }", url)

    assert len(set(ids)) == 2
    for one in ids:
        assert [len(part) for part in one.split("-")] == [8, 4, 4, 4, 12]
        assert one[14] == "4"
        assert one[19] in "89ab"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("path", ["/walk", "/walk/papaya"])
def test_axe_finds_no_serious_fault_and_nothing_sticks_out(phones, address, size, scheme, path):
    page = phones(viewport=size, color_scheme=scheme)
    page.goto(address + path)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")

    found = Axe().run(page).response["violations"]

    assert [(one["id"], one["help"]) for one in found if one["impact"] in ("serious", "critical")] == []
    assert page.evaluate("document.documentElement.scrollWidth") == size["width"]


@pytest.mark.parametrize("path", ["/walk", "/walk/papaya"])
def test_fields_are_large_enough_for_a_cold_thumb(phones, address, house, path):
    conflict(house)  # has buttons too
    page = phones()
    page.goto(f"{address}{path}")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")

    small = page.evaluate(
        """() => [...document.querySelectorAll('main a, main button, .grade, .sign, summary, textarea, #photo')]
            .filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 47.5)
            .map(one => one.outerHTML.slice(0, 90) + one.getBoundingClientRect().height)"""
    )

    assert small == []


def test_a_tree_takes_two_taps_and_one_where_nothing_changed(phones, address, house):
    page = phones()
    page.add_init_script(
        "addEventListener('pointerdown', () => { sessionStorage.taps = Number(sessionStorage.taps || 0) + 1 }, true)"
    )

    def taps() -> int:
        return int(page.evaluate("sessionStorage.taps || 0"))

    order = [tree.id for tree in walking_order(house.yard()[0])]
    page.goto(f"{address}/walk/{order[0]}")
    page.wait_for_selector("html[data-walk='kept']", timeout=60_000)
    for tree in order[:3]:
        # What is tapped is in view as the page opens: no scrolling between them, at least for what is sound or little.
        for place in ("label.grade >> nth=0", "label.grade >> nth=2", "button.save"):
            box = page.locator(place).bounding_box()
            assert box is not None
            assert 0 <= box["y"] <= PHONE["height"] - box["height"]
        page.locator("label.grade").nth(2).tap()
        page.locator("button.save").tap()
        page.wait_for_function("tree => !location.pathname.endsWith('/' + tree)", arg=tree)
    until_sent(page, house, 3)
    assert sorted(looks(house)) == sorted((tree, 2) for tree in order[:3])
    assert taps() == 6

    page.goto(f"{address}/walk/{order[0]}")
    page.wait_for_selector("button.same")
    page.locator("button.same").tap()
    page.wait_for_function("tree => !location.pathname.endsWith('/' + tree)", arg=order[0])
    until_sent(page, house, 4)
    assert taps() == 7
    assert len(house.ledger.current()) == 4


def test_with_a_photo_and_a_story_the_grades_are_in_view_as_well(phones, address, house, photo):
    stored = keep_picture(house, Path(photo).read_bytes()).sha256
    night = NOW.date() - timedelta(days=1)
    plan = sample_plan(night=night, sunrise=NOW - timedelta(hours=7))
    house.journal.store_plan(night, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    signed = Signed("Odalis", "phone", NOW)
    look = Sighting(grade=3, signs=["tips"], photos=[stored])
    deed = Deed(what="watered", words="Watered")
    for kind, body, days in (("sighting", look, 3), ("deed", deed, 1)):
        house.ledger.add([entry_of(kind, body, tree="papaya", at=NOW - timedelta(days=days), signed=signed)])
    page = phones()
    page.goto(f"{address}/walk/papaya")
    page.wait_for_load_state("networkidle")
    for place in (".last-photo img", ".story p >> nth=2", "button.same", "label.grade >> nth=2", "button.save"):
        box = page.locator(place).bounding_box()
        assert box is not None
        assert 0 <= box["y"] <= PHONE["height"] - box["height"], place


def test_a_person_says_on_the_phone_which_correction_holds(phones, address, house):
    conflict(house)
    page = phones()
    kept(page, address)
    page.goto(f"{address}/walk/papaya")
    page.locator(".conflict li", has_text="Twigs dead").get_by_role("button").tap()
    page.wait_for_function("() => !document.querySelector('.conflict')")
    assert looks(house) == [("papaya", 5)]


def test_pages_do_not_need_a_secure_address_as_long_as_they_stay_open(phones, address, house):
    page = phones()
    page.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
    page.goto(f"{address}/walk")
    page.wait_for_selector("html[data-walk='open-only']", timeout=60_000)

    page.context.set_offline(True)
    page.locator("a.go").click()
    page.wait_for_selector("form.look")
    save(page, 1)
    save(page, 2)
    page.context.set_offline(False)
    until_sent(page, house, 2)

    assert sorted(grade for _, grade in looks(house)) == [1, 2]


def test_a_server_that_does_not_answer_holds_nobody_up(phones, address, house):
    page = phones()
    page.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
    page.goto(f"{address}/walk")
    page.wait_for_selector("html[data-walk='open-only']", timeout=60_000)
    page.context.route("**/*", lambda route: None)  # taken, and never answered

    page.locator("a.go").click()
    page.wait_for_selector("form.look", timeout=5_000)
    save(page, 4)
    page.locator(".waiting-line a").click()
    page.locator("#waiting .waiting-list li").wait_for(timeout=5_000)

    assert "1 waiting to be sent" in page.locator("#waiting").inner_text()
    assert house.ledger.current() == []
    page.context.unroute_all(behavior="ignoreErrors")


def test_the_browser_refuses_nothing_of_the_walk(phones, address, photo):
    page = phones()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("requestfailed", lambda request: said.append(request.url))
    page.on("response", lambda answer: said.append(answer.url) if answer.status >= 400 else None)
    kept(page, address)
    page.goto(f"{address}/walk/papaya")
    page.locator("input[type=file]").set_input_files(photo)
    page.locator(".chosen-photos canvas").wait_for()

    page.wait_for_load_state("networkidle")
    assert said == []
