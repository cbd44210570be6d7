"""What makes a cause likely before anybody looks at the leaf: what the tree went through, the season, the last look.

Every cause begins with its usual weight. What is known of cold, heat, water, season and the last look moves it; what is
not known leaves it where it is. Numbers without another source are our judgement: they say which way and how far, and
are small beside a good sign.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fruitwall.plants.catalogue import Habit, LeafHabit

CAUSES = ("frost", "chill", "sun", "drought", "wet", "salt", "nutrients", "shedding", "old", "other")
"""Freezing, cold above freezing, sun and heat, drought, too much water, salt, lack of nutrients, natural shedding or
rest, damage from before, and something else such as a pest. Always in this order."""

USUAL = {
    "frost": 0.10,
    "chill": 0.05,
    "sun": 0.08,
    "drought": 0.10,
    "wet": 0.05,
    "salt": 0.05,
    "nutrients": 0.08,
    "shedding": 0.08,
    "old": 0.06,
    "other": 0.12,
}
"""Weight of each cause where nothing else is known. Our judgement."""

COLD = ("frost", "chill")
OTHERS = tuple(cause for cause in CAUSES if cause not in COLD)

OTHERS_CHANCE = 0.3
"""How often a look finds harm of another cause than cold, whatever the nights were. With it a known chance of harm by
cold is put beside the usual weights of the others. Our judgement."""

LEAST, MOST = 0.001, 0.95
"""Between these the chance of harm by cold counts as it is: the night may have been colder than was computed, and a
cold night does not make every hurt leaf one of cold. Our judgement."""

HEAT_C, HEAT_FACTOR = (15.0, 25.0, 32.0, 38.0, 44.0), (0.1, 0.4, 1.2, 3.5, 6.0)
"""Hottest air since the last look, and what it makes of sun and heat.

Above about 31 °C in dry air avocado leaves close and lose their cooling (ucanr_heat2020), above about 30 °C citrus
suffers (guha2022); fruit in the sun, browned at 46 to 49 °C (schrader2001), is ten and more kelvin above the air. The
factors are our judgement. [°C], [-]"""

DRY_DAYS, DRY_FACTOR = (0.0, 5.0, 14.0, 30.0, 60.0), (0.15, 0.5, 1.5, 3.0, 4.0)
"""Days without rain or watering, and what they make of drought. Our judgement. [days], [-]"""

DRY_MEAN_C, DRY_WARM_FACTOR = (5.0, 15.0, 25.0), (0.4, 0.8, 1.2)
"""Mean air in that time: a warm day takes more water. Our judgement. [°C], [-]"""

RAIN_MM, RAIN_FACTOR = (0.0, 20.0, 60.0, 150.0), (0.5, 0.9, 1.8, 3.5)
"""Rain of the last two weeks, and what it makes of too much water. Our judgement. [mm], [-]"""

SALT_MONTHS = frozenset({8, 9, 10, 11})
"""Months of a northern year in which salt shows: late summer to autumn; common practice, no source."""

LEACHING_MM = 60.0
"""Rain of two weeks that washes salt out. Our judgement. [mm]"""

COOL_SOIL_C = 12.0
"""Mean air below which roots take up too little iron. Cold soil: common practice, no source; level: our judgement. [°C]
"""

SUNNY_MONTHS, DIM_MONTHS = frozenset({5, 6, 7, 8, 9}), frozenset({11, 12, 1, 2})
"""Months of a northern year in which the sun burns more and less than usual, where the heat is not known. Astronomy."""

COOL_SEASON = frozenset({11, 12, 1, 2, 3})
"""Months in which a kind that sheds its leaf rests, where nothing is published of it: of a northern year; common
practice, no source."""

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
SEASONS = {"winter": (12, 1, 2), "autumn": (9, 10, 11), "cool season": tuple(COOL_SEASON)}


@dataclass(frozen=True)
class Circumstances:
    """What is known beside the signs; None for what is not known, which then counts for nothing.

    Attributes
    ----------
    grade : int or None
        Grade of injury that was seen, 0 to 7.
    month : int
        Of the look, as of a year of the northern half of the earth: July is high summer.
    leaf_habit : str
        As in the catalogue.
    shed_months : frozenset of int
        Months of a northern year in which its kind drops its leaf or stands bare.
    frost, chill : float or None
        Chance that the nights since the last look did harm of nearly this grade, by freezing and by cold above
        freezing. [-]
    hottest_c, mean_c : float or None
        Air since the last look, or in the last weeks. [°C]
    dry_days : float or None
        Days since it rained or was watered.
    watering_told : bool
        Whether this household enters what it waters: else a dry spell of the weather says less.
    rain_mm : float or None
        Of the last two weeks. [mm]
    root_zone : str
        dry, moist or wet, as the yard file says; moist says nothing.
    fed_days : float or None
        Days since it was fed; None if that was never entered.
    drying_wind : bool
        Whether dry wind blew over cold ground.
    potted, palm : bool
    stage : str or None
        The growth stage entered last, if it is of the last weeks.
    before : int or None
        Grade of the look before; None if there was none.
    before_days : float
        How long ago that was.
    """

    grade: int | None
    month: int
    leaf_habit: LeafHabit = "evergreen"
    shed_months: frozenset[int] = frozenset()
    frost: float | None = None
    chill: float | None = None
    hottest_c: float | None = None
    mean_c: float | None = None
    dry_days: float | None = None
    watering_told: bool = False
    rain_mm: float | None = None
    root_zone: str = "moist"
    fed_days: float | None = None
    drying_wind: bool = False
    potted: bool = False
    palm: bool = False
    stage: str | None = None
    before: int | None = None
    before_days: float = 0.0


@dataclass(frozen=True)
class Ground:
    """One circumstance that moved a cause.

    Attributes
    ----------
    cause : str
    key : str
        Which circumstance; `service.cause_words` has its words.
    factor : float
        Its weight against the usual one.
    """

    cause: str
    key: str
    factor: float


def grounds_of(c: Circumstances) -> tuple[Ground, ...]:
    """Give what the circumstances make of each cause.

    Parameters
    ----------
    c : Circumstances

    Returns
    -------
    tuple of Ground
        Factors on `USUAL`; causes without one keep their usual weight.
    """
    return (*_cold(c), *_heat(c), *_water(c), *_salt_and_food(c), *_season(c), *_before(c))


def odds_of(c: Circumstances) -> dict[str, float]:
    """Give the weight of each cause before any sign, summing to one."""
    weights = dict(USUAL)
    for ground in grounds_of(c):
        weights[ground.cause] *= ground.factor
    total = sum(weights.values())
    return {cause: weights[cause] / total for cause in CAUSES}


def _cold(c: Circumstances) -> Iterable[Ground]:
    for cause, chance in (("frost", c.frost), ("chill", c.chill)):
        if chance is not None:
            weight = min(max(chance, LEAST), MOST) * sum(USUAL[one] for one in OTHERS) / OTHERS_CHANCE
            yield Ground(
                cause, f"{cause}_could" if weight >= USUAL[cause] else f"{cause}_hardly", weight / USUAL[cause]
            )


def _heat(c: Circumstances) -> Iterable[Ground]:
    if c.hottest_c is not None:
        factor = float(np.interp(c.hottest_c, HEAT_C, HEAT_FACTOR))
        yield Ground("sun", "hot" if factor >= 1 else "not_hot", factor)
    elif c.month in SUNNY_MONTHS:
        yield Ground("sun", "high_sun", 1.4)
    elif c.month in DIM_MONTHS:
        yield Ground("sun", "low_sun", 0.5)


def _water(c: Circumstances) -> Iterable[Ground]:
    if c.dry_days is not None:
        factor = float(np.interp(c.dry_days, DRY_DAYS, DRY_FACTOR))
        if c.mean_c is not None:
            factor *= float(np.interp(c.mean_c, DRY_MEAN_C, DRY_WARM_FACTOR))
        if factor > 1 and not c.watering_told:
            factor **= 0.5  # it may have been watered, and nobody said so
        yield Ground("drought", "dry_spell" if factor >= 1 else "no_dry_spell", factor)
    if c.rain_mm is not None:
        factor = float(np.interp(c.rain_mm, RAIN_MM, RAIN_FACTOR))
        yield Ground("wet", "much_rain" if factor >= 1 else "little_rain", factor)
    if c.drying_wind:
        yield Ground("drought", "drying_wind", 3.0)  # winter desiccation (dunning2014); factor: our judgement
    if c.root_zone == "dry":
        yield Ground("drought", "roots_dry", 2.0)
        yield Ground("wet", "roots_dry", 0.2)
    elif c.root_zone == "wet":
        yield Ground("wet", "roots_wet", 5.0)
        yield Ground("drought", "roots_wet", 0.15)


def _salt_and_food(c: Circumstances) -> Iterable[Ground]:
    if c.month in SALT_MONTHS:
        yield Ground("salt", "salt_season", 1.8)
    else:
        yield Ground("salt", "no_salt_season", 0.7)
    if c.rain_mm is not None and c.rain_mm >= LEACHING_MM:
        yield Ground("salt", "leached", 0.5)
    if c.potted:
        yield Ground("salt", "potted", 1.3)
    if c.fed_days is not None and c.fed_days <= 30:
        yield Ground("salt", "just_fed", 1.8)
    if c.fed_days is not None and c.fed_days <= 120:
        yield Ground("nutrients", "fed", 0.6)
    if c.palm:
        yield Ground("nutrients", "palm", 8.0)  # potassium (broschat_mg318); factor: our judgement
    if c.mean_c is not None and c.mean_c < COOL_SOIL_C:
        yield Ground("nutrients", "cool_soil", 1.3)


def _season(c: Circumstances) -> Iterable[Ground]:
    if c.leaf_habit == "evergreen":
        if c.grade is not None and c.grade >= 4:
            yield Ground("shedding", "never_bare", 0.05)
        elif c.month in (3, 4, 5):
            yield Ground("shedding", "spring_change", 1.5)
    elif c.month in c.shed_months:
        yield Ground("shedding", "rest", 8.0 if c.grade is None or c.grade <= 4 else 0.3)
    else:
        yield Ground("shedding", "no_rest", 0.4)
    if c.stage in ("dormant", "shedding"):
        yield Ground("shedding", "told_rest", 4.0)


def _before(c: Circumstances) -> Iterable[Ground]:
    if c.before is None:
        return
    if c.before == 0:
        yield Ground("old", "well_before", 0.15)
    elif c.grade is not None and c.before >= c.grade:
        yield Ground("old", "seen_before", 15.0)
    elif c.grade is not None and c.before == c.grade - 1:
        yield Ground("old", "less_before", 4.0)
    else:
        yield Ground("old", "much_less_before", 1.2)


def shed_months(habits: Iterable[Habit], leaf_habit: LeafHabit) -> frozenset[int]:
    """Give the months in which a kind drops its leaf or stands bare.

    Parameters
    ----------
    habits : iterable of Habit
        What is published of it; all statements with months are of the northern half of the earth.
    leaf_habit : str
        As in the catalogue.

    Returns
    -------
    frozenset of int
        1 to 12; empty for evergreen kinds, the cool season where no statement names months.
    """
    if leaf_habit == "evergreen":
        return frozenset()
    found: set[int] = set()
    for habit in habits:
        text = habit.natural_leaf_drop
        for season, months in SEASONS.items():
            if season in text and "needs" not in text.partition(season)[0]:
                found.update(months)
        for first, last in re.findall(rf"\b({'|'.join(MONTHS)})(?:-({'|'.join(MONTHS)}))?", text):
            begin, end = MONTHS.index(first), MONTHS.index(last or first)
            found.update((begin + step) % 12 + 1 for step in range((end - begin) % 12 + 1))
    return frozenset(found) or COOL_SEASON
