"""A tree's page in a real browser: its picture by finger and by keys, a correction by thumb, both in light and dark."""

from __future__ import annotations

import re
from datetime import timedelta
from io import BytesIO

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect

from fruitwall.service.ledger import Sighting, Signed, Stage, entry_of
from fruitwall.service.pictures import keep_picture
from tests.web.sample import NIGHT, NOW, SUNRISE, sample_plan

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}


@pytest.fixture
def address(serve, house):
    """A papaya with three nights behind it, two looks, one of them with a photo, and a stage."""
    for back in range(1, 4):
        past = sample_plan(night=NIGHT - timedelta(days=back), sunrise=SUNRISE - timedelta(days=back))
        house.journal.store_plan(past.night, past.model_dump_json(), version=house.yard()[1], made=NOW)
    out = BytesIO()
    Image.new("RGB", (640, 480), "olive").save(out, "JPEG")
    photo = keep_picture(house, out.getvalue()).sha256
    signed = Signed("Odalis", "phone", NOW)
    for days, body in (
        (3.5, Sighting(grade=0)),
        (0.1, Sighting(grade=5, photos=[photo], note="twigs")),
        (5, Stage(stage="bloom")),
    ):
        kind = "stage" if isinstance(body, Stage) else "sighting"
        house.ledger.add([entry_of(kind, body, tree="papaya", at=NOW - timedelta(days=days), signed=signed)])
    return serve(house=house)


def test_the_values_of_the_picture_are_said_by_keys(browser, address):
    page = browser.new_page(viewport=DESK)
    page.goto(f"{address}/trees/papaya")
    stage, said = page.locator(".chart-stage"), page.locator(".chart-said")
    expect(stage).to_have_attribute("role", "slider")
    for _ in range(30):
        page.keyboard.press("Tab")
        if stage.evaluate("one => one === document.activeElement"):
            break
    expect(stage).to_be_focused()
    expect(said).to_contain_text("Grade 5: Twigs dead")  # the newest

    page.keyboard.press("Home")
    expect(said).to_contain_text("From Thu 17 Dec, 14:00: In bloom")
    heard = []
    for _ in range(int(stage.get_attribute("aria-valuemax")) - 1):
        page.keyboard.press("ArrowRight")
        heard.append(said.inner_text())
        assert stage.get_attribute("aria-valuetext") == heard[-1]
    assert len(set(heard)) == len(heard) >= 11
    assert sum("What it stands" in one for one in heard) == 3
    assert any(re.search(r"Left alone .*°C", one) for one in heard)
    page.keyboard.press("ArrowRight")
    assert said.inner_text() == heard[-1]
    page.close()


def test_the_values_of_the_picture_are_said_by_finger(browser, address):
    context = browser.new_context(viewport=PHONE, has_touch=True)
    page = context.new_page()
    page.goto(f"{address}/trees/papaya")
    svg, said = page.locator(".chart-picture"), page.locator(".chart-said")
    svg.scroll_into_view_if_needed()
    expect(page.locator(".chart-stage")).to_have_attribute("role", "slider")
    box = svg.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.98, box["y"] + 8)
    expect(said).to_contain_text("Grade 5: Twigs dead")
    page.touchscreen.tap(box["x"] + box["width"] * 0.2, box["y"] + box["height"] * 0.85)
    expect(said).to_contain_text("In bloom")
    expect(page.locator(".chart-ring")).to_have_count(1)

    photo = page.locator(".chart-thumbs a")
    shown = photo.bounding_box()
    assert min(shown["width"], shown["height"]) >= 44
    photo.tap()
    page.wait_for_url("**/photos/*.jpg")
    context.close()


def test_without_scripts_the_picture_has_its_sentences_and_its_table(browser, address):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/trees/papaya")
    expect(page.locator(".chart .summary")).to_contain_text("3 planned nights are over.")
    page.locator(".chart summary").click()
    expect(page.locator(".chart-table tbody tr")).to_have_count(6)
    page.get_by_role("link", name=re.compile("Correct or take back Twigs dead")).click()
    page.locator("#note").fill("limbs too")
    page.locator("#grade").select_option("6")
    page.get_by_role("button", name="Keep the correction").click()
    expect(page.locator(".entries")).to_contain_text("Limbs dead")
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_axe_finds_no_serious_fault_and_nothing_sticks_out(browser, address, house, scheme, size):
    page = browser.new_page(viewport=size, color_scheme=scheme)
    for path in ("", f"/{house.ledger.current(kind='sighting')[-1].id}"):
        page.goto(f"{address}/trees/papaya{path}")
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["help"]) for one in found if one["impact"] in ("serious", "critical")] == []
        assert page.evaluate("document.documentElement.scrollWidth") == size["width"]
    page.close()
