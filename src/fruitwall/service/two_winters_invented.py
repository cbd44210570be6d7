"""What is invented in the demo's two winters: the truth behind them, and what the household is like.

Nothing here is measured or known of any real yard. `service.two_winters` makes a journal of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from fruitwall.service.evening import generator
from fruitwall.yard.demo import demo_yard

SEED = 20241101

YARD_NAME = "Lizard Steps, two invented winters"
"""Of the yard in the journal: it stands on every page, and says what it is."""

TOLD = "demo.two_winters"
"""Setting of the yard: which telling of the story its journal holds."""

TELLING = 1
"""Counted up whenever the story changes, so that a journal of an older one is not taken for this."""

TRUE_SHIFTS_K = {
    # Hardier than published ...
    "pot-finger-lime": -1.9,
    "pot-acerola": -1.6,
    "sapodilla": -1.8,
    "canistel": -1.5,
    "guava": -1.7,
    "lychee-mauritius": -1.5,
    # ... and more tender.
    "avocado-mexicola": 1.4,
    # At its spot it only gets colder than anybody thinks.
    "atemoya": 0.0,
}
"""By how much these trees really stand less cold than published; below zero they stand more. Invented. [K]"""

OTHERS_SD_K = 1.6
"""Spread of what the other trees really stand round what is published: a little less than published limits are given
as doubt (`service.looks_taken.tree_priors`, about 2). Invented. [K]"""

COLD_TREE, COLDER_K = "atemoya", 1.2
"""Spot that is colder than physics says on a clear calm night, and by how much. Invented. [K]"""

FORECAST_WARM_K = 1.3
"""By how much the service's forecasts are too warm on a clear calm night. Invented. [K]"""

FORECAST_SD_K, FORECAST_MEMORY_H, FORECAST_REACH_H = 0.8, 30.0, 72
"""Of the forecasts' other errors: spread on the first day, a third more with every further day; how long an error
lasts; how far forecasts reach. Invented. [K], [h], [h]"""

WENDELL, ODALIS = "Wendell (invented)", "Odalis (invented)"
"""Who entered it all, as it stands beside every entry."""

GRADES_HARDER_K = {WENDELL: -0.2, ODALIS: 0.2}
"""Habit of those who look: who grades harder sees a little more damage. Invented. [K]"""

READ_SD_K = 0.15
"""Noise of a thermometer. Invented. [K]"""


@dataclass(frozen=True)
class Habit:
    """What the household does for a tree, and when.

    Attributes
    ----------
    tree, measure : str
        Keys; a shelter is closed by the habit of any tree in it.
    below_c : tuple of float
        Forecast of the night's minimum below which it is done, in the first and in the second winter: after the first
        spring the two are more careful. [°C]
    """

    tree: str
    measure: str
    below_c: tuple[float, float]


HABITS = (
    Habit("wax-jambu", "shelter:hoops", (4.0, 5.0)),
    Habit("pot-cacao", "carry:hallway", (7.0, 8.0)),
    Habit("pot-mango", "carry:shed-floor", (0.5, 1.5)),
    Habit("pot-sugar-apple", "carry:shed-floor", (0.5, 1.5)),
    Habit("mango-grafted", "cover:frost_blanket", (-0.5, 1.0)),
    Habit("mango-seedling", "cover:frost_blanket", (-1.0, 0.5)),
    Habit("papaya", "cover:fleece_heavy", (0.0, 1.0)),
    Habit("sapodilla", "cover:fleece_heavy", (-1.5, -1.0)),
    Habit("canistel", "cover:fleece_medium", (-1.0, -1.0)),
)
"""Invented. What stands out in the cold teaches most: these two leave much alone."""

AWAY = (date(2024, 12, 20), date(2025, 1, 3))
"""Evenings from and to which nobody was at home."""

WALKS = (
    (date(2024, 11, 24), ODALIS, 0.8),
    (date(2024, 12, 16), WENDELL, 0.7),
    (date(2025, 1, 5), ODALIS, 0.9),
    (date(2025, 1, 19), WENDELL, 0.9),
    (date(2025, 2, 9), ODALIS, 0.6),
    (date(2025, 3, 16), WENDELL, 0.8),
    (date(2025, 11, 29), WENDELL, 0.8),
    (date(2025, 12, 14), ODALIS, 0.6),
    (date(2026, 1, 4), WENDELL, 0.9),
    (date(2026, 1, 18), ODALIS, 0.8),
    (date(2026, 2, 15), WENDELL, 0.7),
    (date(2026, 3, 15), ODALIS, 0.8),
)
"""Walks through the yard: when, who grades, and which share of the trees gets a look. Invented."""

NOTES = (
    (
        date(2024, 11, 3),
        None,
        WENDELL,
        "This household, its work and all that it saw are invented, to show what a "
        "yard teaches. The hours of weather are real ones of other years.",
    ),
    (date(2025, 1, 5), None, ODALIS, "Back after two weeks. Nobody covered anything over the holidays."),
    (
        date(2025, 1, 19),
        "avocado-mexicola",
        WENDELL,
        "The flush is black. They said this one takes more cold than any other avocado.",
    ),
    (
        date(2025, 12, 27),
        "pot-finger-lime",
        WENDELL,
        "No room in the shed, so it stays out on the patio. Nothing to see on it after the worst night.",
    ),
    (date(2026, 1, 11), "atemoya", ODALIS, "Hung one logger in here and one into the young avocado."),
)
"""What they wrote down. Invented."""

STATION, STATION_READ = "station in the valley", (date(2025, 12, 1), date(2026, 3, 1))
"""Thermometer down in the valley where forecasts are for, and from and to when it was read; no spot of the yard."""

LOGGERS = {"logger-atemoya": COLD_TREE, "logger-avocado": "avocado-mexicola"}
"""Loggers, and the tree in which each hangs."""

LOGGED = (date(2026, 1, 11), date(2026, 2, 8))
"""Evenings of the loggers' first and last night."""

SENSORS = """
# ------------------------------------------------------------------ thermometers
sensors:
  - {id: logger-atemoya, name: Logger in the atemoya, tree: atemoya}
  - {id: logger-avocado, name: Logger in the young avocado, tree: avocado-mexicola}
"""

YOUNG_YEARS, GROWTH_A_YEAR = 6.0, 0.12
"""Trees younger than this were so much smaller for every year back, as a share of today's size. Invented."""

THERE_YEARS = -0.02
"""A tree must have been this old to be in the yard at all: one planted within the week is. [years]"""


@dataclass(frozen=True)
class Truth:
    """What is so in the story, and nobody in it knows.

    Attributes
    ----------
    shifts_k : Mapping of tree to float
        By how much each tree's limits lie above the published ones. [K]
    colder_k : float
        By how much the spot of `COLD_TREE` is colder on a clear calm night. [K]
    forecast_warm_k : float
        By how much forecasts are too warm on a clear calm night. [K]
    """

    shifts_k: Mapping[str, float]
    colder_k: float = COLDER_K
    forecast_warm_k: float = FORECAST_WARM_K


def truth() -> Truth:
    """Give what the story is made from."""
    rng = generator(SEED)
    drawn = {tree.id: float(rng.normal(0.0, OTHERS_SD_K)) for tree in demo_yard().trees}
    return Truth(drawn | TRUE_SHIFTS_K)
