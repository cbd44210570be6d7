"""The summer plan on the page of heat."""

from __future__ import annotations

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.weather.demo import demo_forcing, demo_now
from tests.service.past import warmer
from tests.service.test_summer_plan import hot_spell, house_in
from tests.web.markup import read_page

PAGE = "/season/heat"


@pytest.fixture(scope="module")
def hot(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hot")
    with open_journal(folder / "a.db") as journal:
        yield house_in(journal, folder, forcing=hot_spell())


def section(client, **headers):
    page = read_page(client.get(PAGE, headers=headers).text)
    return next(one for one in page.all("section") if one.attributes.get("aria-labelledby") == "heat-summer")


def test_what_is_worth_doing_stands_there_with_its_day_its_reason_and_its_cautions(client_of, hot):
    found = section(client_of(house=hot))
    tasks = list(found.one("ol").all("li", cls="summer-task"))
    assert len(tasks) == 3
    told = [task.text for task in tasks]
    assert any("Hang Net over Cherimoya" in one and "by Sat 22 Aug" in one for one in told)
    assert any("before every hot day" in one and "in the early morning of Sun 23 Aug" in one for one in told)
    assert all("harm begins at about" in one for one in told)
    assert any("like a sail" in one for one in told)
    assert "drink before you are thirsty" in found.text
    assert {link.attributes["href"] for link in found.all("a")} == {
        f"{PAGE}/{one}" for one in ("cherimoya", "banana", "pot")
    }


def test_it_speaks_spanish_also_after_it_was_worked_out_in_english(client_of, hot):
    client = client_of(house=hot)
    assert "What is worth doing" in section(client).text
    text = section(client, **{"accept-language": "es"}).text
    assert "Lo que vale la pena hacer" in text
    assert "Colgar Net sobre Cherimoya" in text
    assert "worth doing" not in text
    assert "harm begins" not in text


def test_in_the_cold_one_sentence_says_that_nothing_is_needed(client_of, tmp_path):
    with open_journal(tmp_path / "b.db") as journal:
        house = house_in(journal, tmp_path, forcing=warmer(demo_forcing(), -6.0), now=demo_now())
        found = section(client_of(house=house))
        assert "No hot day is in the forecast: nothing has to be done against heat." in found.text
        assert list(found.all("ol")) == []
