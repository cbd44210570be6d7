"""Every part of the season in the states in which a household may be: no page and no command ends in a defect."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from typer.main import get_command

from fruitwall.cli.app import app as commands
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.climate import keep_years
from fruitwall.service.forecasts import keep_forecast
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import Sighting
from fruitwall.service.season import MAKERS
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.weather.forcing import as_datetime64
from tests.service.past import enter, past_forcing
from tests.weather.builders import some_forcing

YARD = """\
fruitwall: 1
name: {name}
location: {{latitude: {latitude}, longitude: {longitude}, elevation: 500, time_zone: {zone}}}
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]
trees: {trees}
people:
  - {{id: ana, name: Ana, minutes_before_dusk: 60 min}}
"""

TREES = """
  - {id: peach, name: "Peach <b> & #$*_", taxon: peach, position: [5, 5], height: 2 m, crown_diameter: 1.5 m}
  - {id: lime, name: Lime, taxon: lime, position: [15, 5], height: 1 m, crown_diameter: 1 m, container: {volume: 40 L}}
"""

HERE = {"latitude": 33.92, "longitude": -117.22, "zone": "America/Los_Angeles"}
SOUTH = {"latitude": -33.92, "longitude": 151.2, "zone": "Australia/Sydney"}
FAR_NORTH = {"latitude": 69.65, "longitude": 18.96, "zone": "Europe/Oslo"}


@dataclass(frozen=True)
class State:
    """What a household has."""

    forecast: bool = False
    past: bool = False
    climate: bool = False
    hurt: bool = False
    second: bool = False
    trees: str = TREES
    place: tuple[tuple[str, object], ...] = tuple(HERE.items())


UNKNOWN = "a kind that is not known"

STATES = {
    "no weather": State(),
    "a forecast only": State(forecast=True),
    "a climate only": State(climate=True),
    "all of it": State(forecast=True, past=True, climate=True, hurt=True),
    "hurt without weather": State(hurt=True),
    "the south": State(forecast=True, past=True, climate=True, hurt=True, place=tuple(SOUTH.items())),
    "polar night": State(forecast=True, past=True, place=tuple(FAR_NORTH.items())),
    UNKNOWN: State(forecast=True, past=True, trees=TREES.replace("taxon: peach", "taxon: sky apple")),
    "two yards": State(forecast=True, past=True, second=True),
}


def at(forcing, place):
    return replace(forcing, latitude_deg=float(place["latitude"]), longitude_deg=float(place["longitude"]))


@pytest.fixture(params=STATES.values(), ids=STATES.keys())
def house(request, tmp_path):
    state = request.param
    place = dict(state.place)
    with open_journal(tmp_path / "a.db") as journal:
        names = ["Small yard", "Other yard"] if state.second else ["Small yard"]
        for name in reversed(names):
            trees = state.trees if name == names[0] else TREES.replace("lime", "fig")
            text = YARD.format(name=name, trees=trees, **place)
            journal.store_yard(text, name=name, now=demo_now() - timedelta(days=60), author="test")
        if state.past:
            earlier = timedelta(days=4)
            known = past_forcing()
            moved = replace(
                known,
                time_utc=known.time_utc - as_datetime64(demo_now()) + as_datetime64(demo_now() - earlier),
                issued_utc=known.issued_utc - earlier,
            )
            for name in names:
                keep_forecast(journal, name, at(moved, place), fetched=moved.issued_utc)
        if state.forecast:
            for name in names:
                keep_forecast(journal, name, at(demo_forcing(), place), fetched=demo_now())
        found = House(journal, names[0] if state.second else None, demo_now, PhotoFolder(tmp_path / "photos"))
        if state.climate:
            for year in (2019, 2020):
                start = datetime(year, 7, 1, tzinfo=UTC)
                made = some_forcing(24 * 365, start=as_datetime64(start), issued_utc=start, source="a station near by")
                keep_years(found, at(replace(made, n_history=made.n_times), place))
        if state.hurt:
            enter(found, Sighting(grade=4, note="#panic() <script>"), "peach", demo_now() - timedelta(days=2))
        yield found


PAGES = [
    "/season",
    *(f"/season/{part}" for part in (*MAKERS, "climate", "tasks", "report")),
    *(f"/season/{part}/lime" for part in ("cold", "heat", "water")),
    "/season/report.html",
    "/season.ics",
    "/api/season",
    *(f"/api/season/{part}" for part in MAKERS),
]


def test_no_page_and_no_command_ends_in_a_defect(house, client_of, monkeypatch, request):
    # One that cannot be worked out because of a kind says where that stands; nothing else may be refused.
    unknown = UNKNOWN in request.node.name
    client = client_of(house=house, now=demo_now())
    for page in PAGES:
        answer = client.get(page)
        if answer.status_code == 404:
            assert page.endswith("/lime"), page
            assert not house.journal.latest_forecast(), page
        elif answer.status_code == 422:
            assert unknown, (page, answer.text)
            assert "Small yard, trees[0].taxon: no kind named" in answer.text, page
        else:
            assert answer.status_code == 200, (page, answer.status_code)
            assert "<b> &" not in answer.text or "html" not in answer.headers["content-type"], page
    yard, _ = house.yard()

    @contextmanager
    def this_house(*_):
        yield house, Household(yard.display, ZoneInfo(yard.location.time_zone))

    monkeypatch.setattr("fruitwall.cli.season.household_at", this_house)
    command = get_command(commands)
    for asked in (["--json"], [], *([part] for part in MAKERS)):
        done = CliRunner().invoke(command, ["season", *asked])
        known = done.exception is None or (unknown and "trees[0].taxon" in str(done.exception))
        assert known, (asked, done.exception)
        assert done.output or done.exception is not None
