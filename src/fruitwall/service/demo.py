"""The demo: an invented yard on a real cold evening, in a database of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fruitwall.service.climate import use_packaged_years
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.yards import check_yard_text, import_yard

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal
    from fruitwall.weather.forcing import Forcing


def demo_database() -> Path:
    """Give the file of the demo's journal, apart from the user's own."""
    from platformdirs import user_data_path

    return user_data_path("fruitwall", appauthor=False) / "demo.db"


def decades_database() -> Path:
    """Give the file of the journal of the demo of decades."""
    from platformdirs import user_data_path

    return user_data_path("fruitwall", appauthor=False) / "demo-decades.db"


def summer_database() -> Path:
    """Give the file of the journal of the demo's hot spell."""
    from platformdirs import user_data_path

    return user_data_path("fruitwall", appauthor=False) / "demo-summer.db"


def keep_decades(journal: Journal, yard: str) -> None:
    """Put the forecast of the demo of decades into a journal; one that holds it stays as it is."""
    from fruitwall.journal.forcing_file import MEDIA_TYPE
    from fruitwall.journal.listing import forecasts_kept
    from fruitwall.service.forecasts import keep_forecast
    from fruitwall.weather.demo_decades import decades_forcing

    spell = decades_forcing()
    if spell.issued_utc not in {one.issued for one in forecasts_kept(journal, media_type=MEDIA_TYPE, yard=yard)}:
        keep_forecast(journal, yard, spell, fetched=spell.issued_utc)


def keep_weather(journal: Journal, yard: str, *, summer: bool = False, since: datetime | None = None) -> None:
    """Put the year before the demo's evening, and its forecast, into a journal; one that holds them stays as it is.

    Parameters
    ----------
    journal : Journal
    yard : str
        Name of the yard.
    summer : bool
        Whether the demo stands in its hot spell; what comes later has not happened yet.
    since : datetime, aware, optional
        What is before is left out: a journal of two winters has it already.
    """
    from fruitwall.journal.forcing_file import MEDIA_TYPE
    from fruitwall.journal.listing import forecasts_kept
    from fruitwall.service.forecasts import keep_forecast
    from fruitwall.weather.demo import demo_forcing, demo_summer_forcing, demo_year

    spell = demo_summer_forcing() if summer else demo_forcing()
    year = demo_year()
    year = year.select(since or year.start_utc, min(spell.start_utc, year.end_utc))
    year = replace(year, issued_utc=year.end_utc, n_history=year.n_times)
    use_packaged_years(journal, yard, now=spell.issued_utc)
    kept = {one.issued for one in forecasts_kept(journal, media_type=MEDIA_TYPE, yard=yard)}
    for forcing in (year, spell):
        if forcing.issued_utc not in kept:
            keep_forecast(journal, yard, forcing, fetched=forcing.issued_utc)


def summer_desk(journal: Journal) -> EveningsDesk:
    """Put the demo yard into a journal on an afternoon of a hot spell, with the year before it."""
    from fruitwall.weather.demo import demo_summer_forcing, demo_summer_now

    now = demo_summer_now()
    return _desk(journal, now, demo_summer_forcing())


def decades_desk(journal: Journal) -> EveningsDesk:
    """Put the demo's trees and gear into a journal as a yard in Florida with fifty real winters.

    The clock stands still on the afternoon of a hard freeze of December 2022, played back in 2026.
    """
    from fruitwall.weather.demo_decades import decades_forcing, decades_now
    from fruitwall.yard.demo import demo_yard, moved_yard
    from fruitwall.yard.file import write_yard

    now, forcing = decades_now(), decades_forcing()
    checked = check_yard_text(write_yard(moved_yard(demo_yard())), "demo_decades.yaml")
    import_yard(journal, checked, now=now, author="demo")
    use_packaged_years(journal, checked.yard.name, now=now, decades=True)
    return EveningsDesk(journal, checked.yard.name, lambda _yard, _now: (forcing, None), lambda: now)


def demo_desk(journal: Journal) -> EveningsDesk:
    """Put the demo yard into a journal and give a desk that plans its evening.

    The clock stands still in the afternoon of the demo evening; the weather is a real cold spell (see
    `weather.demo`), its past days as history and the coming ones as the forecast.
    """
    from fruitwall.weather.demo import demo_forcing, demo_now

    return _desk(journal, demo_now(), demo_forcing())


def _desk(journal: Journal, now: datetime, forcing: Forcing) -> EveningsDesk:
    from fruitwall.yard.demo import demo_yard_text

    checked = check_yard_text(demo_yard_text(), "demo_yard.yaml")
    import_yard(journal, checked, now=now, author="demo")
    use_packaged_years(journal, checked.yard.name, now=now)
    return EveningsDesk(journal, checked.yard.name, lambda _yard, _now: (forcing, None), lambda: now)
