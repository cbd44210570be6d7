"""Every page of the program as a person finds it: axe, sizes, console, hosts, title, language; none may be left out."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from io import BytesIO
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlsplit

import pytest
from argon2 import PasswordHasher
from axe_playwright_python.sync_playwright import Axe
from fastapi import FastAPI
from PIL import Image
from starlette.testclient import TestClient

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.accounts import People
from fruitwall.service.accounts_passphrases import Passphrases
from fruitwall.service.demo import demo_desk
from fruitwall.service.house import House
from fruitwall.service.ledger import Note, Sighting, Signed, Stage, entry_of
from fruitwall.service.pictures import keep_picture
from fruitwall.service.readings import NewReading, take_readings
from fruitwall.service.ticks import tick, tick_key
from fruitwall.service.yard_edit import Move, edit_yard
from fruitwall.weather.demo import demo_now
from fruitwall.web.access.reach import Reach
from fruitwall.web.app import create_app
from fruitwall.web.areas import AREAS
from fruitwall.web.settings import WebSettings
from tests.web.conftest import serving

SIZES = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 800}}
PASSPHRASE = "stone pear window"

EXAMPLES = {
    "/night/{evening}": ("/night/soon",),  # a night that can be planned is the page of "/"
    "/night/{evening}/trees/{tree}": ("/night/2026-12-23/trees/pot-mango", "/night/2026-12-23/trees/papaya"),
    "/kinds/{key}": ("/kinds/mangifera-indica", "/kinds/diospyros-kaki"),
    "/walk/{tree}": ("/walk/pot-mango", "/walk/papaya"),
    "/trees/{tree}": ("/trees/pot-mango", "/trees/papaya"),
    "/trees/{tree}/{which}": ("/trees/pot-mango/ENTRY",),
    "/trees/{tree}/sightings/{which}/cause": ("/trees/papaya/sightings/LOOK/cause",),
    "/season/cold/{tree}": ("/season/cold/pot-mango",),
    "/season/water/{tree}": ("/season/water/pot-mango",),
    "/season/heat/{tree}": ("/season/heat/pot-mango",),
    "/pair/{code}": ("/pair/1", "/pair/CODE"),
}
"""What stands for the places of an address; CODE, ENTRY and LOOK are put in once they are made. A page added with such
an address has to be added here."""

NO_PAGES = frozenset(
    {
        "/static/{name}",
        "/icons/{name}",
        "/photos/{name}",
        "/kinds/{key}.json",
        "/season/report.html",
        "/season/report.pdf",
    }
)
"""Addresses with places that never answer with a page, and downloads."""

FURTHER = (
    "/yard?pick=pot-mango&layer=sun",
    "/yard?pick=lean-to&layer=margin",
    "/yard?add=wall",
    "/yard?add=tree&layer=sky",
    "/household?pick=odalis",
    "/household?add=circuit",
    "/household?pick=hoops",
    "/nowhere",
)
"""What pages look like after a touch, and a page that is not there."""

NOT_SAID = re.compile(r"Failed to load resource.*status of 4(04|22)")
"""What a browser says by itself of a page that answers with an error, as some here are meant to."""

TARGETS = """() => {
    const seen = one => one.checkVisibility({ visibilityProperty: true, opacityProperty: true })
    const boxes = one => [one, ...(one.labels ?? []), one.closest('label')].filter(Boolean).map(
        box => box.getBoundingClientRect())
    const inWords = one => one.tagName === 'A' && getComputedStyle(one).display === 'inline'
        && [...one.parentElement.childNodes].some(near => near.nodeType === 3 && near.textContent.trim())
    return [...document.querySelectorAll(
        'a[href], button, input:not([type=hidden]), select, textarea, summary, [role=button], [tabindex="0"]')]
        .filter(one => !one.closest('svg') && seen(one) && !inWords(one) && !one.matches('.skip, .unseen'))
        .filter(one => !boxes(one).some(box => box.width >= 24 && box.height >= 24))
        .map(one => {
            const box = one.getBoundingClientRect()
            return `${one.outerHTML.slice(0, 90)} ${Math.round(box.width)}x${Math.round(box.height)}`
        })
}"""
"""What is pressed and is smaller than WCAG 2.2, 2.5.8, asks for: a link within a sentence may be, and a box whose
label is large enough; `.unseen` is there for password managers alone. The signs of a
drawing are left to axe, which knows the exception for spacing."""


UNFOLD = """() => {
    for (const one of document.querySelectorAll('details')) one.open = true
    for (const one of document.querySelectorAll('main *')) {
        if (getComputedStyle(one).contentVisibility === 'auto') one.style.contentVisibility = 'visible'
    }
}"""
"""Open every fold and lay out what lies off the screen: what is not laid out yet may be measured as nothing."""

ROWS = "li, tr, details, dl > div"

THIN = f"""() => {{
    const sort = one => [one.tagName, one.getAttribute('class'), one.getAttribute('role')].join(' ')
    const way = one => (one.localName === 'main' ? '' : `${{way(one.parentElement)}}/${{sort(one)}}`)
    const met = new Map()
    for (const row of [...document.querySelectorAll('main :is({ROWS})')].reverse()) {{
        const own = [row, ...row.querySelectorAll('*')].filter(one => one.closest('{ROWS}') === row)
        const ways = [...new Set(own.map(way))]
        if (row.querySelector('{ROWS}') || ways.some(one => (met.get(one) ?? 0) < 2)) {{
            for (const one of ways) met.set(one, (met.get(one) ?? 0) + 1)
        }} else {{
            row.remove()
        }}
    }}
}}"""
"""Takes away each row all of whose parts stand in two other rows at least, by the ways from `main` down to them: all 34
trees of an evening, unfolded, cost axe half a minute. From the last row up, so that rows within rows come first."""

WANTED = {"resultTypes": ["violations"], "selectors": False, "iframes": False}
"""What axe is asked for; without the rest it takes half as long."""


def each_route(routes: Any) -> Iterator[Any]:
    """Give all routes of an application, those of its parts too."""
    for route in routes:
        inner = getattr(route, "original_router", None) or getattr(route, "router", None)
        if getattr(route, "path", None) is None and inner is not None:
            yield from each_route(inner.routes)
        else:
            yield route


def addresses_of(app: FastAPI) -> list[str]:
    """Give an address for each route that can be looked at; fails where none is known for one."""
    found = []
    for route in each_route(app.routes):
        assert getattr(route, "path", None) is not None, f"a route of an unknown sort: {route!r}"
        if "GET" not in (route.methods or ()) or route.path in NO_PAGES or route.path.startswith("/api/"):
            continue
        if "{" in route.path:
            assert route.path in EXAMPLES, f"EXAMPLES has no address for the new route {route.path}"
        found += EXAMPLES.get(route.path, (route.path,))
    return found


@contextmanager
def demo_house(folder: Any) -> Iterator[SimpleNamespace]:
    """The demo yard with a winter's entries, an owner who can log in, and a helper."""
    now = demo_now()
    reach = Reach(passphrases=Passphrases(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)))
    with open_journal(folder / "demo.db") as journal:
        desk = demo_desk(journal)
        house = House(journal, desk.yard().name, lambda: now, PhotoFolder(folder / "photos"))
        out = BytesIO()
        Image.effect_noise((640, 480), 60).convert("RGB").save(out, "JPEG")
        photo = keep_picture(house, out.getvalue(), name="leaf.jpg").sha256

        def enter(kind: str, body: Any, days: float, tree: str | None = "pot-mango", **more: Any) -> str:
            signed = Signed("Odalis", "phone", now)
            entry = entry_of(kind, body, tree=tree, at=now - timedelta(days=days), signed=signed, **more)
            house.ledger.add([entry])
            return entry.id

        looked = enter("sighting", Sighting(grade=3, signs=["brown", "tips"], note="two flushes", photos=[photo]), 9)
        enter("sighting", Sighting(grade=2), 9, replaces=looked)
        enter("sighting", Sighting(grade=4), 9, replaces=looked)  # another telephone: both are kept
        doubted = enter("sighting", Sighting(grade=3, signs=["brown", "tips"], asked=["wood"]), 2, "papaya")
        enter("stage", Stage(stage="flush"), 40)
        noted = enter("note", Note(note="Root ball dry under the mulch. " * 6), 3)
        edit_yard(house, Move("papaya", (12.5, 17.0)), base=1, author="Ana")
        readings = [
            NewReading(
                sensor="post by the wall",
                quantity="air_temperature_c",
                at=now - timedelta(hours=hours),
                value=8 - hours,
            )
            for hours in range(1, 5)
        ]
        take_readings(house.ledger, readings, now=now)
        plan = desk.plan_for(None)
        tick(house.ledger, plan, tick_key(plan, plan.tasks[0]), signed=Signed("Wendell", "phone", now))
        people = People(house.accounts, lambda: datetime.now(UTC), reach.passphrases)
        owner = people.add("Ana", "owner", PASSPHRASE)
        helper = people.add("Odalis", "helper")
        people.spend_code(people.pairing_code(helper).secret, "Firefox on Android")
        people.make_token(owner, "readings", "Sensor on the roof")
        app = create_app(
            WebSettings(
                plan_for=desk.plan_for, yard=desk.yard, now=lambda: now, house=house, reach=reach, patience_s=120.0
            )
        )
        yield SimpleNamespace(app=app, entry=noted, look=doubted, code=lambda: people.pairing_code(helper).secret)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    """The demo house, served."""
    with demo_house(tmp_path_factory.mktemp("demo")) as made, serving(made.app) as address:
        made.address = address
        yield made


@pytest.fixture(scope="module")
def pages(demo: SimpleNamespace) -> list[str]:
    """Addresses of all pages: what can be looked at and answers with HTML."""
    client = TestClient(demo.app, base_url="http://localhost")
    answer = client.post("/log-in", data={"name": "Ana", "passphrase": PASSPHRASE}, follow_redirects=False)
    assert answer.status_code == 303
    found = []
    for address in dict.fromkeys((*addresses_of(demo.app), *FURTHER)):
        address = address.replace("CODE", demo.code()).replace("ENTRY", demo.entry).replace("LOOK", demo.look)
        answer = client.get(address)
        if answer.headers["content-type"].startswith("text/html"):
            found.append(address)
    return found


def test_the_walk_leaves_no_area_out(demo, pages):
    assert {area.url for area in AREAS} <= set(pages)
    assert {"/start", "/more", "/log-in", "/settings/people", "/yard/history", "/yard/underlay"} <= set(pages)


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_every_page_is_sound(browser, demo, pages, size):
    wrong: dict[str, list[object]] = {}
    context = browser.new_context(viewport=SIZES[size], color_scheme="light", locale="en-US")
    page = context.new_page()
    page.goto(f"{demo.address}/log-in")
    page.get_by_label("Name").fill("Ana")
    page.get_by_label("Passphrase").fill(PASSPHRASE)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(f"{demo.address}/")
    told: list[object] = []
    page.on("console", lambda message: None if NOT_SAID.search(message.text) else told.append(message.text))
    page.on("pageerror", lambda error: told.append(str(error)))
    here = urlsplit(demo.address).netloc
    page.on("request", lambda asked: None if _ours(asked.url, here) else told.append(f"asks for {asked.url}"))
    for path in pages:
        told.clear()
        page.emulate_media(color_scheme="light")
        page.goto(demo.address + path)
        page.wait_for_load_state("networkidle")
        page.evaluate(UNFOLD)
        told += _faults(page, SIZES[size]["width"])
        if told:
            wrong[path] = list(told)
    context.close()
    assert not wrong, json.dumps(wrong, indent=1)


def _ours(url: str, here: str) -> bool:
    parts = urlsplit(url)
    return parts.scheme in ("blob", "data") or parts.netloc == here


def _faults(page: Any, width: int) -> list[object]:
    """Give everything that is wrong with a page, by light and by dark; takes the page apart."""
    faults: list[object] = []
    wide = page.evaluate("document.documentElement.scrollWidth")
    if wide > width:
        faults.append(f"scrolls sideways: {wide} wide")
    faults += [f"too small: {one}" for one in page.evaluate(TARGETS)]
    heads = page.locator("h1").count()
    if heads != 1:
        faults.append(f"{heads} first headings")
    if not page.title().removesuffix("fruitwall").strip(" ·"):
        faults.append(f"the title says nothing: {page.title()!r}")
    if (language := page.evaluate("document.documentElement.lang")) != "en":
        faults.append(f"the language is said to be {language!r}")
    page.evaluate(THIN)
    page.evaluate(Axe().axe_script)
    # Only colours differ by dark.
    for scheme, rules in (
        ("light", {"rules": {"target-size": {"enabled": True}}}),
        ("dark", {"runOnly": ["color-contrast", "link-in-text-block"]}),
    ):
        page.emulate_media(color_scheme=scheme)
        found = page.evaluate("options => axe.run(options)", WANTED | rules)["violations"]
        faults += [
            (scheme, one["id"], len(one["nodes"]), [node["html"][:120] for node in one["nodes"][:3]])
            for one in found
            if one["impact"] in ("serious", "critical")
        ]
    return faults


def test_every_page_says_its_language(demo, pages):
    client = TestClient(demo.app, base_url="http://localhost", headers={"accept-language": "es"})
    client.post("/log-in", data={"name": "Ana", "passphrase": PASSPHRASE})
    assert [path for path in pages if '<html lang="es">' not in client.get(path).text] == []


def test_a_page_that_nobody_thought_of_is_noticed(demo, make_app: Callable[..., FastAPI]):
    app = make_app()
    app.add_api_route("/surprise/{thing}", lambda thing: thing, methods=["GET"])

    with pytest.raises(AssertionError, match="/surprise/"):
        addresses_of(app)
