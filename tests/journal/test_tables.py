"""Moments keep their meaning on the way into the database and out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy.dialects import postgresql, sqlite

from fruitwall.journal.tables import UtcDateTime

DIALECTS = [sqlite.dialect(), postgresql.dialect()]
ZONES = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
MOMENTS = st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1), timezones=ZONES)


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect.name)
@given(moment=MOMENTS)
def test_a_moment_comes_back_the_same_and_in_utc(dialect, moment):
    kind = UtcDateTime()

    stored = kind.process_bind_param(moment, dialect)
    given_back = kind.process_result_value(stored, dialect)

    assert given_back == moment
    assert given_back.tzinfo is UTC


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect.name)
def test_a_time_without_zone_is_refused(dialect):
    with pytest.raises(ValueError, match="must carry its zone, got 2026-12-22T06:30:00 without one"):
        UtcDateTime().process_bind_param(datetime(2026, 12, 22, 6, 30), dialect)


def test_no_time_stays_no_time():
    kind = UtcDateTime()

    assert kind.process_bind_param(None, DIALECTS[0]) is None
    assert kind.process_result_value(None, DIALECTS[0]) is None
