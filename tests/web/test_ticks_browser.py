"""An evening ticked off in a real browser: two telephones, out of reach, by keys alone, without scripts."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from fruitwall.service.ledger import Signed
from fruitwall.service.ticks import tick
from fruitwall.web.evening import routes as evening
from fruitwall.web.who import Who
from tests.web.sample import NOW
from tests.web.test_browser import PHONE
from tests.web.test_ticks import KEYS, keyed_plan

DONE = re.compile(r"Done (14:00|13:59), owner\.")  # the device's clock is put right to within a second

pytestmark = pytest.mark.browser


@pytest.fixture
def address(serve, house):
    plan = keyed_plan()
    house.journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=plan.made)
    return serve(plan, house=house)


def row(page, number: int):
    return page.locator(f"#task-evening-{number}")


def deeds(house) -> list[str]:
    return [entry.tree for entry in house.ledger.current(kind="deed")]


def test_a_tick_by_finger_is_seen_by_the_other_telephone_and_taken_back(browser, address, house):
    first, second = (browser.new_page(viewport=PHONE, has_touch=True) for _ in range(2))
    for page in (first, second):
        page.goto(address)
        page.wait_for_load_state("networkidle")

    row(first, 3).locator("button.tick").tap()
    expect(row(first, 3).locator(".tick-words")).to_have_text(DONE)
    assert deeds(house) == ["pot-cacao"]
    expect(first.locator(".changed-words")).to_have_text("1 tick changed since this plan.")

    second.evaluate("dispatchEvent(new Event('online'))")  # as the clock of thirty seconds does
    expect(row(second, 3).locator(".tick-words")).to_have_text(DONE)
    row(second, 3).locator(".undo").tap()
    expect(row(second, 3).locator("button.tick")).to_have_attribute("aria-pressed", "false")
    assert deeds(house) == []
    first.close()
    second.close()


def test_a_tick_out_of_reach_waits_and_is_sent_once(browser, address, house):
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(address)
    page.wait_for_load_state("networkidle")

    context.set_offline(True)
    row(page, 3).locator("button.tick").click()
    expect(row(page, 3).locator(".tick-words")).to_contain_text("once there is a connection")
    assert deeds(house) == []

    context.set_offline(False)
    expect(row(page, 3).locator(".tick-words")).to_contain_text("owner.")
    assert deeds(house) == ["pot-cacao"]
    context.close()


def test_keys_alone_tick_and_take_back(browser, address, house):
    page = browser.new_page()
    page.goto(address)
    page.wait_for_load_state("networkidle")
    button = row(page, 1).locator("button.tick")
    button.focus()
    page.keyboard.press("Space")
    expect(row(page, 1).locator(".tick-words")).to_contain_text("owner.")
    expect(button).to_be_focused()

    page.keyboard.press("Tab")
    expect(row(page, 1).locator(".undo")).to_be_focused()
    page.keyboard.press("Enter")
    expect(button).to_have_attribute("aria-pressed", "false")
    expect(button).to_be_focused()
    page.close()


def test_without_scripts_the_forms_do_it_and_plan_again(browser, address, house):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    row(page, 3).locator("button.tick").click()
    expect(page).to_have_url(re.compile("#task-evening-3$"))
    expect(row(page, 3).locator(".tick-words")).to_contain_text("owner.")

    page.get_by_role("button", name="Plan again").click()
    expect(page.locator("h1")).to_be_visible()
    assert house.ledger.setting("evening.planned_with")[1:] == [KEYS[3]]
    row(page, 3).locator(".undo").click()
    expect(row(page, 3).locator(".tick-words")).to_have_text("")
    context.close()


def test_what_cannot_be_taken_back_says_so_and_what_is_refused_is_not_shown_as_done(browser, address, house):
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(address)
    page.wait_for_load_state("networkidle")
    row(page, 3).locator("button.tick").click()
    expect(row(page, 3).locator(".tick-words")).to_have_text(DONE)
    context.set_offline(True)
    row(page, 3).locator(".undo").click()
    expect(row(page, 3).locator(".tick-words")).to_contain_text("Not taken back")
    expect(row(page, 3).locator("button.tick")).to_have_attribute("aria-pressed", "true")
    assert deeds(house) == ["pot-cacao"]

    context.set_offline(False)
    answers = '{"answers": [{"id": null, "result": "refused", "reason": "Not so."}]}'
    page.route("**/api/entries", lambda route: route.fulfill(content_type="application/json", body=answers))
    row(page, 1).locator("button.tick").click()
    expect(row(page, 1).locator(".tick-words")).to_contain_text("Not so.")
    expect(row(page, 1).locator("button.tick")).to_have_attribute("aria-pressed", "false")
    row(page, 1).locator(".undo").click()
    expect(row(page, 1).locator(".tick-words")).to_have_text("")
    context.close()


def test_who_may_only_look_sees_what_others_tick(browser, address, house, monkeypatch):
    monkeypatch.setattr(evening, "who", lambda _: Who(role="viewer"))
    page = browser.new_page(viewport=PHONE)
    page.goto(address)
    page.wait_for_load_state("networkidle")
    tick(house.ledger, keyed_plan(), KEYS[3], signed=Signed("Odalis", "phone", NOW))

    page.evaluate("dispatchEvent(new Event('online'))")
    expect(row(page, 3).locator(".tick-words")).to_have_text("Done 14:00, Odalis.")
    expect(page.locator("#before-dark button")).to_have_count(0)
    page.close()


@pytest.mark.parametrize("script", [True, False], ids=["script", "plain"])
def test_what_is_done_looks_the_same_by_its_row_and_keeps_its_way_back(browser, address, house, script):
    tick(house.ledger, keyed_plan(), KEYS[3], signed=Signed("Odalis", "phone", NOW))
    looks = []
    for javascript in (script, True):
        context = browser.new_context(viewport=PHONE, java_script_enabled=javascript)
        page = context.new_page()
        page.goto(address)
        page.wait_for_load_state("networkidle")
        its = row(page, 3).locator(".ticking")
        expect(its.locator(".tick-words")).to_have_text("Done 14:00, Odalis.")
        expect(its.locator(".undo")).to_be_visible()
        expect(row(page, 1).locator(".undo")).not_to_be_visible()
        looks.append(its.screenshot())
        context.close()
    assert looks[0] == looks[1]
