"""Time stamps in files: text into UTC, with a zone or not at all.

A stamp needs an offset of its own or the file's named zone. Local hours that a clock change skips are refused; the
hour that it repeats is told apart by its order in the file.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import marked, say
from fruitwall.weather.forcing import as_datetime64

EXAMPLE = marked(
    '"2026-12-22T18:00-08:00", or "2026-12-22 18:00" with a line "# time zone: America/Los_Angeles" at the top'
)


def read_zone(name: str, where: str) -> ZoneInfo:
    """Give a zone by its IANA name.

    Raises
    ------
    WeatherError
        If there is none of that name.
    """
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise WeatherError(
            say(
                '{where}: no time zone is named "{name}"; expected an IANA name such as America/Los_Angeles or UTC',
                where=where,
                name=name,
            )
        ) from error


def read_stamps(texts: Sequence[str], zone: ZoneInfo | None, where: str) -> NDArray[np.datetime64]:
    """Turn the stamps of one series, in the order of the file, into UTC.

    Parameters
    ----------
    texts : sequence of str
        ISO 8601 date and time, with offset or "Z", or without where `zone` is given.
    zone : ZoneInfo or None
        Zone of the stamps that carry no offset.
    where : str
        File name for messages.

    Returns
    -------
    ndarray of datetime64[s]
        Not yet checked for order.

    Raises
    ------
    WeatherError
        If a stamp cannot be read, has no zone, or does not exist on the clock of its zone.
    """
    times: list[np.datetime64] = []
    previous: datetime | None = None
    for text in texts:
        stamp = _read_stamp(text, where)
        if stamp.tzinfo is None:
            if zone is None:
                raise WeatherError(
                    say(
                        '{where}: the time "{text}" has no time zone; write {example}',
                        where=where,
                        text=text,
                        example=say(EXAMPLE),
                    )
                )
            stamp = _on_clock(stamp, zone, previous, text, where)
        previous = stamp.astimezone(UTC)
        times.append(as_datetime64(previous))
    return np.array(times, dtype="datetime64[s]")


def _read_stamp(text: str, where: str) -> datetime:
    """Read one ISO 8601 date and time."""
    try:
        if len(text.strip()) <= 10:
            raise ValueError("only a date")
        return datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise WeatherError(
            say(
                '{where}: "{text}" is no date and time; expected {example}',
                where=where,
                text=text,
                example=say(EXAMPLE),
            )
        ) from error


def _on_clock(stamp: datetime, zone: tzinfo, previous: datetime | None, text: str, where: str) -> datetime:
    """Put a local stamp on the clock of its zone; the repeated hour is the second one if the first has passed."""
    first, second = stamp.replace(tzinfo=zone, fold=0), stamp.replace(tzinfo=zone, fold=1)
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != stamp:
        raise WeatherError(
            say(
                "{where}: the time {text} does not exist in {zone}: the clock goes forward over it. "
                'Write the times with an offset ("2026-03-08T03:00-07:00") or in UTC '
                '("2026-03-08T10:00Z")',
                where=where,
                text=text,
                zone=zone,
            )
        )
    passed = previous is not None and first.astimezone(UTC) <= previous < second.astimezone(UTC)
    return second if passed else first


def say_local(moment: datetime, zone: tzinfo) -> str:
    """Say a time on a zone's clock: ``22 December 14:00``."""
    local = moment.astimezone(zone)
    return f"{local.day} {local:%B %H:%M}"


def solar_offset(longitude_deg: float) -> timedelta:
    """Give mean solar time minus UTC at a longitude."""
    return timedelta(hours=longitude_deg / 15.0)
