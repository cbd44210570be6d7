"""The thermometers of a yard: where each hangs, what it read, and what physics gives for that very place.

Whatever was entered stays as it came. What somebody said of it since (a stretch was in °F, a clock was wrong, leave a
week out) is kept beside it as a mend, and readings are seen through the mends.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from math import hypot
from typing import TYPE_CHECKING, Literal, TypedDict, cast

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.kept import Kept
from fruitwall.service.past_weather import STATION, PastWeather, past_stretches
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from fruitwall.journal.entries import Reading
    from fruitwall.physics.spot import Spot
    from fruitwall.service.house import House
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Sensor, Tree, Yard

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

MENDS = "sensor_mends"
"""Setting of a yard: what was said of readings since."""

QUANTITY = "air_temperature_c"

FREE_HEIGHT_M = 1.5
"""Of a thermometer whose height is not given: at the eyes. [m]"""

SPIN_UP = timedelta(days=5)
"""Of ground and walls before the first reading, where the weather is known (`physics.night.simulate`)."""

OVER_SEASONS = timedelta(days=240)

SERIES_BYTES = 150e6
"""What the hours of a march may take in memory; thermometers beyond it are marched in turns."""

Word = Literal["fahrenheit", "celsius", "tenfold", "tenth", "sign", "clock", "ignore", "right"]


class Mend(TypedDict):
    """What was said of a stretch of readings.

    `sensor` is the name under which they came; `since` and `until` are ISO times, both included; `hours` is how fast
    the clock was. "right" says that they are as they should be and shall not be asked about again.
    """

    sensor: str
    since: str
    until: str
    how: Word
    hours: float
    author: str
    at: str


@dataclass(frozen=True)
class Hung:
    """One thermometer in its place.

    Attributes
    ----------
    spot : str
        What it teaches of: the id of a tree, or its own where it hangs free.
    id : str
        Of the thermometer in the yard file; the tree's where readings came under a tree's name.
    name : str
    kind : {"logger", "min_max", "hand"}
    shield, station : bool
    tree : str or None
    x_m, y_m, height_m : float
        [m]
    named : bool
        Whether the yard file has it; else readings name a tree only.
    """

    spot: str
    id: str
    name: str
    kind: Literal["logger", "min_max", "hand"]
    shield: bool
    station: bool
    tree: str | None
    x_m: float
    y_m: float
    height_m: float
    named: bool


@dataclass(frozen=True, eq=False)
class Hours:
    """What physics gives for one place, hour by hour, in one stretch of known weather.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s] [hour]
    air_c, clear, sun_w_m2 : ndarray [hour]
        Air at the thermometer [°C], strength of radiative cooling [0-1], sun on level ground [W/m²].
    elevation_deg : ndarray [hour]
        Of the sun.
    night : ndarray of int [hour]
        Day number of the evening of the night that the hour belongs to, noon to noon by the sun.
    """

    time_utc: NDArray[np.datetime64]
    air_c: Array
    clear: Array
    sun_w_m2: Array
    elevation_deg: Array
    night: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Read:
    """What one thermometer read, as mended, beside what it should have read.

    Attributes
    ----------
    hung : Hung
    sensor : str
        The name under which the readings came.
    time_utc : ndarray of datetime64[s] [reading]
        Rising.
    value_c : ndarray [reading]
        Mended; readings that are to be left out are not among them.
    as_came_c : ndarray [reading]
        Before any mend. [°C]
    settled : ndarray of bool [reading]
        Somebody has said that it is right.
    hours : tuple of Hours
        One per stretch of weather that has readings.
    """

    hung: Hung
    sensor: str
    time_utc: NDArray[np.datetime64]
    value_c: Array
    as_came_c: Array
    settled: Mask
    hours: tuple[Hours, ...]


def hung_in(yard: Yard) -> dict[str, Hung]:
    """Give every thermometer, and every tree as if it were one, by the names readings may come under, in lower case.

    Parameters
    ----------
    yard : Yard

    Returns
    -------
    dict
        Ids and names; where a thermometer hangs within a crown it counts for that tree.
    """
    found: dict[str, Hung] = {}
    for tree in yard.trees:
        hung = Hung(tree.id, tree.id, tree.name, "hand", True, False, tree.id, *tree.position, _amid(tree), named=False)
        for name in (tree.id, tree.name):
            found.setdefault(name.casefold(), hung)
    by_id = {tree.id: tree for tree in yard.trees}
    for sensor in yard.sensors:
        hung = _hung(sensor, by_id)
        found[sensor.id.casefold()] = found[sensor.name.casefold()] = hung
    return found


def _amid(tree: Tree) -> float:
    from fruitwall.service.treatments import crown_level_m

    return crown_level_m(tree)


def _hung(sensor: Sensor, trees: Mapping[str, Tree]) -> Hung:
    tree = trees.get(sensor.tree) if sensor.tree is not None else None
    if tree is None and sensor.position is not None:
        around = [
            one
            for one in trees.values()
            if hypot(one.position[0] - sensor.position[0], one.position[1] - sensor.position[1])
            <= 0.5 * one.crown_diameter_m
        ]
        tree = around[0] if around else None
    height = sensor.height_m if sensor.height_m is not None else (_amid(tree) if tree is not None else FREE_HEIGHT_M)
    position = sensor.position or (tree.position if tree is not None else (0.0, 0.0))
    return Hung(
        sensor.id if tree is None else tree.id,
        sensor.id,
        sensor.name,
        sensor.kind,
        sensor.shield,
        sensor.station,
        None if tree is None else tree.id,
        *position,
        height,
        named=True,
    )


# ---------------------------------------------------------------- mends


def mends_of(house: House) -> list[Mend]:
    """Give all that was said of readings, oldest first."""
    kept = house.ledger.setting(MENDS)
    return [cast("Mend", one) for one in kept if isinstance(one, dict)] if isinstance(kept, list) else []


def mend(house: House, new: Mend) -> None:
    """Say something of a stretch of readings; saying the same again changes nothing."""
    known = mends_of(house)
    if any({**one, "at": "", "author": ""} == {**new, "at": "", "author": ""} for one in known):
        return
    house.ledger.set(MENDS, [*known, new], author=new["author"], now=datetime.fromisoformat(new["at"]))


def unmend(house: House, place: int, *, author: str, now: datetime) -> None:
    """Take back what was said, by its place in `mends_of`; what it was stays in the journal."""
    known = mends_of(house)
    if 0 <= place < len(known):
        house.ledger.set(MENDS, [*known[:place], *known[place + 1 :]], author=author, now=now)


def mended(
    name: str, time: NDArray[np.datetime64], value: Array, mends: Sequence[Mend]
) -> tuple[NDArray[np.datetime64], Array, Mask, Mask]:
    """See readings through the mends.

    Parameters
    ----------
    name : str
        Of the thermometer.
    time, value : ndarray [reading]
        As they came.
    mends : sequence of Mend

    Returns
    -------
    time, value : ndarray [reading]
    stay, settled : ndarray of bool [reading]
        Which are used, and which shall not be asked about again.
    """
    from fruitwall.learning.sensors import MISTYPED, meant

    when, out = time.copy(), value.copy()
    stay, settled = np.ones(time.size, dtype=bool), np.zeros(time.size, dtype=bool)
    for one in mends:
        if one["sensor"].casefold() != name.casefold():
            continue
        since, until = (as_datetime64(datetime.fromisoformat(one[key])) for key in ("since", "until"))
        at = (time >= since) & (time <= until)
        if one["how"] == "right":
            settled |= at
        elif one["how"] in MISTYPED:
            out[at] = meant(value[at], one["how"])
        elif one["how"] == "clock":
            when[at] = time[at] - np.timedelta64(round(one["hours"] * 3600), "s")
        elif one["how"] == "ignore":
            stay &= ~at
    return when, out, stay, settled


def as_said(name: str, given: Sequence[Reading], mends: Sequence[Mend]) -> list[Reading]:
    """Give the readings of one thermometer through the mends, in the order of their time, what is left out gone."""
    if not given or not any(one["sensor"].casefold() == name.casefold() for one in mends):
        return list(given)
    time = np.array([as_datetime64(one.at) for one in given], dtype="datetime64[s]")
    when, value, stay, _ = mended(name, time, np.array([one.value for one in given]), mends)
    order = np.argsort(when, kind="stable")
    return [replace(given[at], at=_moment(when[at]), value=float(value[at])) for at in order[stay[order]].tolist()]


# ---------------------------------------------------------------- readings beside physics


def read_thermometers(house: House, *, until: datetime | None = None) -> tuple[Read, ...]:
    """Give what every thermometer of the yard read, beside what it should have.

    Parameters
    ----------
    house : House
    until : datetime, aware, optional
        Readings before it; up to now if left out. What was worked out until a moment is kept whatever is ticked,
        planned or read after it.

    Returns
    -------
    tuple of Read
        By name; empty, without any weather being looked at, where nothing was read.
    """
    yard, version = house.yard()
    ledger = house.ledger
    end = until or house.clock()
    mark = ledger.readings_mark(until=end)
    if not mark[0]:
        return ()
    mends = mends_of(house)
    said = json.dumps([mends, ledger.setting(STATION)], sort_keys=True)
    newest = house.journal.weather_state() if until is None else ()
    key = (version.yard, version.sha256, mark, said, newest, end.replace(minute=0, second=0, microsecond=0))
    return _READS.of(house.journal, key=key, make=lambda: _read(house, yard, end, mends))


_READS: Kept[tuple[Read, ...]] = Kept(4)


def _read(house: House, yard: Yard, now: datetime, mends: Sequence[Mend]) -> tuple[Read, ...]:
    known = hung_in(yard)
    by_sensor: dict[str, list[Reading]] = {}
    for one in house.ledger.readings(since=datetime(1970, 1, 1, tzinfo=UTC), until=now, quantity=QUANTITY):
        if one.sensor.casefold() in known:
            by_sensor.setdefault(one.sensor, []).append(one)
    if not by_sensor:
        return ()
    found = []
    for name, given in sorted(by_sensor.items()):
        time = np.array([as_datetime64(one.at) for one in given], dtype="datetime64[s]")
        came = np.array([one.value for one in given])
        when, value, stay, settled = mended(name, time, came, mends)
        order = np.argsort(when, kind="stable")
        order = order[stay[order]]
        _, first = np.unique(when[order], return_index=True)
        order = order[first]
        if order.size:
            found.append((known[name.casefold()], name, when[order], value[order], came[order], settled[order]))
    if not found:
        return ()
    begin, end = min(one[2][0] for one in found), max(one[2][-1] for one in found)
    places = list({_place(one[0]): one[0] for one in found}.values())
    courses = [
        air_at(yard, places, cut) for stretch in past_stretches(house) if (cut := _cut(stretch, begin, end)) is not None
    ]
    return tuple(
        Read(hung, name, when, value, came, settled, tuple(course[_place(hung)] for course in courses))
        for hung, name, when, value, came, settled in found
    )


def _place(hung: Hung) -> tuple[object, ...]:
    """What physics asks of a thermometer."""
    return hung.tree, hung.x_m, hung.y_m, hung.height_m, hung.shield


def _cut(stretch: PastWeather, begin: np.datetime64, end: np.datetime64) -> Forcing | None:
    """Cut a stretch to the time of the readings and the days before; None where they do not meet for a day."""
    forcing = stretch.forcing
    first = max(forcing.start_utc, _moment(begin.astype("datetime64[h]")) - SPIN_UP)
    last = min(forcing.end_utc, _moment(end.astype("datetime64[h]")) + timedelta(hours=2))
    return forcing.select(first, last) if last - first >= timedelta(hours=24) else None


def _moment(time: np.datetime64) -> datetime:
    return datetime.fromtimestamp(int(time.astype("datetime64[s]").astype(np.int64)), UTC)


def air_at(yard: Yard, places: Sequence[Hung], forcing: Forcing) -> dict[tuple[object, ...], Hours]:
    """Work out what thermometers should read.

    Parameters
    ----------
    yard : Yard
    places : sequence of Hung
    forcing : Forcing
        One member.

    Returns
    -------
    dict
        By what physics asks of the thermometer: in a tree the air of its crown, or, without a shield, a twig in it;
        free the air of the yard at that height.
    """
    from fruitwall.physics.cooling import inversion_k
    from fruitwall.physics.spot import survey
    from fruitwall.physics.steps import steps_of
    from fruitwall.service.outlook import in_winter
    from fruitwall.weather.sun import sun_elevation

    location = yard.location
    steps = steps_of(forcing, 60)
    time = steps.time_utc
    elevation = sun_elevation(time, location.latitude_deg, location.longitude_deg)
    local = time + np.timedelta64(round(location.longitude_deg * 240.0), "s") - np.timedelta64(12, "h")
    night = local.astype("datetime64[D]").astype(np.int64)
    length = forcing.end_utc - forcing.start_utc
    # What sheds its leaves is bare for the whole of a stretch or not at all; over a year the winters matter.
    winter = length > OVER_SEASONS or in_winter(location.latitude_deg, (forcing.start_utc + length / 2).date())
    spots = survey(yard, [(one.tree or one.id, one.x_m, one.y_m, one.height_m) for one in places], winter=winter)
    in_trees = [at for at, one in enumerate(places) if one.tree is not None]
    crowns = _crowns(yard, [places[at] for at in in_trees], [spots[at] for at in in_trees], forcing, winter=winter)
    found: dict[tuple[object, ...], Hours] = {}
    for at, one in enumerate(places):
        if one.tree is not None:
            air = crowns[in_trees.index(at)]
        else:
            cold = location.clear_night_offset_k - spots[at].colder_k + float(inversion_k(one.height_m, 1.0))
            air = steps.t_air_c[0] + cold * steps.cooling[0]
        found[_place(one)] = Hours(time, air, steps.cooling[0], forcing.shortwave_w_m2[0], elevation, night)
    return found


def _crowns(
    yard: Yard, places: Sequence[Hung], spots: Sequence[Spot], forcing: Forcing, *, winter: bool
) -> list[Array]:
    """March uncovered trees with their thermometers."""
    from fruitwall.physics import kernel_rows as k
    from fruitwall.physics.night import simulate
    from fruitwall.physics.spot import survey_faces
    from fruitwall.physics.treatment import LEAVE, Night
    from fruitwall.service.treatments import body_of, kinds_of

    if not places:
        return []
    kinds = kinds_of(yard)
    trees = {tree.id: tree for tree in yard.trees}
    bodies = [body_of(trees[one.tree or ""], kinds[one.tree or ""]) for one in places]
    faces = survey_faces(yard, winter=winter)
    start, end = forcing.start_utc, forcing.end_utc
    night = Night(start.date(), start, end, start, end, start, end)
    at_once = max(1, int(SERIES_BYTES / (forcing.n_times * k.HISTORY_SIZE * 8)))
    found: list[Array] = []
    for first in range(0, len(places), at_once):
        some = slice(first, first + at_once)
        result = simulate(
            forcing,
            spots[some],
            bodies[some],
            [[LEAVE]] * len(bodies[some]),
            [night],
            faces=faces,
            soil=yard.ground.soil,
            moisture=yard.ground.moisture,
            step_minutes=60,
            keep_series=True,
            threads=1,
            clear_night_offset_k=yard.location.clear_night_offset_k,
        )
        if result.series is None:
            raise ValueError("simulate must keep the series when asked to")
        found += [result.series["air" if one.shield else "twig"][row, 0, 0] for row, one in enumerate(places[some])]
    return found


# ---------------------------------------------------------------- nights on which a tree was not left alone


def tended_nights(house: House) -> dict[str, frozenset[date]]:
    """Give the nights on which something was hung over a tree, lit under it, or it stood elsewhere.

    A thermometer in it then reads what was done, and teaches nothing of its spot.
    """
    yard, version = house.yard()
    key = (version.yard, version.sha256, house.journal.state())
    return _TENDED.of(house.journal, key=key, make=lambda: _tended(house, yard, version.yard))


_TENDED: Kept[dict[str, frozenset[date]]] = Kept(4)


def _tended(house: House, yard: Yard, name: str) -> dict[str, frozenset[date]]:
    from fruitwall.service.ledger import Deed, says, trees_of
    from fruitwall.service.nights_felt import nights_read
    from fruitwall.service.ticks import AFTER

    found: dict[str, set[date]] = {}

    def tended(trees: Iterable[str], night: date, key: str) -> None:
        if key.partition("@")[0] not in ("wet", "pick") and key.partition(":")[0] not in AFTER:
            for tree in trees:
                found.setdefault(tree, set()).add(night)

    for entry in house.ledger.current(kind="deed"):
        deed = says(entry)
        if isinstance(deed, Deed) and deed.night is not None:
            tended([*trees_of(entry, deed), *_trees_in(yard, deed.what)], deed.night, deed.what)
    for night in nights_read(house, name, house.clock(), back=2 * 366):
        for key in night.standing:
            tended(_trees_in(yard, key), night.night, key)
    return {tree: frozenset(nights) for tree, nights in found.items()}


def _trees_in(yard: Yard, key: str) -> list[str]:
    """Trees that the key of a task names itself."""
    name = key.partition("@")[2] or key.partition(":")[2]
    return [
        *(tree.id for tree in yard.trees if tree.id == name),
        *(tree for shelter in yard.shelters if shelter.id == name for tree in shelter.trees),
    ]
