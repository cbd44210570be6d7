"""A yard of 60 trees with its evening, as the cases of the pages serve it.

The house, the walls, the gear and the weather are those of the demo; its trees are planted out again and again on a
lattice until there are enough, each moved and grown a little by a seeded generator. What counts here is how much the
pages have to say, not whether anybody would plant so.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np

from fruitwall.journal.forcing_file import MEDIA_TYPE, pack_forcing
from fruitwall.journal.opening import open_journal
from fruitwall.service.yards import check_yard_text, import_yard
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.file import write_yard
from fruitwall.yard.model import Yard

TREES = 60


def large_yard(trees: int = TREES, *, seed: int = 5) -> Yard:
    """Make the yard.

    Parameters
    ----------
    trees : int
        At least those of the demo.
    seed : int
        Of the generator.

    Returns
    -------
    Yard
        The demo yard, grown to the south by rows of more trees; gear counts grow with them.
    """
    rng = np.random.default_rng(seed)
    yard = demo_yard()
    planted = [tree for tree in yard.trees if tree.container is None]
    more = []
    for number in range(trees - len(yard.trees)):
        model = planted[number % len(planted)]
        size = float(rng.uniform(0.85, 1.1))
        place = (2.5 + 3.9 * (number % 8) + rng.uniform(-0.4, 0.4), -3.0 - 4.2 * (number // 8) + rng.uniform(-0.4, 0.4))
        more.append(
            model.model_copy(
                update={
                    "id": f"{model.id}-{number + 1}",
                    "name": f"{model.name} {number + 1}",
                    "position": tuple(round(value, 1) for value in place),
                    "height_m": round(model.height_m * size, 2),
                    "notes": None,
                }
            )
        )
    lowest = min(tree.position[1] for tree in more) - 4.0 if more else 0.0
    share = trees / len(yard.trees)
    covers = [cover.model_copy(update={"count": round(cover.count * share)}) for cover in yard.gear.covers]
    return yard.model_copy(
        update={
            "name": f"Lizard Steps with {trees} trees",
            "trees": [*yard.trees, *more],
            "outline": [(0.0, lowest), (32.0, lowest), (32.0, 39.0), (0.0, 39.0)],
            "gear": yard.gear.model_copy(update={"covers": covers}),
        }
    )


def keep(database: Path, yard: Yard) -> datetime:
    """Put a yard and the demo's weather into a new journal.

    Parameters
    ----------
    database : Path
    yard : Yard

    Returns
    -------
    datetime
        The moment of its evening, aware: for ``fruitwall serve --now``.
    """
    now, forcing = demo_now(), demo_forcing()
    with open_journal(database) as journal:
        version = import_yard(journal, check_yard_text(write_yard(yard)), now=now, author="bench")
        journal.store_forecast(
            pack_forcing(forcing),
            yard=version.yard,
            source=forcing.source,
            issued=forcing.issued_utc,
            fetched=now,
            media_type=MEDIA_TYPE,
        )
    return now
