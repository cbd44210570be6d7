"""What many winters say of a yard's coldest nights, as a document: SI units."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fruitwall.service.evening_document import Document

By = Literal["fit", "replay"]


class YearsWinter(Document):
    """One winter of the record."""

    name: str = Field(examples=["1989/90"])
    weight: float = Field(description="How likely a coming winter is like this one; all sum to one")
    real: bool = Field(description="Whether it was so in one year; false for typical years put together of many")


class YearsLevel(Document):
    """How cold once in so many winters."""

    years: float = Field(description="Return period [winters]")
    level_c: float | None = Field(description="By the fitted distribution; null where too few winters are known")
    cold_c: float | None = Field(description="Colder limit, by the profile likelihood; null where the data set none")
    mild_c: float | None = Field(description="Milder limit")
    seen_c: float | None = Field(description="Of the winters themselves; null where they are too few to speak of it")


class YearsPoint(Document):
    """One winter beside what was fitted."""

    winter: str
    years: float = Field(description="Return period by its place among all [winters]")
    seen_c: float
    fitted_c: float | None


class YearsRecord(Document):
    """The coldest hour of every winter at one place, and what follows from it."""

    coldest_c: list[float | None] = Field(description="By winter, in the order of `winters`; null where not known")
    levels: list[YearsLevel]
    fitted: bool = Field(description="Whether there are enough winters for a distribution")
    doubtful: bool = Field(description="Whether the winters do not lie on what was fitted")
    points: list[YearsPoint] = Field(description="The coldest first")


class YearsDates(Document):
    """When something first or last comes, named by the evening of the night."""

    day: list[str | None] = Field(
        description="By winter, month and day; null where it did not come", examples=["12-24"]
    )
    chance: list[float] = Field(description="Of `by`")
    by: list[str | None] = Field(
        description="Day by which the first has come, or after which the last still comes, with each chance; null "
        "where it comes more seldom than that, or too few dates are known"
    )


class YearsFreeze(Document):
    """First and last night at or below a level."""

    level_c: float
    chance: float = Field(description="That a winter has such a night at all")
    first: YearsDates
    last: YearsDates
    free_days: list[float | None] = Field(
        description="Time without such a night is shorter than this with each chance [d]; null where it has no end"
    )
    rough: bool = Field(description="Fewer than ten dates stand behind it")
    clipped: bool = Field(description="Such nights lie at the very ends of the season that is looked at")


class YearsOver(Document):
    """At least once in so many winters."""

    years: float
    chance: float


class YearsDanger(Document):
    """How often a tree's own level is passed with nothing done for it."""

    grade: int = Field(description="2: leaf burnt or worse; 7: dead", examples=[2, 7])
    level_c: float | None = Field(
        description="One-hour temperature of leaf, twig or wood where it begins, in the middle"
    )
    sd_k: float | None = Field(description="Uncertainty of it, and spread within the tree")
    by_level: float | None = Field(
        description="Chance per winter that the coldest hour is below the level, by the fitted distribution; null "
        "where too few winters are known"
    )
    by_replay: float = Field(
        description="Chance per winter from the worst night of each winter that was, with duration, roots, chilling "
        "and hardening"
    )
    yearly: float = Field(description="The larger of the two")
    by: By = Field(description="Which one that is")
    over: list[YearsOver] = Field(description="At least once in so many winters; what is not known of the tree stays")


class YearsTree(Document):
    """One tree at its spot, nothing done for it."""

    id: str
    name: str
    taxon: str
    potted: bool
    spot: YearsRecord = Field(description="Coldest hour of its leaf, or of its twig where it has none")
    harm: YearsDanger
    death: YearsDanger
    freeze: YearsFreeze | None = Field(description="Nights below its own level of harm; null where it has none")


class YearsZone(Document):
    """Plant hardiness zone: of a mean, and no promise."""

    zone: str = Field(examples=["9b"])
    mean_c: float
    standard_error_k: float | None
    colder: str = Field(description="Zone of the mean less 1.64 standard errors")
    warmer: str
    winters: int
    enough: bool = Field(description="Whether there are the 30 winters that the published zone takes")
    colder_share: float = Field(description="Share of the winters that were colder than the mean")
    below_zone_share: float = Field(description="Share of the winters that were colder than the zone's lower bound")


class YearsTrend(Document):
    """How the coldest nights have changed over the record."""

    per_decade_k: float
    chance: float = Field(description="That winters without a trend look like this or more so")
    sure: bool


class YearsDocument(Document):
    """What many winters say of a yard."""

    yard: str
    source: str
    mark: str = Field(description="The same for the same winters, yard and beliefs")
    winters: list[YearsWinter]
    first_evening: str = Field(description="Of the season that is looked at, month and day", examples=["10-15"])
    last_evening: str
    confidence: float = Field(description="Of limits")
    air: YearsRecord = Field(description="Air of the yard, as the weather has it")
    zone: YearsZone
    trend: YearsTrend | None
    freezes: list[YearsFreeze] = Field(description="Of the air, by level")
    trees: list[YearsTree] = Field(description="Those in most danger first")
    limits: list[str] = Field(description="What limits all this most")
    notices: list[str] = Field(description="What else is assumed or in doubt of the winters and their replay")
