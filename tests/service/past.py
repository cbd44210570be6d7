"""A small yard with a winter behind it: for tests of what was lived and learned."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from fruitwall.journal.forcing_file import MEDIA_TYPE, pack_forcing
from fruitwall.journal.photos import PhotoFolder
from fruitwall.journal.store import Journal
from fruitwall.service.house import House
from fruitwall.service.ledger import Body, Deed, Sighting, Signed, Stage, entry_of
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.weather.forcing import Forcing

YARD = """\
fruitwall: 1
name: Small yard
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]
trees:
  - {id: mango, name: Mango, taxon: mango, position: [5, 5], height: 2 m, crown_diameter: 1.5 m}
  - {id: twin, name: Second mango, taxon: mango, position: [15, 5], height: 2 m, crown_diameter: 1.5 m}
  - {id: lime, name: Lime, taxon: lime, position: [9, 15], height: 1.5 m, crown_diameter: 1 m}
people:
  - {id: ana, name: Ana, minutes_before_dusk: 60 min}
gear:
  covers:
    - {id: fleece, name: Fleece, material: fleece_heavy, width: 6 m, length: 6 m, count: 3}
"""

LATER = demo_now() + timedelta(days=5)
"""The cold nights of the demo weather are over."""


def past_forcing(**changes: Any) -> Forcing:
    """Give the demo weather as weather that was."""
    forcing = demo_forcing()
    return replace(forcing, n_history=forcing.n_times, **changes)


def house_with_past(
    journal: Journal, folder: Path, *, forcing: Forcing | None = None, clock: Callable[[], datetime] = lambda: LATER
) -> House:
    """Give a household whose journal holds the small yard and the weather."""
    journal.store_yard(YARD, name="Small yard", now=demo_now() - timedelta(days=60), author="test")
    keep(journal, forcing if forcing is not None else past_forcing())
    return House(journal, None, clock, PhotoFolder(folder))


def keep(journal: Journal, forcing: Forcing) -> None:
    """Store a forcing as the product does."""
    journal.store_forecast(
        pack_forcing(forcing),
        source=forcing.source,
        issued=forcing.issued_utc,
        fetched=forcing.issued_utc,
        media_type=MEDIA_TYPE,
    )


def enter(house: House, body: Body, tree: str | None, at: datetime, author: str = "Ana") -> str:
    """Put an entry into the ledger; gives its id."""
    kind = {Sighting: "sighting", Deed: "deed", Stage: "stage"}[type(body)]
    entry = entry_of(kind, body, tree=tree, at=at, signed=Signed(author, "phone", house.clock()))
    house.ledger.add([entry])
    return entry.id


def warmer(forcing: Forcing, kelvin: float) -> Forcing:
    """Give weather that is so much warmer in all hours."""
    return replace(forcing, t_air_c=np.asarray(forcing.t_air_c + kelvin), t_dew_c=np.asarray(forcing.t_dew_c + kelvin))
