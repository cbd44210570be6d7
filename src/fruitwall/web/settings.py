"""What the pages need from outside, handed in once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING

from fruitwall.web.access.reach import Reach

if TYPE_CHECKING:
    from fruitwall.service.evening_document import EveningPlan
    from fruitwall.service.house import House
    from fruitwall.service.weather_desk import WeatherDesk
    from fruitwall.yard.model import Yard

LOCAL_HOSTS = ("127.0.0.1", "localhost", "::1")
"""Names under which a server that listens on this machine alone is reached."""


@dataclass(frozen=True)
class WebSettings:
    """Everything an application is made from; two of them can live in one process.

    Attributes
    ----------
    plan_for : callable
        Gives the evening plan of a night named by the date of its evening, or of tonight for None. Called once for
        each page and from several threads: whoever hands it in keeps plans that are dear to make. Errors of the
        `FruitwallError` family are shown to the reader as they are.
    yard : callable
        Gives the yard as it stands now.
    now : callable
        Gives the present moment, aware of its zone.
    patience_s : float
        How long a page waits for its plan before it is answered by one that says that the plan is being made.
    hosts : tuple of str
        Host names to which the server answers, without port. A page that another site makes a browser ask for
        under a name of its own (DNS rebinding) gets no answer.
    house : House or None
        The household whose yard, ledger and accounts the pages change; without one they only show plans.
    weather : WeatherDesk or None
        Where the weather comes from and can be asked for; None where it is fixed.
    reach : Reach
        How the server can be reached, and what log-ins need; left out: from this machine only.
    """

    plan_for: Callable[[date | None], EveningPlan]
    yard: Callable[[], Yard]
    now: Callable[[], datetime]
    patience_s: float = 2.0
    hosts: tuple[str, ...] = LOCAL_HOSTS
    house: House | None = None
    weather: WeatherDesk | None = None
    reach: Reach = field(default_factory=Reach)
