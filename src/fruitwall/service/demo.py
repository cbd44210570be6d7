"""The demo: an invented yard on a real cold evening, in a database of its own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fruitwall.service.climate import use_packaged_years
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.yards import check_yard_text, import_yard

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal


def demo_database() -> Path:
    """Give the file of the demo's journal, apart from the user's own."""
    from platformdirs import user_data_path

    return user_data_path("fruitwall", appauthor=False) / "demo.db"


def demo_desk(journal: Journal) -> EveningsDesk:
    """Put the demo yard into a journal and give a desk that plans its evening.

    The clock stands still in the afternoon of the demo evening; the weather is a real cold spell (see
    `weather.demo`), its past days as history and the coming ones as the forecast.
    """
    from fruitwall.weather.demo import demo_forcing, demo_now
    from fruitwall.yard.demo import demo_yard_text

    now = demo_now()
    checked = check_yard_text(demo_yard_text(), "demo_yard.yaml")
    import_yard(journal, checked, now=now, author="demo")
    use_packaged_years(journal, checked.yard.name, now=now)
    forcing = demo_forcing()
    return EveningsDesk(journal, checked.yard.name, lambda _yard, _now: (forcing, None), lambda: now)
