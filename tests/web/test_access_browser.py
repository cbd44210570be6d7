"""Coming in with a real browser: log-in, a phone that is paired, forms of other sites, over http and https."""

from __future__ import annotations

import re
import threading
from base64 import b64encode
from collections.abc import Iterator
from datetime import UTC, datetime
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from argon2 import PasswordHasher
from axe_playwright_python.sync_playwright import Axe
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from cryptography.x509 import load_pem_x509_certificates

from fruitwall.service.accounts import People
from fruitwall.service.accounts_passphrases import Passphrases
from fruitwall.web.access.authority import CertificateFolder
from fruitwall.web.access.reach import Reach
from tests.conftest import BROWSER_FLAGS
from tests.needs import find_browser
from tests.web.conftest import serving

pytestmark = pytest.mark.browser

GOOD = "stone pear window"
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}


@pytest.fixture
def reach():
    return Reach(
        addresses=("http://garden.local:1",),
        passphrases=Passphrases(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)),
    )


@pytest.fixture
def people(house, reach):
    people = People(house.accounts, lambda: datetime.now(UTC), reach.passphrases)
    people.add("Ana", "owner", GOOD)
    return people


@pytest.fixture
def address(serve, house, reach, people):
    return serve(house=house, reach=reach, hosts=("127.0.0.1", "garden.local"))


def log_in(page, address):
    page.goto(address + "/kinds")
    page.get_by_label("Name").fill("Ana")
    page.get_by_label("Passphrase").fill(GOOD)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(address + "/kinds")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_axe_finds_no_serious_fault_and_nothing_scrolls_sideways(browser, address, people, size, scheme):
    ben = people.add("Ben", "helper")
    people.spend_code(people.pairing_code(ben).secret, "Firefox on Android")
    people.make_token(people.named("Ana"), "readings", "Sensor on the roof")
    context = browser.new_context(viewport=size, color_scheme=scheme)
    page = context.new_page()

    def check() -> None:
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        assert page.evaluate("document.documentElement.scrollWidth") == size["width"]
        found = Axe().run(page).response["violations"]
        serious = [
            (one["id"], [node["html"][:120] for node in one["nodes"][:3]])
            for one in found
            if one["impact"] in ("serious", "critical")
        ]
        assert serious == [], page.url
        small = page.evaluate(
            """() => [...document.querySelectorAll('main a, main button, main select, summary, main input')]
                .filter(one => !one.classList.contains('unseen') && one.type !== 'hidden')
                .filter(one => one.getBoundingClientRect().height < 43.5).map(one => one.outerHTML.slice(0, 90))"""
        )
        assert small == [], page.url

    for path in ("/log-in", "/pair", "/pair/1", f"/pair/{people.pairing_code(ben).secret}"):
        page.goto(address + path)
        check()
    log_in(page, address)
    page.goto(address + "/settings/people")
    check()
    with page.expect_navigation():
        page.get_by_role("button", name="Pair a phone of mine").click()
    check()
    context.close()


def test_a_phone_comes_in_by_a_code_and_goes_out_by_the_owners_touch(browser, address, people):
    desk, phone = browser.new_context(viewport=DESK), browser.new_context(viewport=PHONE)
    owner, helper = desk.new_page(), phone.new_page()
    log_in(owner, address)
    owner.goto(address + "/settings/people")
    owner.locator("summary", has_text="Add somebody").click()
    owner.locator("#add-name").fill("Ben")
    owner.get_by_role("button", name="Add", exact=True).click()
    owner.get_by_role("button", name="Pair a phone for Ben").click()
    code = owner.locator(".digits").inner_text()

    helper.goto(address + "/pair")
    helper.get_by_label("Twelve digits").fill(code)
    with helper.expect_navigation():
        helper.get_by_role("button", name="Go on").click()
    assert helper.locator("h1").inner_text() == "Use this device as Ben?"
    helper.get_by_role("button", name="Use this device as Ben").click()
    helper.wait_for_url(address + "/")
    helper.goto(address + "/kinds")
    assert helper.url == address + "/kinds"

    owner.goto(address + "/settings/people")
    with owner.expect_navigation():
        owner.locator("article", has_text="Ben").get_by_role("button", name=re.compile("^End")).click()
    helper.goto(address + "/kinds")
    assert helper.url.startswith(address + "/log-in")
    desk.close()
    phone.close()


def test_the_page_of_people_works_by_keyboard_alone(browser, address):
    context = browser.new_context(viewport=DESK)
    page = context.new_page()
    page.goto(address + "/log-in")
    page.get_by_label("Name").focus()
    page.keyboard.type("Ana")
    page.keyboard.press("Tab")
    page.keyboard.type(GOOD)
    page.keyboard.press("Enter")
    page.wait_for_url(address + "/")
    page.goto(address + "/settings/people")
    page.keyboard.press("Tab")
    for _ in range(30):
        if page.evaluate("document.activeElement.textContent") == "Log out here":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(address + "/log-in?gone=1")
    context.close()


def test_after_a_log_out_nothing_of_the_household_is_kept_but_what_waits_to_be_sent(browser, address):
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    log_in(page, address)
    names = ["fruitwall-files-1", "fruitwall-pages-1", "fruitwall-photos", "something-else"]
    page.evaluate(
        """async names => {
            for (const name of names) await (await caches.open(name)).put('/kept', new Response('kept'))
            await new Promise(done => { indexedDB.open('queue').onsuccess = done })
        }""",
        names,
    )
    page.goto(address + "/settings/people")
    page.get_by_role("button", name="Log out here").click()
    page.get_by_text("You are logged out").wait_for()

    page.wait_for_function("async () => (await caches.keys()).length === 2")
    assert sorted(page.evaluate("caches.keys()")) == ["fruitwall-files-1", "something-else"]
    assert "queue" in page.evaluate("indexedDB.databases().then(found => found.map(one => one.name))")
    context.close()


# ------------------------------------------------------------ a name of the home network, without https


@pytest.fixture
def at_home(browser) -> Iterator[object]:
    """A browser for which names of the home network, and one of another site, lead to this machine."""
    rules = "--host-resolver-rules=MAP garden.local 127.0.0.1, MAP evil.example 127.0.0.1"
    chromium = browser.browser_type.launch(executable_path=find_browser(), args=[*BROWSER_FLAGS, rules])
    yield chromium
    chromium.close()


@pytest.fixture
def evil_site() -> Iterator[object]:
    """Another site: a page with a form that is sent to us, in several ways of hiding where it comes from."""
    target: dict[str, str] = {}

    class Site(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            form = (
                f"<form method=post action='{target['url']}'><input name=name value=Eve>"
                "<input name=role value=owner><button>Look at kittens</button></form>"
            )
            framed = f'<iframe sandbox="allow-forms" srcdoc="{form.replace(chr(34), "&quot;")}"></iframe>'
            body = (framed if self.path == "/null" else form).encode()
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.send_header("referrer-policy", "no-referrer" if self.path == "/quiet" else "unsafe-url")
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Site)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    target["site"] = f"http://evil.example:{server.server_port}"
    yield target
    server.shutdown()
    server.server_close()
    thread.join(5)


def test_without_https_our_own_forms_pass_and_those_of_another_site_do_not(
    at_home, evil_site, make_app, house, reach, people
):
    # Over plain http to a name browsers send no Sec-Fetch-Site: only Origin tells, and our referrer policy must not
    # turn it into "null".
    with serving(make_app(house=house, reach=reach, hosts=("garden.local",))) as base:
        address = base.replace("127.0.0.1", "garden.local")
        page = at_home.new_page()
        sent = []
        page.on("request", lambda request: sent.append(request) if request.method == "POST" else None)
        log_in(page, address)
        assert sent[0].all_headers().get("origin") == address
        assert "sec-fetch-site" not in sent[0].all_headers()

        evil_site["url"] = address + "/settings/people/add"
        for way, origin in (("/", evil_site["site"]), ("/quiet", "null"), ("/null", "null")):
            page.goto(evil_site["site"] + way)
            place = page.frame_locator("iframe") if way == "/null" else page
            with page.expect_event("request", lambda request: request.method == "POST") as told:
                place.get_by_role("button", name="Look at kittens").click()
            assert told.value.all_headers().get("origin") == origin
            if way != "/null":  # in a frame the browser shows nothing of us at all
                page.get_by_role("heading", name="This came from another page").wait_for()
        assert [one.name for one in people.all()] == ["Ana"]
        page.close()


# ------------------------------------------------------------ https of our own


def test_over_https_of_our_own_the_page_is_a_secure_context_and_the_cookie_is_kept_from_neighbours(
    browser, make_app, house, reach, people, tmp_path
):
    certificates = CertificateFolder(tmp_path / "access", lambda: datetime.now(UTC))
    certificates.server(["localhost", "127.0.0.1"], "orchardpi")
    server_key = load_pem_x509_certificates(certificates.files.certificate.read_bytes())[0].public_key()
    digest = sha256(server_key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).digest()
    trusting = f"--ignore-certificate-errors-spki-list={b64encode(digest).decode()}"
    chromium = browser.browser_type.launch(executable_path=find_browser(), args=[*BROWSER_FLAGS, trusting])
    files = {"ssl_certfile": str(certificates.files.certificate), "ssl_keyfile": str(certificates.files.key)}
    with serving(make_app(house=house, reach=reach), **files) as address:
        address = address.replace("http://", "https://")
        page = chromium.new_page()
        log_in(page, address)

        assert page.evaluate("isSecureContext")
        cookies = {cookie["name"]: cookie for cookie in page.context.cookies()}
        assert "__Host-fruitwall" in cookies
        for (
            name,
            cookie,
        ) in cookies.items():  # the session's, and the one by which a browser is known that logged in before
            assert name.startswith("__Host-")
            assert cookie["path"] == "/"
            assert (cookie["secure"], cookie["httpOnly"]) == (True, True)
            assert cookie["sameSite"] in ("Lax", "Strict")
        assert page.evaluate("document.cookie") == ""
        page.close()
    chromium.close()
