"""Lists of what is stored, without the long documents."""

from __future__ import annotations

from datetime import date

from sqlalchemy import select

from fruitwall.journal.entries import ForecastSummary, PlanSummary
from fruitwall.journal.rows import find_yard
from fruitwall.journal.store import Journal
from fruitwall.journal.tables import forecasts, plans, yard_versions


def plans_made(
    journal: Journal, *, since: date | None = None, until: date | None = None, yard: str | None = None
) -> list[PlanSummary]:
    """List the evening plans that were stored.

    Parameters
    ----------
    journal : Journal
    since, until : date, optional
        Only those of nights that begin then: `since` included, `until` not.
    yard : str, optional
        As for `Journal.current_yard`.

    Returns
    -------
    list of PlanSummary
        By night, and of one night by when they were made.
    """
    query = select(plans.c.id, plans.c.night, plans.c.made_utc, yard_versions.c.number).join(
        yard_versions, yard_versions.c.id == plans.c.yard_version_id
    )
    if since is not None:
        query = query.where(plans.c.night >= since)
    if until is not None:
        query = query.where(plans.c.night < until)
    with journal.reading() as connection:
        query = query.where(plans.c.yard_id == find_yard(connection, yard, journal.place))
        return [
            PlanSummary(*row) for row in connection.execute(query.order_by(plans.c.night, plans.c.made_utc, plans.c.id))
        ]


def forecasts_kept(journal: Journal, *, media_type: str, yard: str | None = None) -> list[ForecastSummary]:
    """List the forecasts that were stored in one form.

    Parameters
    ----------
    journal : Journal
    media_type : str
        What their bytes are.
    yard : str, optional
        As for `Journal.current_yard`.

    Returns
    -------
    list of ForecastSummary
        By when they were issued, and of one issue by when they were fetched.
    """
    query = select(forecasts.c.id, forecasts.c.issued_utc, forecasts.c.fetched_utc)
    with journal.reading() as connection:
        query = query.where(
            forecasts.c.yard_id == find_yard(connection, yard, journal.place), forecasts.c.media_type == media_type
        )
        ordered = query.order_by(forecasts.c.issued_utc, forecasts.c.fetched_utc, forecasts.c.id)
        return [ForecastSummary(*row) for row in connection.execute(ordered)]
