"""From rows of the tables to the records of `journal.entries`, each checked against its digest on the way."""

from __future__ import annotations

import hashlib
import zlib
from typing import Any

from sqlalchemy import Connection, Row, Select, select

from fruitwall.errors import JournalError, NoYard
from fruitwall.journal.entries import CLIMATE_TYPE, StoredForecast, StoredPlan, YardVersion
from fruitwall.journal.tables import forecasts, plans, settings, yard_versions, yards
from fruitwall.speech import say

SHOWN = "shown"
"""Setting of a yard: true when it was chosen to be shown, false when it was put away."""

versions = select(
    yard_versions.c.id,
    yards.c.name.label("yard"),
    yard_versions.c.number,
    yard_versions.c.created_utc.label("created"),
    yard_versions.c.author,
    yard_versions.c.text,
    yard_versions.c.sha256,
    yard_versions.c.restores,
).join(yards, yards.c.id == yard_versions.c.yard_id)
"""Columns named as the fields of a `YardVersion`."""

stored_forecasts = select(
    forecasts.c.id,
    yards.c.name.label("yard"),
    forecasts.c.source,
    forecasts.c.issued_utc.label("issued"),
    forecasts.c.fetched_utc.label("fetched"),
    forecasts.c.media_type,
    forecasts.c.body_zlib,
    forecasts.c.sha256,
).join(yards, yards.c.id == forecasts.c.yard_id)
"""Columns named as the fields of a `StoredForecast`, its body still compressed."""

stored_plans = select(
    plans.c.id,
    yards.c.name.label("yard"),
    plans.c.yard_version_id.label("yard_version"),
    plans.c.night,
    plans.c.made_utc.label("made"),
    plans.c.forecast_id.label("forecast"),
    plans.c.document,
    plans.c.sha256,
).join(yards, yards.c.id == plans.c.yard_id)
"""Columns named as the fields of a `StoredPlan`."""


def newest_version(yard_id: int) -> Select[*tuple[Any, ...]]:
    """Ask for the current version of a yard."""
    return versions.where(yards.c.id == yard_id).order_by(yard_versions.c.number.desc()).limit(1)


def read_version(row: Row[*tuple[Any, ...]], place: str) -> YardVersion:
    """Make the record of a version."""
    version = YardVersion(**row._asdict())
    _check(
        place,
        say('version {number} of "{yard}"', number=version.number, yard=version.yard),
        version.text.encode(),
        version.sha256,
    )
    return version


def read_plan(row: Row[*tuple[Any, ...]], place: str) -> StoredPlan:
    """Make the record of a plan."""
    plan = StoredPlan(**row._asdict())
    _check(place, say("plan {number}", number=plan.id), plan.document.encode(), plan.sha256)
    return plan


def find_forecast(connection: Connection, number: int, place: str) -> StoredForecast:
    """Find a forecast by its number."""
    row = connection.execute(stored_forecasts.where(forecasts.c.id == number)).first()
    if row is None:
        raise JournalError(say("{place} holds no forecast number {number}", place=place, number=number))
    return read_forecast(row, place)


def newest_forecast(yard_id: int, *, climate: bool = False) -> Select[*tuple[Any, ...]]:
    """Ask for the forecast of a yard that was fetched last, or for the last weather of other years."""
    is_climate = forecasts.c.media_type == CLIMATE_TYPE
    latest = stored_forecasts.where(forecasts.c.yard_id == yard_id, is_climate if climate else ~is_climate)
    return latest.order_by(forecasts.c.fetched_utc.desc(), forecasts.c.id.desc()).limit(1)


def read_forecast(row: Row[*tuple[Any, ...]], place: str) -> StoredForecast:
    """Make the record of a forecast."""
    values = row._asdict()
    what = say("forecast {number}", number=values["id"])
    try:
        body = zlib.decompress(values.pop("body_zlib"))
    except zlib.error as error:
        raise changed(place, what) from error
    _check(place, what, body, values["sha256"])
    return StoredForecast(**values, body=body)


def find_yard(connection: Connection, name: str | None, place: str) -> int:
    """Find the number of a yard by its name, or of the one that is shown.

    Without a name it is the only yard that is not put away; of several the one last chosen, by the newest
    `SHOWN` of the settings.
    """
    rows = connection.execute(select(yards.c.name, yards.c.id).order_by(yards.c.name))
    known: dict[str, int] = {row.name: row.id for row in rows}
    if not known:
        raise NoYard(say("{place} holds no yard yet. Store one with: fruitwall yard import FILE", place=place))
    if name is not None and name in known:
        return known[name]
    names = ", ".join(f'"{each}"' for each in known)
    if name is not None:
        raise JournalError(
            say('{place} holds no yard named "{name}"; it has {names}', place=place, name=name, names=names)
        )
    chosen = select(settings.c.yard_id, settings.c.value).where(settings.c.key == SHOWN).order_by(settings.c.id)
    told: dict[int, str] = {}
    for row in connection.execute(chosen):
        told.pop(row.yard_id, None)  # the newest stands last
        told[row.yard_id] = row.value
    left = [one for one in known.values() if told.get(one) != "false"]
    if not left:
        raise NoYard(
            say("{place}: every yard is put away: {names}; choose one with --yard NAME", place=place, names=names)
        )
    if len(left) == 1:
        return left[0]
    picked = next((one for one in reversed(told) if told[one] == "true" and one in left), None)
    if picked is None:
        raise JournalError(
            say(
                "{place} holds several yards: {names}; choose one with --yard NAME (yard export: NAME alone)",
                place=place,
                names=names,
            )
        )
    return picked


def _check(place: str, what: str, content: bytes, digest: str) -> None:
    """Refuse content that is no longer what was stored."""
    if hashlib.sha256(content).hexdigest() != digest:
        raise changed(place, what)


def changed(place: str, what: str) -> JournalError:
    """Say that something is no longer what was stored."""
    return JournalError(say("{place}: {what} is no longer what was stored; restore a backup", place=place, what=what))
