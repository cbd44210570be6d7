"""What is asked of the database to tell whether anything changed; see `Journal.state`."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, Select, Table, func, literal_column, select

from fruitwall.journal.tables import forecasts, ledger_entries, plans, readings, settings, yard_versions

MEMO = "season.calendar"
"""Setting that no other thing is made of: what calendars were told last. Storing it makes no other `Journal.state`."""


def _counts(*looked_at: Table) -> Select[Any]:
    return select(*(_loud(select(func.count()), table).scalar_subquery() for table in looked_at))


def _last_rows(*looked_at: Table) -> Select[Any]:
    rows: ColumnElement[int] = func.max(literal_column("rowid"))
    return select(*(_loud(select(rows), table).scalar_subquery() for table in looked_at))


def _loud(asked: Select[Any], table: Table) -> Select[Any]:
    asked = asked.select_from(table)
    return asked.where(table.c.key != MEMO) if table is settings else asked


_LOOKED_AT = (yard_versions, plans, settings, ledger_entries)
COUNTS, LAST_ROWS = _counts(*_LOOKED_AT), _last_rows(*_LOOKED_AT)
WEATHER_COUNTS, WEATHER_LAST_ROWS = _counts(readings, forecasts), _last_rows(readings, forecasts)
