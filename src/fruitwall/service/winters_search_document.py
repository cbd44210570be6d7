"""House rules that were searched for, as a document: what page, terminal and JSON show."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fruitwall.service.evening_document import Document, Probability

MONEY = "In the household's currency, a winter"


class Around(Document):
    """A mean a winter over drawn futures, and how far it spreads from one future of so many years to another."""

    mean: float
    p10: float
    p90: float
    error: float = Field(description="Standard error of the mean, by the number of draws")


class RuleLine(Document):
    """What holds for one tree, or for the trees of one shelter."""

    trees: list[str] = Field(description="Identifiers")
    names: list[str]
    potted: bool
    way: Literal["below", "never", "may_kill", "as_now"]
    cover_below_c: float | None = Field(description="Told minimum at or below which it is covered; null: never")
    heat_below_c: float | None = Field(description="The same for warmth under the cover")
    carry_below_c: float | None = Field(description="The same for carrying")
    if_death: Probability = Field(description="Least chance of death for which it is protected, where the way is so")
    loss: float = Field(description=MONEY)
    minutes: float = Field(description="Of people, a winter")
    lifts: float = Field(description="By hand, a winter")
    nights: float = Field(description="On which something is done for it, a winter")
    carried: bool = Field(description="Whether it is ever carried")
    carried_now: bool = Field(description="Whether it is ever carried as now")


class FoundRules(Document):
    """A rule set that can be kept in full on every night of all winters."""

    loss: float = Field(description=MONEY)
    effort: float = Field(description="Minutes, lifts, energy and wear at the household's prices, a winter")
    minutes: float = Field(description="Of people, a winter")
    lifts: float = Field(description="By hand, a winter")
    carries: float = Field(description="Containers carried, also on the trolley, a winter")
    kwh: float = Field(description="A winter")
    proven: bool = Field(description="Whether nothing better can be kept")
    lines: list[RuleLine]

    @property
    def total(self) -> float:
        """Loss and effort."""
        return self.loss + self.effort


class Practice(Document):
    """A way of going on, for comparison; what people or gear do not suffice for is not done."""

    key: Literal["as_now", "never", "cover", "cover-carry", "carry-no-more", "may-kill"]
    loss: float = Field(description=MONEY)
    effort: float = Field(description="Minutes, lifts, energy and wear at the household's prices, a winter")
    minutes: float
    lifts: float
    carries: float
    kwh: float

    @property
    def total(self) -> float:
        """Loss and effort."""
        return self.loss + self.effort


class Replayed(Document):
    """One way of going on in drawn futures, in which trees grow, are hurt and are replaced."""

    key: Literal["as_now", "never", "found"]
    loss: Around = Field(description=MONEY)
    effort: Around
    minutes: Around
    lifts: Around
    kwh: Around
    trees_lost: Around


class SearchDocument(Document):
    """The best house rules, and the least lifting at each loss."""

    currency: str
    source: str = Field(description="Where the winters come from")
    winters: list[str] = Field(description="Names of the first and the last")
    count: int = Field(description="How many winters")
    years: int = Field(description="How far the drawn futures go")
    draws: int = Field(description="How many futures were drawn")
    most_loss: float | None = Field(description="Acceptable expected loss that was asked for; null: none")
    answer: FoundRules | None = Field(
        description="Least effort within that loss; without one the least loss and effort together; null: none keeps it"
    )
    least_loss: float = Field(description="Least expected loss that any rules reach, a winter")
    less: Literal["lifts", "carries"] = Field(
        description="What the frontier makes least: lifts by hand; containers carried where a trolley spares all lifts"
    )
    frontier: list[FoundRules] = Field(description="Least of that at each loss, the one with most of it first")
    practices: list[Practice]
    ready_made: list[Practice] = Field(
        default=[], description="Ready-made house rules, which may fall short on some nights; key as in the comparison"
    )
    replayed: list[Replayed]
    notes: list[str]
