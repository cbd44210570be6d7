"""The evening page in a real browser: phone and desk, light and dark, with and without scripts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.web.sample import FAHRENHEIT, FATES, Fate, calm_plan, large_evening, sample_plan, sample_yard

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}
EVENINGS: dict[str, Callable[[], tuple[Any, Any]]] = {
    "cold": lambda: (sample_plan(), sample_yard()),
    "fahrenheit": lambda: (sample_plan(yard=sample_yard(display=FAHRENHEIT)), sample_yard(display=FAHRENHEIT)),
    "calm": lambda: (calm_plan(), sample_yard()),
    "150 trees": lambda: large_evening(150)[::-1],
}


def open_all(page: Any) -> None:
    """Unfold everything."""
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


@pytest.mark.parametrize("size", [PHONE, DESK, {"width": 320, "height": 640}], ids=["phone", "desk", "smallest"])
@pytest.mark.parametrize("evening", EVENINGS)
def test_the_page_never_scrolls_sideways(browser, serve, size, evening):
    page = browser.new_page(viewport=size)
    page.goto(serve(*EVENINGS[evening]()))
    open_all(page)

    assert page.evaluate("document.documentElement.scrollWidth") == size["width"]
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("path", ["/", "/night/soon"])
def test_axe_finds_no_serious_fault(browser, serve, size, scheme, path):
    page = browser.new_page(viewport=size, color_scheme=scheme)
    page.goto(serve() + path)
    open_all(page)

    found = Axe().run(page).response["violations"]

    serious = [
        (one["id"], one["help"], [node["html"][:120] for node in one["nodes"][:3]])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]
    assert serious == []
    page.close()


def test_the_browser_refuses_nothing_of_the_page(browser, serve):
    page = browser.new_page(viewport=PHONE)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("requestfailed", lambda request: said.append(request.url))
    page.on("response", lambda answer: said.append(answer.url) if answer.status >= 400 else None)
    page.goto(serve())

    page.wait_for_load_state("networkidle")
    assert said == []
    page.close()


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_what_a_finger_has_to_hit_is_44_pixels_high(browser, serve, size):
    page = browser.new_page(viewport=size)
    page.goto(serve())
    open_all(page)

    small = page.evaluate(
        """() => [...document.querySelectorAll('main a:not(svg a), summary, label.tick, .brand, footer a')]
            .filter(one => one.getBoundingClientRect().height < 43.5)
            .map(one => one.outerHTML.slice(0, 90) + one.getBoundingClientRect().height)"""
    )

    assert small == []
    page.close()


def test_figures_stay_within_their_blocks(browser, serve):
    yard = sample_yard(display=FAHRENHEIT)
    arctic = {key: Fate(fate.stands_c, fate.alone_c - 30, fate.planned_c, "wet") for key, fate in FATES.items()}
    page = browser.new_page(viewport=PHONE)
    page.goto(serve(sample_plan(yard=yard, fates=arctic), yard))
    open_all(page)
    assert page.get_by_text("−55", exact=True).count() > 0

    wide = page.evaluate(
        """() => [...document.querySelectorAll('.strip svg.course')].flatMap(row => {
            const column = row.getBoundingClientRect().width / 17
            return [...row.querySelectorAll('text')].filter(text => text.getBoundingClientRect().width > column)
        }).map(text => text.textContent)"""
    )

    assert wide == []
    page.close()


def test_ticks_are_kept_on_this_device_and_counted(phone, serve):
    address = serve()
    phone.goto(address)
    progress = phone.locator(".progress")
    assert progress.inner_text() == "0 of 10 ticked on this device."

    phone.locator("#before-dark label.tick").nth(2).tap()
    phone.locator("#before-dark label.tick").nth(4).tap()
    phone.locator("#morning label.tick").first.tap()

    assert progress.inner_text() == "2 of 10 ticked on this device."
    phone.goto(address)
    checked = phone.evaluate("[...document.querySelectorAll('#before-dark input')].map(one => one.checked)")
    assert [index for index, on in enumerate(checked) if on] == [2, 4]
    phone.locator("#before-dark label.tick").nth(2).tap()
    phone.reload()
    assert progress.inner_text() == "1 of 10 ticked on this device."


def test_ticks_older_than_a_week_are_forgotten_and_others_kept(phone, serve):
    address = serve()
    phone.goto(address)
    phone.evaluate(
        """() => {
            localStorage.setItem('fruitwall:tick:old', '2020-01-01T00:00:00Z')
            localStorage.setItem('fruitwall:tick:new', new Date().toISOString())
            localStorage.setItem('other', '2020-01-01T00:00:00Z')
        }"""
    )

    phone.reload()

    assert phone.evaluate("Object.keys(localStorage).sort()") == ["fruitwall:tick:new", "other"]


def test_the_page_works_without_storage(browser, serve):
    context = browser.new_context(viewport=PHONE)
    context.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('no', 'SecurityError') } })"
    )
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(serve())

    page.locator("#before-dark input").first.check()

    assert page.locator(".progress").inner_text() == "1 of 10 ticked on this device."
    assert errors == []
    context.close()


def test_without_scripts_the_page_is_complete_and_makes_no_promise_it_cannot_keep(browser, serve):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(serve())

    page.locator("#before-dark input").first.check()
    assert not page.locator(".progress").is_visible()
    # By the keyboard: what is laid out as it comes near may move a place between aiming and touching.
    page.locator("#night .as-table summary").press("Enter")
    expect(page.locator(".as-table table")).to_be_visible()
    page.locator("#trees summary").first.press("Enter")
    expect(page.locator(".entry-body").first).to_be_visible()
    context.close()


@pytest.mark.parametrize("scripts", [True, False])
def test_a_tree_in_strip_or_drawing_leads_to_its_opened_entry(browser, serve, scripts):
    context = browser.new_context(viewport=PHONE, java_script_enabled=scripts)
    page = context.new_page()
    page.goto(serve())

    assert not page.locator("#tree-papaya").is_visible()
    page.locator("#night a[href='#tree-papaya']").click()
    expect(page.locator("#tree-papaya")).to_be_visible()
    page.locator("svg.yard a[href='#tree-longan']").click()
    expect(page.locator("#tree-longan")).to_be_visible()
    context.close()


def test_the_keyboard_reaches_the_checklist_first_and_ticks(desktop, serve):
    desktop.goto(serve())
    desktop.keyboard.press("Tab")
    assert desktop.evaluate("document.activeElement.textContent") == "To the checklist"

    desktop.keyboard.press("Enter")
    desktop.keyboard.press("Tab")
    desktop.keyboard.press("Space")

    assert desktop.locator("#before-dark input").first.is_checked()


def test_paper_gets_the_checklist_and_leaves_out_the_strip(browser, serve):
    page = browser.new_page(viewport=DESK, color_scheme="dark")
    page.goto(serve())
    page.emulate_media(media="print")

    assert page.locator("#before-dark").is_visible()
    assert page.locator("svg.yard").is_visible()
    assert page.locator("#cautions").is_visible()
    assert not page.locator("#night").is_visible()
    assert not page.locator("#trees").is_visible()
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(247, 244, 237)"
    page.close()
