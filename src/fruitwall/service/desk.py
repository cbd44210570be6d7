"""Plans for whoever asks: made once per yard, forecast and night, then shown to all.

The server asks for a plan on every page; a plan takes seconds. `EveningsDesk` keeps them, and makes one at a time.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING

from fruitwall.errors import PlanError
from fruitwall.journal.ledger import Ledger
from fruitwall.service.earlier import done_so_far, earlier_plans, following, standing_so_far
from fruitwall.service.evening import MEMBERS, Report, plan_evening
from fruitwall.service.nights import tonight
from fruitwall.service.stages import stage_log
from fruitwall.service.ticks import asked_again
from fruitwall.service.yards import load_yard

if TYPE_CHECKING:
    from fruitwall.journal.entries import YardVersion
    from fruitwall.journal.store import Journal
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.evening_document import DoneTask, EveningPlan
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Yard

FORECAST_KEPT = timedelta(minutes=30)
"""How long a forecast is used before the source is asked again; the source's own terms may keep it longer."""

PLANS_KEPT = 8


class EveningsDesk:
    """Keeps plans for the pages.

    Parameters
    ----------
    journal : Journal
        Where yards are kept and plans are written down.
    yard_name : str or None
        Which yard; None where there is only one.
    weather : callable
        Takes the yard and the present moment, gives forecast and history (or None). Called at most every half hour.
    clock : callable
        Gives the present moment, aware.
    members : int
        Members of a dressed forecast.
    renewed : callable
        Gives something that differs once the weather was renewed elsewhere: then it is asked for again.
    beliefs : callable, optional
        Gives what the yard has taught by now; as published if left out.
    """

    def __init__(
        self,
        journal: Journal,
        yard_name: str | None,
        weather: Callable[[Yard, datetime], tuple[Forcing, Forcing | None]],
        clock: Callable[[], datetime],
        *,
        members: int = MEMBERS,
        renewed: Callable[[], object] = lambda: None,
        beliefs: Callable[[], Beliefs] | None = None,
    ) -> None:
        self._renewed = renewed
        self._beliefs = beliefs
        self._journal = journal
        self._yard_name = yard_name
        self._weather = weather
        self._clock = clock
        self._members = members
        self._lock = threading.Lock()
        self._fetched: tuple[datetime, object, Forcing, Forcing | None] | None = None
        self._plans: dict[tuple[object, ...], EveningPlan] = {}

    def yard(self) -> Yard:
        """Give the yard as it stands now."""
        return load_yard(self._journal, self._yard_name)[0]

    def plan_for(self, night: date | None = None, *, report: Report = lambda _: None) -> EveningPlan:
        """Give the plan of a night, of tonight for None; a kept one if nothing has changed since.

        Parameters
        ----------
        night : date or None
        report : callable
            Told what is being done while a plan is made.

        Raises
        ------
        FruitwallError
            As `plan_evening`, and what the weather source says.
        """
        now = self._clock()
        yard, version = load_yard(self._journal, self._yard_name)
        day = night or tonight(yard.location, now)
        with self._lock:
            fetched, forecast, history = self._current_weather(yard, version, now)
            # What is done may be told elsewhere, at the terminal; the journal knows.
            earlier = earlier_plans(self._journal, version.yard, day)
            done = done_so_far((), earlier, now)
            standing = standing_so_far((), earlier)

            beliefs = self._beliefs() if self._beliefs is not None else None
            mark = beliefs.mark if beliefs is not None else ()
            carried = stage_log(self._journal, version.yard).carried(yard, version, now)
            mark = (mark, tuple(sorted((name, repr(its)) for name, its in carried.items())))

            def key_of(told: Sequence[DoneTask]) -> tuple[object, ...]:
                return version.sha256, day, fetched, tuple((task.key, task.at) for task in told), standing, mark

            key = key_of(done)
            if not asked_again(Ledger(self._journal, version.yard), day, done):
                # A tick alone does not make the plan anew under somebody's hands: it is shown beside the old one
                # until somebody asks, or the plan has to be made for another reason.
                as_planned = key_of(earlier.tonight.done if earlier.tonight is not None else ())
                key = as_planned if as_planned in self._plans else key
            if key in self._plans and not _same_done(self._plans[key], earlier.tonight):
                # A tick taken back leads back to a plan that was kept; the journal, which all others read, has moved
                # on since. So it is made again, stored, and told what it takes back.
                del self._plans[key]
            if key not in self._plans:
                make = partial(
                    plan_evening,
                    yard,
                    forecast,
                    now=now,
                    night=day,
                    history=history,
                    members=self._members,
                    report=report,
                    standing=standing,
                    last=earlier.last,
                    before=earlier.tonight,
                    beliefs=beliefs,
                    carried=carried,
                )
                try:
                    plan = make(done=done)
                except PlanError:
                    # Left as it was done, but the yard has nothing of the kind any more: the rest is planned all the
                    # same, and the page goes on telling of it.
                    known = tuple(task for task in done if task.key not in earlier.ticks.left)
                    if known == done:
                        raise
                    plan = make(done=known)
                plan = following(plan, earlier)
                self._journal.store_plan(day, plan.model_dump_json(), version=version, made=now)
                self._plans[key] = plan
                while len(self._plans) > PLANS_KEPT:
                    del self._plans[next(iter(self._plans))]
            return self._plans[key]

    def _current_weather(
        self, yard: Yard, version: YardVersion, now: datetime
    ) -> tuple[datetime, Forcing, Forcing | None]:
        """Give the kept forecast, or ask for a new one when it is old or the yard has changed."""
        kept = self._fetched
        stamp = version.sha256, self._renewed()
        if kept is None or kept[1] != stamp or not timedelta(0) <= now - kept[0] < FORECAST_KEPT:
            kept = self._fetched = (now, stamp, *self._weather(yard, now))
        return kept[0], kept[2], kept[3]


def _same_done(plan: EveningPlan, stored: EveningPlan | None) -> bool:
    """Tell whether a plan knows the same to be done as the one stored last."""
    return stored is None or {task.key for task in plan.done} == {task.key for task in stored.done}
