"""Many winters and placing in the states in which a household may be: no page and no command ends in a defect."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from typer.main import get_command

from fruitwall.cli.app import app as commands
from fruitwall.errors import FruitwallError
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service import placing_ground
from fruitwall.service.climate import keep_years
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.placing_cells import cells_of
from fruitwall.service.winters import PARTS
from fruitwall.weather.demo import demo_now
from fruitwall.weather.forcing import as_datetime64
from fruitwall.web.winters.runner import Runner
from tests.weather.builders import some_forcing
from tests.web.test_season_states import FAR_NORTH, HERE, SOUTH, YARD

LONG = 60.0

COARSE_M = 8.0
"""Side of a cell of the raster: a few cells will do. [m]"""

LIME = """
  - {id: lime, name: "Lime <b> & #$*_", taxon: lime, position: [5, 5], height: 1 m, crown_diameter: 1 m}
"""
POT = LIME.replace("crown_diameter: 1 m", "crown_diameter: 1 m, container: {volume: 40 L}")
TALL = LIME.replace("height: 1 m", "height: 12 m")
UNKNOWN = LIME.replace("taxon: lime", "taxon: sky apple")


@dataclass(frozen=True)
class State:
    """What a household has."""

    autumns: tuple[int, ...] = (2020,)
    trees: str = LIME
    place: tuple[tuple[str, object], ...] = tuple(HERE.items())


STATES = {
    "no winter": State(autumns=()),
    "one winter": State(trees=POT),
    "too tall to cover": State(trees=TALL),
    "a kind that is not known": State(trees=UNKNOWN),
    "the south": State(autumns=(2019, 2020), place=tuple(SOUTH.items())),
    "polar night": State(place=tuple(FAR_NORTH.items())),
}


@pytest.fixture(params=STATES.values(), ids=STATES.keys())
def state(request):
    return request.param


@pytest.fixture
def house(state, tmp_path):
    place = dict(state.place)
    with open_journal(tmp_path / "a.db") as journal:
        text = YARD.format(name="Small yard", trees=state.trees, **place)
        journal.store_yard(text, name="Small yard", now=demo_now() - timedelta(days=60), author="test")
        found = House(journal, None, demo_now, PhotoFolder(tmp_path / "photos"))
        for autumn in state.autumns:
            start = datetime(autumn, 1 if place["latitude"] < 0 else 7, 1, tzinfo=UTC)
            made = some_forcing(24 * 365, start=as_datetime64(start), issued_utc=start, source="a station near by")
            here = {"latitude_deg": float(place["latitude"]), "longitude_deg": float(place["longitude"])}
            keep_years(found, replace(made, n_history=made.n_times, **here))
        yield found


BEGUN = [
    *(f"/winters/{one.key}" for one in PARTS),
    "/placing?ask=kind&kind=mango",
    "/placing?ask=pot&pot=lime",
    "/placing?ask=list&list=fig,lime",
]
"""Pages that answer once their work was begun."""

LOOKED_AT = [
    "/winters",
    "/winters/rules/own",
    "/placing",
    "/api/winters",
    *(f"/api/winters/{one.key}" for one in PARTS),
    "/api/placing?taxon=mango",
    "/api/placing?pot=lime",
    "/api/placing?list=fig,lime",
]


def test_no_page_and_no_command_ends_in_a_defect(house, state, client_of, monkeypatch):
    runner = Runner()
    monkeypatch.setattr("fruitwall.web.app.Runner", lambda: runner)
    monkeypatch.setattr("fruitwall.web.winters.runner.PATIENCE_S", LONG)
    monkeypatch.setattr("fruitwall.web.api.working.PATIENCE_S", LONG)
    monkeypatch.setattr(placing_ground, "cells_of", lambda yard, _cell_m: cells_of(yard, COARSE_M))
    client = client_of(house=house, now=demo_now())
    some = bool(client.get("/api/winters").json()["source"])
    assert some == bool(state.autumns)
    for page in BEGUN:
        answer = client.get(page)
        if answer.status_code == 202:
            name = answer.text.partition('name="work" value="')[2].partition('"')[0]
            client.post("/winters/progress/begin", data={"work": name, "place": page})
            answer = client.get(page)
        refused = page.startswith("/placing") and (not some or ("pot=" in page and state.trees != POT))
        if state.trees == UNKNOWN:
            assert answer.status_code in (200, 422), (page, answer.status_code)
        else:
            assert answer.status_code == (422 if refused else 200), (page, answer.status_code, answer.text)
        assert "<b> &" not in answer.text, page
    for page in LOOKED_AT:
        assert client.get(page).status_code in (200, 404, 422), page
    assert client.get("/winters").status_code == 200

    yard, _ = house.yard()

    @contextmanager
    def this_house(*_):
        yield house, Household(yard.display, ZoneInfo(yard.location.time_zone))

    monkeypatch.setattr("fruitwall.cli.winters.household_at", this_house)
    monkeypatch.setattr("fruitwall.cli.place.household_at", this_house)
    command = get_command(commands)
    for asked in (
        ["winters"],
        ["winters", "--json"],
        *(["winters", one.key] for one in PARTS),
        *(["winters", one.key, "--json"] for one in PARTS),
        ["place", "mango"],
        ["place", "--pot", "lime"],
    ):
        done = CliRunner().invoke(command, asked)
        # Refused with a sentence or an error of its own, or told.
        known = done.exception is None or isinstance(done.exception, FruitwallError | SystemExit)
        assert known, (asked, done.exception)
        assert done.output or isinstance(done.exception, FruitwallError), asked
