"""How many entries wait on this device: said on every page, out of reach too, and sent from wherever there is a way."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.web.test_walk_browser import address, kept, looks, phones, save

pytestmark = pytest.mark.browser

__all__ = ["address", "phones"]


def two_looks(page, address) -> None:
    """Enter two looks that the server does not get."""
    kept(page, address)
    page.context.route("**/api/entries", lambda route: route.abort())
    page.locator("a.go").click()
    page.wait_for_selector("form.look")
    save(page, 1)
    save(page, 2)


def test_every_page_says_what_waits_and_sends_it_once_it_can(phones, address, house):
    page = phones()
    two_looks(page, address)
    line = page.locator(".waiting-line")
    for path in ("/", "/trees", "/trees/papaya", "/yard", "/weather", "/more", "/settings/own", "/kinds", "/nowhere"):
        page.goto(address + path)
        expect(line).to_have_text("2 waiting to be sent")
    assert looks(house) == []

    page.context.unroute_all()
    page.goto(f"{address}/trees")
    expect(line).not_to_be_visible()
    assert sorted(grade for _, grade in looks(house)) == [1, 2]


def test_out_of_reach_the_page_that_is_not_kept_says_it_too(phones, address):
    page = phones()
    two_looks(page, address)
    page.context.set_offline(True)
    page.goto(f"{address}/trees")
    expect(page.locator("h1")).to_have_text("No connection")
    expect(page.locator(".waiting-line")).to_have_text("2 waiting to be sent")
    page.locator(".waiting-line a").click()
    expect(page.locator("#waiting .waiting-list li")).to_have_count(2)
    expect(page.locator(".waiting-line")).not_to_be_visible()  # the list says it


def test_a_look_entered_in_another_tab_is_counted_at_once(phones, address):
    page = phones()
    kept(page, address)
    other = page.context.new_page()
    other.goto(f"{address}/trees")
    page.context.route("**/api/entries", lambda route: route.abort())
    page.goto(f"{address}/walk/papaya")
    page.wait_for_selector("form.look")
    save(page, 3)
    expect(other.locator(".waiting-line")).to_have_text("1 waiting to be sent")


def test_where_nothing_waits_nothing_is_made_or_said(phones, address):
    page = phones()
    page.goto(f"{address}/trees")
    page.wait_for_load_state("networkidle")
    expect(page.locator(".waiting-line")).not_to_be_visible()
    assert page.evaluate("indexedDB.databases()") == []
    # ... and the walk still makes its own afterwards.
    kept(page, address)
    save_first = page.locator("a.go")
    save_first.click()
    page.wait_for_selector("form.look")
    save(page, 0)
    expect(page.locator("form.look")).to_be_visible()
