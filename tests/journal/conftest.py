"""A journal of its own for every test, in either kind of database; see `tests.databases`."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.journal.store import Journal


@pytest.fixture
def journal(place: str) -> Iterator[Journal]:
    """A new, empty journal in either kind of database."""
    with open_journal(place) as opened:
        yield opened


@pytest.fixture
def later(now: datetime) -> datetime:
    """An hour after `now`."""
    return now + timedelta(hours=1)
