"""The plan of the yard under a mouse, a finger, and keys alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from fruitwall.service.house import House
from fruitwall.service.yard_edit import Move as MoveThing
from fruitwall.service.yard_edit import data_of, edit_yard, find

pytestmark = pytest.mark.browser

PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}


@pytest.fixture
def address(serve: Callable[..., str], house: House) -> str:
    return serve(house=house)


@pytest.fixture
def phone_context(browser: Any) -> Iterator[Any]:
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    yield context
    context.close()


def place_of(house: House, name: str) -> list[float]:
    return find(data_of(house.journal.current_yard().text), name)["position"]  # type: ignore[index]


def text_of(house: House) -> str:
    return house.journal.current_yard().text


def middle(page: Any, selector: str) -> tuple[float, float]:
    box = page.locator(selector).bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def per_metre(page: Any) -> float:
    """Give how many pixels a metre of the yard has."""
    return page.evaluate(
        "(svg => svg.getScreenCTM().a * Number(svg.dataset.scale))(document.querySelector('svg.plan'))"
    )


def on_screen(page: Any, spot: tuple[float, float]) -> tuple[float, float]:
    """Give where a place of the yard is seen."""
    return tuple(
        page.evaluate(
            """([x, y]) => {
                const svg = document.querySelector('svg.plan')
                const [left, top, scale, edge] = ['left', 'top', 'scale', 'edge'].map(name => Number(svg.dataset[name]))
                const at = new DOMPoint(edge + (x - left) * scale, edge + (top - y) * scale)
                const seen = at.matrixTransform(svg.getScreenCTM())
                return [seen.x, seen.y]
            }""",
            spot,
        )
    )


def sign(name: str) -> str:
    return f'.thing[data-thing="{name}"] .mark'


def said(page: Any, words: str) -> None:
    page.wait_for_function("words => document.getElementById('yard-said').textContent === words", arg=words)


def drag(page: Any, start: tuple[float, float], by: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] + by[0] / 2, start[1] + by[1] / 2)
    page.mouse.move(start[0] + by[0], start[1] + by[1])
    page.mouse.up()


def test_a_tree_is_dragged_by_mouse_and_undone_by_button_and_keys(browser, address, house):
    before = text_of(house)
    page = browser.new_page(viewport=DESK)
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(f"{address}/yard")
    metre = per_metre(page)

    drag(page, middle(page, sign("papaya")), (2 * metre, 1 * metre))
    said(page, "Moved.")

    assert place_of(house, "papaya") == [13.6, 16.2]
    assert house.journal.current_yard().number == 2
    assert page.locator("#thing h2").inner_text() == "Papaya"
    assert page.locator("[name='position.0.x']").input_value() == "13.6"
    page.get_by_role("button", name="Undo").click()
    said(page, "Undone.")
    assert text_of(house) == before
    page.locator(".thing[data-thing=papaya]").focus()
    page.keyboard.press("Control+Shift+Z")
    said(page, "Done again.")
    assert place_of(house, "papaya") == [13.6, 16.2]
    page.keyboard.press("Control+z")
    said(page, "Undone.")
    assert text_of(house) == before
    assert errors == []
    page.close()


def test_a_corner_of_a_roof_and_a_whole_wall_are_dragged(browser, address, house):
    page = browser.new_page(viewport=DESK)
    page.goto(f"{address}/yard?pick=lean-to")
    old = find(data_of(text_of(house)), "lean-to")["outline"]  # type: ignore[index]
    metre = per_metre(page)
    page.wait_for_selector(".handle")

    drag(page, middle(page, ".handle[data-corner='1']"), (metre, metre))
    said(page, "Moved.")

    new = find(data_of(text_of(house)), "lean-to")["outline"]  # type: ignore[index]
    assert new[1] == [old[1][0] + 1, old[1][1] - 1]
    assert [new[0], *new[2:]] == [old[0], *old[2:]]
    wall = find(data_of(text_of(house)), "terrace-wall")["line"]  # type: ignore[index]
    drag(page, on_screen(page, (wall[0][0] + 0.6, wall[0][1])), (0, -metre))
    page.wait_for_function("() => document.querySelector('#thing h2').textContent !== 'Glass lean-to'")
    page.wait_for_load_state("networkidle")
    moved = find(data_of(text_of(house)), "terrace-wall")["line"]  # type: ignore[index]
    assert moved == [[x, y + 1] for x, y in wall]
    page.close()


def test_a_new_corner_is_drawn_out_of_a_side_and_cut_by_key(browser, address, house):
    page = browser.new_page(viewport=DESK)
    page.goto(f"{address}/yard?pick=terrace-wall")
    wall = find(data_of(text_of(house)), "terrace-wall")["line"]  # type: ignore[index]
    metre = per_metre(page)
    page.wait_for_selector(".middle")

    drag(page, middle(page, ".middle[data-corner='1']"), (0, -metre))
    said(page, "Moved.")
    across = (wall[0][0] + wall[1][0]) / 2
    drawn = find(data_of(text_of(house)), "terrace-wall")["line"]  # type: ignore[index]
    assert drawn == [wall[0], [pytest.approx(across, abs=0.051), wall[0][1] + 1], wall[1]]

    page.locator(".handle[data-corner='1']").focus()
    page.keyboard.press("Delete")
    said(page, "Changed.")
    assert find(data_of(text_of(house)), "terrace-wall")["line"] == wall  # type: ignore[index]
    page.close()


class Finger:
    """Real touches, sent to the browser itself."""

    def __init__(self, context: Any, page: Any) -> None:
        self.session = context.new_cdp_session(page)

    def send(self, kind: str, *points: tuple[float, float]) -> None:
        touches = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(points)]
        self.session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    def tap(self, at: tuple[float, float]) -> None:
        self.send("touchStart", at)
        self.send("touchEnd")

    def swipe(self, start: tuple[float, float], by: tuple[float, float], *, lift: bool = True) -> None:
        self.send("touchStart", start)
        for step in range(1, 9):
            self.send("touchMove", (start[0] + by[0] * step / 8, start[1] + by[1] * step / 8))
        if lift:
            self.send("touchEnd")


def test_a_finger_picks_a_tree_and_then_drags_it(phone_context, address, house):
    page = phone_context.new_page()
    page.goto(f"{address}/yard")
    finger = Finger(phone_context, page)
    metre = per_metre(page)
    x, y = middle(page, sign("longan"))

    finger.tap((x + 9, y + 5))  # beside its sign, within a finger's width
    page.wait_for_function("() => document.querySelector('#thing h2')?.textContent === 'Longan'")
    scrolled = page.evaluate("scrollY")
    finger.swipe(middle(page, sign("longan")), (0, 3 * metre))
    said(page, "Moved.")

    assert page.evaluate("scrollY") == scrolled
    assert house.journal.current_yard().number == 2
    assert place_of(house, "longan")[1] < 10


def test_a_finger_over_what_is_not_picked_scrolls_the_page(phone_context, address, house):
    page = phone_context.new_page()
    page.goto(f"{address}/yard")
    finger = Finger(phone_context, page)

    finger.swipe(middle(page, sign("longan")), (0, -200))
    page.wait_for_function("() => scrollY > 50")

    assert house.journal.current_yard().number == 1


def test_a_drag_that_the_system_takes_away_puts_the_tree_back(phone_context, address, house):
    page = phone_context.new_page()
    page.goto(f"{address}/yard?pick=longan")
    finger = Finger(phone_context, page)
    before = page.locator(sign("longan")).bounding_box()

    finger.swipe(middle(page, sign("longan")), (30, 30), lift=False)
    page.wait_for_function("() => document.querySelector('.picked').getAttribute('transform')")
    finger.send("touchCancel")
    page.wait_for_function("() => !document.querySelector('.picked').getAttribute('transform')")

    assert page.locator(sign("longan")).bounding_box() == before
    assert house.journal.current_yard().number == 1


def test_two_fingers_on_what_is_picked_zoom_the_page(phone_context, address, house):
    page = phone_context.new_page()
    page.goto(f"{address}/yard?pick=longan")
    finger = Finger(phone_context, page)
    x, y = middle(page, sign("longan"))

    finger.send("touchStart", (x, y))
    finger.send("touchStart", (x, y), (x + 30, y - 60))
    for step in range(1, 9):
        finger.send("touchMove", (x, y + 6 * step), (x + 30 + 4 * step, y - 60 - 8 * step))
    finger.send("touchEnd")
    page.wait_for_function("() => visualViewport.scale > 1.3")

    assert page.locator(".thing.picked").get_attribute("transform") is None
    assert house.journal.current_yard().number == 1


def test_keys_alone_pick_move_and_reshape(browser, address, house):
    page = browser.new_page(viewport=DESK)
    page.goto(f"{address}/yard")
    old = place_of(house, "papaya")
    page.locator(".thing[data-thing=papaya]").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.querySelector('#thing h2')?.textContent === 'Papaya'")

    page.locator(".thing[data-thing=papaya]").focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowDown", "Shift+ArrowRight"):
        page.keyboard.press(key)
    said(page, "Moved.")

    assert place_of(house, "papaya") == [pytest.approx(old[0] + 1.2), pytest.approx(old[1] - 0.1)]
    assert house.journal.current_yard().number == 2
    assert page.evaluate("document.activeElement.dataset.thing") == "papaya"
    page.goto(f"{address}/yard?pick=lean-to")
    roof = find(data_of(text_of(house)), "lean-to")["outline"]  # type: ignore[index]
    page.locator(".handle[data-corner='0']").focus()
    page.keyboard.press("Shift+ArrowDown")
    said(page, "Moved.")
    assert find(data_of(text_of(house)), "lean-to")["outline"][0] == [roof[0][0], roof[0][1] - 1]  # type: ignore[index]
    assert page.evaluate("document.activeElement.dataset.corner") == "0"
    page.close()


def test_without_scripts_a_form_moves_a_tree_and_undo_brings_it_back(browser, address, house):
    before = text_of(house)
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/yard")

    page.locator(".yard-list a", has_text="Papaya").click()
    page.locator("[name='position.0.x']").fill("12")
    page.get_by_role("button", name="Store").click()
    assert page.locator("#yard-said").inner_text() == "Changed."
    assert place_of(house, "papaya") == [12, 17.2]
    page.get_by_role("button", name="Undo").click()

    assert page.locator("#yard-said").inner_text() == "Undone."
    assert text_of(house) == before
    context.close()


def test_a_new_wall_is_set_by_touching_the_plan(browser, address, house):
    page = browser.new_page(viewport=DESK)
    page.goto(f"{address}/yard?add=wall")
    for spot in ((20, 37), (23, 37)):
        page.mouse.click(*on_screen(page, spot))
    page.locator("[name=name]").fill("New wall")
    page.locator("[name=height]").fill("2")
    page.get_by_role("button", name="Add it").click()
    said(page, "Added.")

    assert find(data_of(text_of(house)), "new-wall")["line"] == [[20, 37], [23, 37]]  # type: ignore[index]
    page.close()


def test_two_people_drag_the_same_tree_and_the_second_chooses(browser, address, house):
    page = browser.new_page(viewport=DESK)
    page.goto(f"{address}/yard")
    edit_yard(house, MoveThing("papaya", (12.5, 17.0)), base=1, author="Ana")
    metre = per_metre(page)

    drag(page, middle(page, sign("papaya")), (2 * metre, 0))
    page.get_by_text("Ana changed this meanwhile").wait_for()
    assert place_of(house, "papaya") == [12.5, 17]
    page.get_by_role("button", name="Take yours").click()
    said(page, "Moved.")

    assert place_of(house, "papaya") == [13.6, 17.2]
    page.close()


def test_two_people_drag_different_trees_at_the_same_time(browser, address, house):
    tall = {"width": 1280, "height": 1000}  # the longan stands low on the plan
    one, other = browser.new_page(viewport=tall), browser.new_page(viewport=tall)
    for page in (one, other):
        page.goto(f"{address}/yard")
    metre = per_metre(one)
    longan = place_of(house, "longan")

    drag(one, middle(one, sign("papaya")), (metre, 0))
    drag(other, middle(other, sign("longan")), (metre, 0))
    said(one, "Moved.")
    said(other, "Moved.")

    assert place_of(house, "papaya") == [12.6, 17.2]
    assert place_of(house, "longan") == [pytest.approx(longan[0] + 1), longan[1]]
    one.close()
    other.close()


def test_a_server_that_is_gone_moves_nothing(browser, address):
    page = browser.new_page(viewport=DESK)
    page.goto(f"{address}/yard")
    before = page.locator(sign("papaya")).bounding_box()
    page.route("**/yard/move", lambda route: route.abort())

    drag(page, middle(page, sign("papaya")), (50, 0))
    page.get_by_text("The server cannot be reached").wait_for()

    assert page.locator(sign("papaya")).bounding_box() == before
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("path", ["/yard?pick=pot-mango&layer=sky", "/yard?add=roof", "/yard/underlay"])
def test_axe_finds_no_serious_fault_and_nothing_scrolls_sideways(browser, address, size, scheme, path):
    page = browser.new_page(viewport=size, color_scheme=scheme)
    page.goto(address + path)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")

    assert page.evaluate("document.documentElement.scrollWidth") == size["width"]
    found = Axe().run(page).response["violations"]
    serious = [
        (one["id"], [node["html"][:120] for node in one["nodes"][:3]])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]
    assert serious == []
    page.close()
