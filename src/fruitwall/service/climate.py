"""Which weather of other years is known for a yard.

It comes from what the user gave (a file, or a public archive asked over the network), from earlier winters that the
journal itself knows, and in the demo from a few packaged years. What was given is kept in the journal beside the
forecasts, under a media type of its own, so that it never counts as a forecast and goes into every backup.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fruitwall.errors import JournalError, WeatherError, noting_errors
from fruitwall.journal.ledger import Ledger
from fruitwall.service.kept import Kept
from fruitwall.speech import Told, say, told

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal
    from fruitwall.service.house import House
    from fruitwall.weather.archive.likeness import Likeness
    from fruitwall.weather.climate import Climate
    from fruitwall.weather.forcing import Forcing
    from fruitwall.weather.place import Place
    from fruitwall.yard.model import Location

PACKAGED = "climate_packaged"
"""Setting of a yard: true where the packaged years of the demo's place stand for its climate, `DECADES` where those of
the demo of decades do."""

DECADES = "decades"

LEFT_OUT = "climate_left_out"
"""Setting of a yard: numbers of given years that are not used any more; they stay in the journal."""

BLENDED = "climate_blended"
"""Setting of a yard: numbers of given years that were blended of others, before which they go."""

MOST_YEARS = 40
"""Years that may be asked of the archive at once."""

BETWEEN_QUESTIONS_S = 1.0
"""Pause between two questions to the archive, so that it is not pressed. Our judgement. [s]"""

OVERLAP_SHARE = 0.5
"""Years of which at least so much is known from a better source are left out. Our judgement. [-]"""

MADE_UP = ("daily extremes were turned", "no wind given", "no humidity given", "air blended")
"""How notes begin of years whose wind or dew point nobody measured: nothing is drawn from them."""

MOST_DAYS = 3653
"""Days to draw from, the newest. Our judgement. [d]"""

FEW_YEARS = 10
"""With fewer years chances are rough: one that happens in one winter of ten is missed as often as not. Our judgement:
World Meteorological Organization normals are over 30."""


@dataclass(frozen=True, eq=False)
class GivenYears:
    """One stretch of other years' weather that was given.

    Attributes
    ----------
    number : int
        By which it can be left out.
    forcing : Forcing
    fetched : datetime
        When it was given.
    """

    number: int
    forcing: Forcing
    fetched: datetime


def climate_of(house: House) -> Climate | None:
    """Give the weather of other years that is known for a yard.

    Parameters
    ----------
    house : House

    Returns
    -------
    Climate or None
        None where nothing is known. What was given comes first; a winter of the journal or of the packaged years
        that it covers already is left out. The present year, from midsummer on, is never part of it.
    """
    yard, version = house.yard()
    now = house.clock().replace(minute=0, second=0, microsecond=0)
    key = (version.yard, version.number, house.journal.state(), house.journal.weather_state(), now)
    return _CLIMATE.of(house.journal, key=key, make=lambda: _climate(house, yard.location))


_CLIMATE: Kept[Climate | None] = Kept(4)


def given_years(house: House) -> list[GivenYears]:
    """Give what was given and is still used, in the order in which it came."""
    from fruitwall.journal.entries import CLIMATE_TYPE
    from fruitwall.journal.listing import forecasts_kept

    _, version = house.yard()
    out = _left_out(house)
    kept = forecasts_kept(house.journal, media_type=CLIMATE_TYPE, yard=version.yard)
    found = []
    for one in sorted(kept, key=lambda each: each.id):
        forcing = None if one.id in out else _unpacked(house.journal, one.id)
        if forcing is not None:
            found.append(GivenYears(one.id, forcing, one.fetched))
    return found


def keep_years(house: House, forcing: Forcing) -> GivenYears:
    """Keep weather of other years in the journal.

    Parameters
    ----------
    house : House
    forcing : Forcing
        One member, of a place near the yard.

    Returns
    -------
    GivenYears

    Raises
    ------
    WeatherError
        If it is of another place, or too short.
    """
    from fruitwall.journal.entries import CLIMATE_TYPE
    from fruitwall.journal.forcing_file import pack_forcing
    from fruitwall.weather.climate import SHORTEST_WINTER_H, season_years

    yard, version = house.yard()
    _check_place(forcing, yard.location)
    if not season_years(forcing):
        raise WeatherError(
            say(
                "{source}: holds {days:.0f} days; at least {least} days on end are needed to say anything of a winter",
                source=forcing.source,
                days=forcing.n_times / 24,
                least=SHORTEST_WINTER_H // 24,
            )
        )
    stored = house.journal.store_forecast(
        pack_forcing(forcing),
        yard=version.yard,
        source=forcing.source[:200],
        issued=forcing.issued_utc,
        fetched=house.clock(),
        media_type=CLIMATE_TYPE,
    )
    return GivenYears(stored.id, forcing, stored.fetched)


def add_years(house: House, files: Path | Sequence[Path], *, place: Place | None = None) -> list[GivenYears]:
    """Read past weather and keep it as weather of other years.

    Parameters
    ----------
    house : House
    files : Path or sequence of Path
        Of one station or grid point, in any of the formats of docs/climate.md; a file for each year goes together.
    place : Place, optional
        Where it holds, for files that do not say so; by default the yard's place, with a note.

    Returns
    -------
    list of GivenYears
        The pieces between long holes, oldest first.

    Raises
    ------
    WeatherError
        If they cannot be used; nothing is kept then.
    """
    from fruitwall.weather.archive.reading import read_archive
    from fruitwall.weather.place import Place

    yard, _ = house.yard()
    at = yard.location
    here = Place(at.latitude_deg, at.longitude_deg, at.elevation_m)
    paths = [files] if isinstance(files, Path) else list(files)
    pieces = read_archive(paths, place=place or here, likeness=near_days(house))
    for piece in pieces:
        _check_place(piece, at)
    first = pieces[0]
    if place is None and (first.latitude_deg, first.longitude_deg, first.elevation_m) == (
        here.latitude_deg,
        here.longitude_deg,
        here.elevation_m,
    ):
        note = told("the file does not say where it holds; it is taken to hold at the yard")
        pieces = tuple(piece.with_warnings(note) for piece in pieces)
    return [keep_years(house, piece) for piece in pieces]


def near_days(house: House) -> Likeness | None:
    """Give days of near hourly records from which days of daily ones are drawn; None where too few are known."""
    from fruitwall.weather.archive.likeness import FEWEST_DAYS, joined, likeness_of

    yard, _ = house.yard()
    at = yard.location
    measured = [
        one.forcing
        for one in given_years(house)
        if is_near(one.forcing, at) and not any(str(note).startswith(MADE_UP) for note in one.forcing.warnings)
    ]
    if not measured:
        return None
    newest = sorted(measured, key=lambda one: one.time_utc[-1])
    days = joined([likeness_of(forcing, number) for number, forcing in enumerate(newest)])
    days = days.take(np.arange(days.count) >= days.count - MOST_DAYS)
    middle = 15 if at.latitude_deg >= 0 else 197
    cold = np.abs((days.day_of_year - middle + 182.6) % 365.25 - 182.6) <= 91
    return days if int(cold.sum()) >= FEWEST_DAYS else None


def fetch_years(
    house: House,
    years: int,
    *,
    contact: str,
    ask: Callable[[str], str] | None = None,
    pause: Callable[[float], None] = time.sleep,
    heard: Callable[[int, int], None] = lambda _done, _all: None,
) -> list[GivenYears]:
    """Ask the public archive for the last years, one at a time, and keep each as it comes.

    Parameters
    ----------
    house : House
    years : int
        How many, from midsummer to midsummer; the present one is not asked for.
    contact : str
        Whom the service may write to.
    ask : callable, optional
        Gives what an address answers; by default it asks the network.
    pause : callable
        Waits for some seconds between two questions.
    heard : callable
        Told after each year how many are there and how many were wanted.

    Returns
    -------
    list of GivenYears
        Those that are new. Years that were fetched before are not asked for again.

    Raises
    ------
    ValueError
        If `years` is outside 1 to `MOST_YEARS`.
    WeatherError
        If the archive cannot be asked; years that came before stay kept.
    """
    if not 1 <= years <= MOST_YEARS:
        raise ValueError(f"years must be at least 1 and at most {MOST_YEARS}, got {years}")
    from fruitwall.weather.fetch import fetch
    from fruitwall.weather.sources.open_meteo import ARCHIVE_SOURCE

    if ask is None:

        def ask(url: str) -> str:
            return fetch(url, now=house.clock(), contact=contact).text

    yard, _ = house.yard()
    at = yard.location
    begin = season_begin(house.clock(), at.latitude_deg)
    have = {
        one.forcing.start_utc.date()
        for one in given_years(house)
        if one.forcing.source == ARCHIVE_SOURCE and is_near(one.forcing, at)
    }
    wanted = [date(begin.year - back, begin.month, 1) for back in range(years, 0, -1)]
    new: list[GivenYears] = []
    for first in wanted:
        if first not in have:
            if new:
                pause(BETWEEN_QUESTIONS_S)
            new.append(keep_years(house, _asked(at, first, ask)))
        heard(len(have.intersection(wanted)) + len(new), years)
    return new


def _asked(at: Location, first: date, ask: Callable[[str], str]) -> Forcing:
    """Ask the archive for one year."""
    from fruitwall.weather.fetch import host_of
    from fruitwall.weather.place import Place
    from fruitwall.weather.sources.forecast import parse_json
    from fruitwall.weather.sources.open_meteo import archive_url, parse_archive

    last = date(first.year + 1, first.month, 1) - timedelta(days=1)
    url = archive_url(at.latitude_deg, at.longitude_deg, at.elevation_m, first, last)
    place = Place(at.latitude_deg, at.longitude_deg, at.elevation_m)
    with noting_errors():
        return parse_archive(parse_json(ask(url), host_of(url)), where=host_of(url), place=place)


def leave_out(house: House, number: int, *, author: str) -> None:
    """Use a given stretch no more; it stays in the journal.

    Raises
    ------
    WeatherError
        If there is none of that number.
    """
    if number not in {one.number for one in given_years(house)}:
        raise WeatherError(say("No weather of other years has the number {number}.", number=number))
    house.ledger.set(LEFT_OUT, sorted({*_left_out(house), number}), author=author, now=house.clock())


def season_begin(now: datetime, latitude_deg: float) -> datetime:
    """Give the midsummer from which the present year counts: 1 July, south of the equator 1 January, 00:00 UTC."""
    moment = now.astimezone(UTC)
    month = 7 if latitude_deg >= 0 else 1
    return datetime(moment.year - (moment.month < month), month, 1, tzinfo=UTC)


def _left_out(house: House) -> set[int]:
    numbers = house.ledger.setting(LEFT_OUT)
    return {one for one in numbers if isinstance(one, int)} if isinstance(numbers, list) else set()


def _unpacked(journal: Journal, number: int) -> Forcing | None:
    """Read a kept stretch; None for one that cannot be read any more."""
    from fruitwall.journal.forcing_file import unpack_forcing

    def make() -> Forcing | None:
        try:
            return unpack_forcing(journal.forecast(number).body)
        except JournalError:
            return None

    return _UNPACKED.of(journal, key=number, make=make)


_UNPACKED: Kept[Forcing | None] = Kept(64)


def _check_place(forcing: Forcing, at: Location) -> None:
    """Refuse weather of another place."""
    from fruitwall.weather.place import Place
    from fruitwall.weather.usable import FARTHEST_KM

    here = Place(at.latitude_deg, at.longitude_deg, at.elevation_m)
    there = Place(forcing.latitude_deg, forcing.longitude_deg, forcing.elevation_m)
    if not is_near(forcing, at):
        raise WeatherError(
            say(
                "{source}: is for another place, {words}, {distance_km:.0f} km from the yard at "
                "{here}; at most {most_km:.0f} km are accepted",
                source=forcing.source,
                words=there.words(),
                distance_km=here.distance_km(there),
                here=here.words(),
                most_km=FARTHEST_KM,
            )
        )


def is_near(forcing: Forcing, at: Location) -> bool:
    """Tell whether weather is of the yard's place, which may have been set anew since."""
    from fruitwall.weather.place import Place
    from fruitwall.weather.usable import FARTHEST_KM

    here = Place(at.latitude_deg, at.longitude_deg, at.elevation_m)
    there = Place(forcing.latitude_deg, forcing.longitude_deg, forcing.elevation_m)
    return here.distance_km(there) <= FARTHEST_KM


def _climate(house: House, at: Location) -> Climate | None:
    """Put the years together, the best source first."""
    from fruitwall.service.past_weather import past_stretches
    from fruitwall.weather.climate import Climate, season_years
    from fruitwall.weather.usable import HEIGHT_DOUBT_M

    begin = season_begin(house.clock(), at.latitude_deg)
    blended = house.ledger.setting(BLENDED)
    first = set(blended) if isinstance(blended, list) else set()
    given = [one.forcing for one in sorted(given_years(house), key=lambda one: (one.number not in first, one.number))]
    near = [one for one in given if is_near(one, at)]
    own = [_as_own(stretch.forcing) for stretch in past_stretches(house)]
    packaged = _packaged_years(house) if not near else []
    years: list[Forcing] = []
    for forcing in [*near, *own]:
        for year in season_years(forcing):
            if year.end_utc <= begin and not _covered(year, years):
                years.append(year)
    years += [one for one in packaged if not _covered(one, years)]
    if not years:
        return None
    notes: list[str] = []
    if len(given) > len(near):
        out = len(given) - len(near)
        notes.append(told("weather that was given for another place is left out: {count}", count=out))
    heights = dict.fromkeys(round(abs(one.elevation_m - at.elevation_m)) for one in years)
    notes += [
        told("other years are of a place {height} m higher or lower than the yard", height=height)
        for height in heights
        if height > HEIGHT_DOUBT_M
    ]
    if len(years) < FEW_YEARS:
        notes.append(
            told(
                "only {count} other years are known, and a hard winter may not be among them: chances are rough. "
                "`fruitwall climate fetch` gets more",
                count=len(years),
            )
        )
    source = _together(list(dict.fromkeys(one.source for one in years)))
    notes += [note for one in years for note in one.warnings]
    return Climate(tuple(years), source, tuple(dict.fromkeys(notes)))


def _together(sources: Sequence[str]) -> str:
    """Name all sources in one text that can be said again."""
    if len(sources) == 1:
        return sources[0]
    first = sources[0] if isinstance(sources[0], Told) else told(sources[0])
    return told("{first}; {more}", first=first, more=_together(sources[1:]))


def _as_own(forcing: Forcing) -> Forcing:
    """Name what the journal knows for what it is."""
    return replace(forcing, source=told("what was kept here of forecasts and readings"))


def _covered(year: Forcing, others: Sequence[Forcing]) -> bool:
    """Tell whether a good part of a year is among others."""
    from fruitwall.weather.forcing import HOUR

    # Every hour of a forcing is there, so that first and last tell; sixty years would take seconds stamp by stamp.
    known = sum(
        max(int((min(year.time_utc[-1], one.time_utc[-1]) - max(year.time_utc[0], one.time_utc[0])) // HOUR) + 1, 0)
        for one in others
    )
    return known >= OVERLAP_SHARE * year.n_times


def _packaged_years(house: House) -> list[Forcing]:
    """Give the packaged years of the demo's place, where they stand for the yard's."""
    which = house.ledger.setting(PACKAGED)
    if which == DECADES:
        from fruitwall.weather.demo_decades import decades_years

        return list(decades_years())
    if which is not True:
        return []
    from fruitwall.weather.demo_climate import demo_years

    return list(demo_years())


def use_packaged_years(journal: Journal, yard_name: str, *, now: datetime, decades: bool = False) -> None:
    """Let the packaged years of the demo's place, or of its demo of decades, stand for the climate of a yard."""
    ledger = Ledger(journal, yard_name)
    which = DECADES if decades else True
    if ledger.setting(PACKAGED) != which:
        ledger.set(PACKAGED, which, author="demo", now=now)
