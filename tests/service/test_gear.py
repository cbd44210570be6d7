"""Is everything published on containers and covers shown, with its sources and as it was published?"""

from __future__ import annotations

import csv
from importlib import resources
from zoneinfo import ZoneInfo

import pytest

from fruitwall.plans.gear_facts import container_facts, cover_facts
from fruitwall.service.gear import container_figures, cover_figures, describe_gear
from fruitwall.service.household import Household
from fruitwall.service.kind import reader
from fruitwall.terminal_kind import gear_answer
from fruitwall.yard.model import Display
from fruitwall.yard.units import CONTAINER_CLASS_L

DATA = resources.files("fruitwall.plans") / "data"
METRIC = reader(None)
IMPERIAL = Household(Display(temperature="F", length="ft", mass="lb", volume="gal"), ZoneInfo("UTC"))


def table(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((DATA / name).read_text(encoding="utf-8").splitlines()))


def flat(text: str) -> str:
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.mark.parametrize("name", ["containers.csv", "covers.csv"])
def test_every_row_of_the_tables_is_shown_with_its_sources(name: str) -> None:
    page = flat(gear_answer(None, as_json=False, width=80))
    titles = {row["source_key"]: row["title"] for row in table("gear_sources.csv")}

    for row in table(name):
        assert flat(row.get("basis") or row["conditions"])[1:] in page  # its first letter is made a capital
        assert row["locator"].rstrip(".") in page
        for key in row["source_key"].split(";"):
            assert flat(titles[key]).rstrip(".") in page


def test_no_row_is_lost() -> None:
    document = describe_gear()

    assert len(container_facts()) == len(table("containers.csv")) == 34
    assert sum(len(group.rows) for group in document.containers) == 34
    assert len(document.covers) == len(cover_facts()) == len(table("covers.csv")) == 21


def test_a_size_shows_the_spread_over_its_statements() -> None:
    (size,) = [group for group in describe_gear().containers if group.container == "#15"]

    # containers.csv, read by eye: 45.4 to 60.6 L; 18.1 kg (light, a chart) to 68.0 kg (wet, an article)
    assert flat(container_figures(size, METRIC)) == "45 to 61 L; 18 to 68 kg watered"


def test_volumes_that_the_yard_file_knows_lie_inside_what_is_published() -> None:
    sizes = {group.container: group for group in describe_gear().containers}

    for number, litres in CONTAINER_CLASS_L.items():
        volume = sizes[f"#{number}"].volume_l
        assert volume is not None
        assert volume.low <= litres <= volume.high


def test_a_cover_under_which_it_was_colder_says_so() -> None:
    (row,) = [r for r in describe_gear().covers if "coldest clear nights" in r.material]

    assert flat(cover_figures(row, METRIC)) == "−0.6 to +0.6 K at night"
    assert flat(cover_figures(row, IMPERIAL)) == "−1.1 to +1.1 °F at night"


def test_sizes_are_read_in_the_households_units() -> None:
    (size,) = [group for group in describe_gear().containers if group.container == "15 L"]

    assert flat(container_figures(size.rows[0], METRIC)).endswith(
        "33 cm across the top; 26 cm across the base; 22 cm high"
    )
    assert "gal" in container_figures(size.rows[0], IMPERIAL)
    assert "13\N{NO-BREAK SPACE}in across the top" in container_figures(size.rows[0], IMPERIAL)


def test_the_page_of_gear_fits_eighty_columns() -> None:
    assert max(map(len, gear_answer(None, as_json=False, width=80).splitlines())) <= 80
