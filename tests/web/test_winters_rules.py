"""The pages of house rules."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from fruitwall.service import winters as asked
from fruitwall.service.house import House
from fruitwall.service.winters_rules import compare_on, kept_rules, preset_rules
from fruitwall.service.winters_rules_document import RulesDocument
from tests.plans.rules_made import TREES, made_ground
from tests.service.many_winters import winters_file, winters_house
from tests.service.test_winters_rules import AHEAD
from tests.web.markup import Element, read_page
from tests.web.test_winters_years import begun

__all__ = ["winters_file", "winters_house"]

PAGE, OWN = "/winters/rules", "/winters/rules/own"


@pytest.fixture
def document(winters_house: House) -> RulesDocument:
    ground = made_ground(TREES[:4], winters=3, days=8, mean_c=-1.5)
    found = compare_on(winters_house, ground, preset_rules(), AHEAD, lambda _share: None)
    return RulesDocument(
        currency="EUR",
        source="made up",
        winters=["1990/91", "1992/93"],
        count=3,
        years=AHEAD.years,
        draws=AHEAD.draws,
        names={tree.tree: tree.name for tree in ground.steps[0].trees},
        compared=[one.told for one in found],
        notes=["made up"],
    )


@pytest.fixture
def client(
    client_of: Callable[..., TestClient], winters_house: House, document: RulesDocument, monkeypatch: pytest.MonkeyPatch
) -> TestClient:
    def part(_house: House, key: str, *_its: Any, **_how: Any) -> RulesDocument:
        assert key == "rules"
        return document

    monkeypatch.setattr(asked, "part_document", part)
    return client_of(house=winters_house)


def form_of(page: Element, action: str) -> Element:
    return next(form for form in page.all("form") if form.attributes["action"] == action)


def test_rules_stand_side_by_side_with_their_spread(client: TestClient, document: RulesDocument) -> None:
    main = begun(client, PAGE).one("main")
    rows = list(main.one("table", cls="rules-table").all("tr"))
    assert len(rows) == 1 + len(document.compared)
    assert [next(iter(row.all("th"))).text.split("(")[0].strip() for row in rows[1:]] == [
        rules.name for rules in preset_rules()
    ]
    assert sum("least in all" in row.text for row in rows) == 1
    assert len({len(list(row.all("th"))) + len(list(row.all("td"))) for row in rows}) == 1
    now = next(one for one in document.compared if one.key == "as-now")
    assert f"{now.minutes.mean:,.0f}" in rows[-1].text
    assert len(list(main.all("details"))) == len(document.compared)
    assert "cover below" in main.text
    assert "carry" in main.text
    assert "Lift" in main.text  # the caution
    assert "Made up." in main.text


def test_an_own_rule_is_written_and_removed_without_scripts(client: TestClient, winters_house: House) -> None:
    page = read_page(client.get(OWN).text)
    assert "None yet." in page.one("main").text
    form = form_of(page, OWN)
    fields = {one.attributes["name"] for kind in ("input", "select") for one in form.all(kind)}
    assert fields == {"trees", "way", "cover", "heat", "carry", "death"}
    sent = {"trees": "tree:lime", "way": "below", "cover": "1", "heat": "", "carry": "-2", "death": "5"}
    answer = client.post(OWN, data=sent, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, OWN)
    (rule,) = kept_rules(winters_house)
    assert (rule.trees, rule.cover_below_c, rule.carry_below_c) == ("tree:lime", 1.0, -2.0)

    page = read_page(client.get(OWN).text)
    assert "Lime: cover below" in page.one("ul", cls="own-rules").text
    form = form_of(page, f"{OWN}/remove")
    gone = {one.attributes["name"]: one.attributes["value"] for one in form.all("input")}
    assert client.post(f"{OWN}/remove", data=gone, follow_redirects=False).status_code == 303
    assert kept_rules(winters_house) == ()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"cover": "chilly"}, "is no temperature"),
        ({"cover": "90"}, "must lie between"),
        ({"trees": "tree:oak"}, "the yard has no trees"),
        ({"cover": ""}, "asks for nothing"),
        ({"way": "<b>"}, "there is no way"),
    ],
)
def test_a_wrong_rule_is_shown_again_as_it_was_typed(
    client: TestClient, winters_house: House, wrong: dict[str, str], says: str
) -> None:
    sent = {"trees": "potted", "way": "below", "cover": "2", "heat": "", "carry": "", "death": "7"} | wrong
    answer = client.post(OWN, data=sent, follow_redirects=False)
    assert answer.status_code == 422
    page = read_page(answer.text)
    assert says in page.one("p", id="rule-error").text
    form = form_of(page, OWN)
    typed = {one.attributes["name"]: one.attributes.get("value", "") for one in form.all("input")}
    assert typed == {name: sent[name] for name in ("cover", "heat", "carry", "death")}
    if sent["trees"] == "potted":
        chosen = [one for one in form.one("select", id="rule-trees").all("option") if "selected" in one.attributes]
        assert [one.attributes["value"] for one in chosen] == ["potted"]
    assert kept_rules(winters_house) == ()
