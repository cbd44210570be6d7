"""The pages of kinds: list, search, one kind; what they show is what the terminal shows."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from axe_playwright_python.sync_playwright import Axe

from fruitwall.plans.gear_facts import ContainerFact, container_facts, cover_facts
from fruitwall.plants.catalogue import catalogue
from fruitwall.service.gear import describe_gear
from fruitwall.service.kind import describe_kind
from fruitwall.service.yards import check_yard_text
from tests.web.markup import read_page
from tests.web.sample import FAHRENHEIT, sample_plan, sample_yard
from tests.yard.yards import SMALL_YARD

PHONE = {"width": 390, "height": 844}
SCIENTIFIC = "Mangifera indica 'Aunt's mango'"
DESK = {"width": 1280, "height": 800}


@pytest.mark.parametrize("key", ["mangifera-indica", "prunus-persica", "pouteria-caimito", "manilkara-zapota"])
def test_a_kind_shows_what_the_document_holds(client, key):
    document = describe_kind(key, catalogue())

    page = read_page(client.get(f"/kinds/{key}").text)

    plot = page.one("div", cls="kind-plot")
    tracks = list(plot.all("svg", cls="kind-track"))
    assert len(tracks) == len(document.grades) + sum(s.mark is not None for s in document.statements)
    assert all(limit.words in plot.text for limit in document.grades)
    assert document.rests_on in page.text
    for statement in document.statements:
        assert statement.origin.title.rstrip(".") in page.text
        assert statement.note in page.text


def test_a_colder_grade_is_drawn_further_left(client):
    page = read_page(client.get("/kinds/mangifera-indica").text)

    middles = [float(line.attributes["x1"].rstrip("%")) for line in page.all("line", cls="middle")]

    assert len(middles) == 7
    assert middles == sorted(middles, reverse=True)


def test_the_stroke_stands_in_the_middle_of_its_bar(client):
    page = read_page(client.get("/kinds/mangifera-indica").text)

    for stroke, bar in zip(page.all("line", cls="middle"), page.all("rect", cls="spread"), strict=True):
        left, width = (float(bar.attributes[name].rstrip("%")) for name in ("x", "width"))
        assert float(stroke.attributes["x1"].rstrip("%")) == pytest.approx(left + width / 2, abs=0.02)


@pytest.mark.parametrize("name", ["chirimoyo", "Cherimoya", "Annona cherimola"])
def test_searching_by_any_name_leads_to_the_one_address_of_the_kind(client, name):
    for address in (f"/kinds?name={quote(name)}", f"/kinds/{quote(name)}"):
        answer = client.get(address, follow_redirects=False)

        assert answer.status_code == 303
        assert answer.headers["location"] == "/kinds/annona-cherimola"


@pytest.mark.parametrize("address", ["/kinds?name=chirymoias", "/kinds/chirymoias"])
def test_an_unknown_name_is_answered_with_near_names_that_lead_on(client, address):
    answer = client.get(address)

    page = read_page(answer.text)
    assert answer.status_code == 404
    assert "No kind is named “chirymoias”" in page.text
    assert any(link.attributes["href"] == "/kinds/annona-cherimola" for link in page.all("a"))
    assert page.one("input").attributes["value"] == "chirymoias"


def test_a_misspelt_name_leads_to_the_kind_that_it_surely_means_and_says_so(client):
    answer = client.get("/kinds?name=chirimoia")

    assert answer.url.path == "/kinds/annona-cherimola"
    assert "No kind is named “chirimoia”. This is cherimoya" in read_page(answer.text).text


def test_kinds_and_gear_are_given_as_documents_too(client):
    kinds = client.get("/kinds.json").json()["kinds"]
    mango = client.get("/kinds/mangifera-indica.json")

    assert len(kinds) == len(catalogue().taxa)
    assert mango.headers["content-type"] == "application/json"
    assert mango.json() == describe_kind("mango", catalogue()).model_dump(mode="json")
    assert client.get("/gear.json").json() == describe_gear().model_dump(mode="json")
    unknown = client.get("/kinds/chirimoia.json")
    assert (unknown.status_code, unknown.json()["status"]) == (404, 404)
    assert "chirimoya" in unknown.json()["problems"][0]


def test_the_page_of_gear_shows_every_statement(client):
    page = read_page(client.get("/gear").text).text

    for row in (*container_facts(), *cover_facts()):
        assert " ".join((row.basis if isinstance(row, ContainerFact) else row.conditions).split())[1:] in page
        assert all(source.title.rstrip(".") in page for source in row.sources)


def test_what_was_searched_for_is_shown_as_text_and_nothing_else(client):
    answer = client.get("/kinds", params={"name": '"><script>alert(1)</script>'})

    assert "<script>alert" not in answer.text


def test_the_list_links_every_kind(client):
    page = read_page(client.get("/kinds").text)

    links = {link.attributes["href"] for link in page.all("a")}
    assert {f"/kinds/{taxon.key}" for taxon in catalogue().taxa} <= links


def test_a_household_of_fahrenheit_reads_fahrenheit(client_of):
    yard = sample_yard(display=FAHRENHEIT)
    page = read_page(client_of(sample_plan(yard=yard), yard).get("/kinds/mangifera-indica").text)

    assert "°F" in page.one("div", cls="kind-plot").text
    assert "°C" not in page.one("div", cls="kind-plot").text


def test_the_explanation_of_every_tree_leads_to_its_kind(client):
    plan = sample_plan()
    page = read_page(client.get("/").text)

    for tree in plan.trees:
        entry = page.one("div", id=f"tree-{tree.id}")
        link = next(a for a in entry.all("a") if a.attributes["href"].startswith("/kinds/"))
        assert client.get(link.attributes["href"]).status_code == 200


def test_a_kind_of_the_yard_itself_is_listed_first_and_says_whose_figures_it_has(client_of):
    figure = "{temperature: -6, type: survives, effect: death, source: own notes}"
    own = f"kinds: [{{id: aunt-mango, names: [Aunt's mango], like: mango, evidence: [{figure}]}}]"
    client = client_of(sample_plan(), check_yard_text(f"{SMALL_YARD}\n{own}\n").yard)

    first = next(read_page(client.get("/kinds").text).all("ul", cls="kind-list"))
    by_name = client.get(f"/kinds/{quote(SCIENTIFIC)}")

    assert [link.attributes["href"] for link in first.all("a")] == ["/kinds/aunt-mango"]
    assert by_name.url.path == "/kinds/aunt-mango"  # as the evening page links it, by the scientific name
    assert "Your own: own notes." in read_page(by_name.text).text


@pytest.mark.browser
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("path", ["/kinds/mangifera-indica", "/kinds?name=chirymoias", "/gear"])
def test_the_pages_of_kinds_fit_and_can_be_used(browser, serve, size, path):
    address = serve() + path
    for scheme in ("light", "dark"):
        page = browser.new_page(viewport=size, color_scheme=scheme)
        page.goto(address)

        found = Axe().run(page).response["violations"]
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
        assert page.evaluate("document.documentElement.scrollWidth") == size["width"]
        small = page.evaluate(
            """() => [...document.querySelectorAll('main a, button, input, .top a')]
                .filter(one => one.getBoundingClientRect().height < 43.5).map(one => one.outerHTML.slice(0, 90))"""
        )
        assert small == []
        page.close()
