"""House rules side by side on the same winters, as a document: what page, terminal and JSON show."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from fruitwall.service.evening_document import Document, Probability
from fruitwall.service.winters_search_document import Around

MONEY = "In the household's currency, a winter"


class RuleTold(Document):
    """One house rule."""

    trees: str = Field(
        description="all, potted, planted, taxon:<scientific name> or tree:<identifier>",
        examples=["potted", "tree:pot-lemon"],
    )
    way: Literal["below", "never", "may_kill", "as_now"]
    cover_below_c: float | None = Field(description="Told minimum at or below which it is covered; null: never")
    heat_below_c: float | None = Field(description="The same for warmth under the cover")
    carry_below_c: float | None = Field(description="The same for carrying")
    if_death: Probability = Field(description="Least chance of death for which it is protected, where the way is so")


class ShortNight(Document):
    """A night on which people or gear did not suffice for all that the rules asked for."""

    winter: str = Field(examples=["1989/90"])
    evening: date
    told_c: float = Field(description="Minimum that was forecast, with an error drawn by seed")
    trees: list[str] = Field(description="Identifiers of the trees that got less than the rules ask for")


class ComparedRules(Document):
    """One rule set over the winters."""

    key: str
    name: str
    own: bool = Field(description="Whether the household wrote it")
    rules: list[RuleTold]
    by_grade: list[Around] = Field(description="Trees a winter whose worst injury is each grade, 0 to 7")
    hurt: Around = Field(description="Trees a winter with grade 2 or worse")
    trees_lost: Around = Field(description="Trees a winter")
    fruit_lost: Around = Field(description=MONEY)
    minutes: Around = Field(description="Of people, evening and morning, a winter")
    lifts: Around = Field(description="By hand, there and back, a winter")
    kwh: Around = Field(description="A winter")
    loss: Around = Field(description=f"Trees and fruit. {MONEY}")
    effort: Around = Field(description=f"Minutes, lifts, energy at the household's prices, and wear. {MONEY}")
    total: Around = Field(description=f"Loss and effort. {MONEY}")
    worst_winter_loss: float = Field(description="Loss that one single winter in ten reaches or exceeds")
    busy_nights: float = Field(description="Nights a winter that take work, the yard as it stands now")
    carried: float = Field(description="Containers carried a winter, the yard as it stands now")
    short_nights: float = Field(description="Nights a winter on which not everything could be done")
    short: list[ShortNight] = Field(description="Those nights, the newest first, at most thirty")


class RulesDocument(Document):
    """House rules side by side on the same winters and the same luck."""

    currency: str
    source: str = Field(description="Where the winters come from")
    winters: list[str] = Field(description="Names of the first and the last")
    count: int = Field(description="How many winters")
    years: int = Field(description="How far the drawn futures go")
    draws: int = Field(description="How many futures were drawn")
    names: dict[str, str] = Field(description="Names of the trees by identifier")
    compared: list[ComparedRules]
    notes: list[str]
