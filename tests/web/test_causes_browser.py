"""What is it? asked on the walk in a real browser: offered once the server has the look, answered by one touch."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from fruitwall.service.house import House
from fruitwall.service.ledger import Sighting, body_of
from fruitwall.service.walk import walking_order

pytestmark = pytest.mark.browser


def test_the_walk_offers_the_cause_of_what_was_just_seen(browser: Any, serve: Callable[..., str], house: House):
    address = serve(house=house)
    first, second = walking_order(house.yard()[0])[:2]
    context = browser.new_context(viewport={"width": 390, "height": 844}, service_workers="block")
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.goto(f"{address}/walk/{first.id}")
    page.locator("label.grade").nth(3).click()
    page.locator("button.save").click()
    page.wait_for_url(f"**/walk/{second.id}")
    page.get_by_role("link", name=f"{first.name}: what is it?").click()
    page.wait_for_url("**/cause")
    assert page.get_by_role("heading", level=1).inner_text() == "What is it?"

    question = page.locator("fieldset.question").first
    asked = question.locator("legend").inner_text()
    question.get_by_role("button").first.click()
    page.get_by_role("button", name=f"Undo this answer {asked}").wait_for()
    (entry,) = house.ledger.current(tree=first.id)
    body = body_of(entry)
    assert isinstance(body, Sighting)
    assert (body.grade, len(body.signs), len(body.asked)) == (3, 1, 1)
    page.get_by_role("button", name=f"Undo this answer {asked}").click()
    page.get_by_text(asked).wait_for()
    assert body_of(house.ledger.current(tree=first.id)[0]) == Sighting(grade=3)
    context.close()
