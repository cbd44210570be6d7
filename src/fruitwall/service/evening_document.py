"""The evening plan as a document: what terminal, page and JSON all show.

The JSON Schema printed by ``fruitwall schema evening-plan`` is made from these classes. Temperatures are °C and
times UTC here; terminal and page turn them into the household's units and zone.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Probability = Annotated[float, Field(ge=0, le=1)]


class Document(BaseModel):
    """Base of every part: immutable, no unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Spread(Document):
    """Tenth, fiftieth and ninetieth percentile over the ensemble."""

    p10: float
    p50: float
    p90: float


class ForecastSummary(Document):
    """What the plan was made from."""

    source: str
    issued: datetime
    members: int
    station_minimum_c: Spread = Field(description="Lowest station air temperature of the night")
    dew_point_c: Spread = Field(description="Dew point at the time of that minimum")
    wind_m_s: Spread = Field(description="Mean wind of the night, at the forecast's height")
    cloud: Spread = Field(description="Mean cloud cover of the night, 0-1")
    following_minima_c: list[Spread] = Field(description="Station minima of the nights after tonight, in order")
    as_issued_c: list[Spread] = Field(
        default=[],
        description="Station minima of tonight and the nights after it before what readings taught of forecasts was "
        "applied; empty where nothing was",
    )
    warnings: list[str] = []


class HourOfTree(Document):
    """One hour of one tree in the strip: margin under the chosen measure and with nothing done."""

    time: datetime
    tissue_c: Spread
    tissue_if_nothing_c: Spread
    air_c: Spread = Field(description="Air at the spot, uncovered")
    margin_k: float = Field(description="Median tissue temperature minus the tolerance of the most endangered tissue")
    margin_if_nothing_k: float


class GradeChances(Document):
    """Chance of each injury grade 0-7; sums to one."""

    nothing: list[Probability] = Field(min_length=8, max_length=8)
    chosen: list[Probability] = Field(min_length=8, max_length=8)


class ReasonPart(Document):
    """One link of the chain from station to risk, for ``--explain``."""

    label: str
    value: str
    note: str = ""


class ColdPart(Document):
    """What one process adds to the cold of a tissue."""

    key: str
    label: str
    kelvin: float = Field(description="In the member in the middle")
    p10_k: float = Field(description="Tenth percentile over the members")
    p90_k: float = Field(description="Ninetieth percentile over the members")
    note: str = ""


class ColdExplained(Document):
    """How the cold of the most endangered tissue comes about: parts that sum to the whole, in their order.

    The same night computed again and again, each time with one thing more as it is; see "How the explanation is made"
    in the documentation.
    """

    tissue: Literal["leaf", "twig", "wood", "fruit", "root"]
    hours: float = Field(description="Length of the coldest running mean that is explained")
    station_c: float = Field(description="Coldest running mean of the station's air, where the parts begin")
    parts: list[ColdPart]
    alone_c: float = Field(description="The tissue left alone: after the parts of air and surroundings")
    end_c: float = Field(description="The tissue under the chosen measure: station_c and all parts")


class TreePlan(Document):
    """What one tree gets tonight and why."""

    id: str
    name: str
    taxon: str
    cultivar: str | None
    position: tuple[float, float]
    crown_diameter_m: float
    potted: bool
    measure: str = Field(description="Key of the chosen measure, such as leave, cover:fleece_medium, carry:shed")
    measure_name: str = Field(description="The same in words")
    gear: list[str] = Field(description="Identifiers of the covers, lamps, heaters, circuits, places it uses")
    reason: str = Field(description="One plain sentence")
    runner_up: str | None = Field(description="Next best measure and what it would change, in words")
    tissue: Literal["leaf", "twig", "wood", "fruit", "root"] = Field(description="The most endangered tissue")
    tissue_min_c: dict[Literal["nothing", "chosen"], Spread]
    tolerance_c: Spread = Field(description="Temperature at which that tissue is first injured, with its uncertainty")
    margin_k: dict[Literal["nothing", "chosen"], float]
    injury: GradeChances
    chance_of_harm: dict[Literal["nothing", "chosen"], Probability] = Field(
        description="Chance of grade 2 or worse: burnt leaf and beyond"
    )
    chance_of_death: dict[Literal["nothing", "chosen"], Probability]
    fruit_lost: dict[Literal["nothing", "chosen"], Probability] = Field(
        description="Expected share of its fruit or bloom lost; 0 if it carries none that is worth anything"
    )
    expected_loss: dict[Literal["nothing", "chosen"], float] = Field(description="In the household's currency")
    verdict: Literal["safe", "watch", "danger", "deadly"] = Field(
        description="Of doing nothing: safe if the chance of harm is under 5 % and under 10 % of the fruit is lost, "
        "watch if both are under 30 %, else danger; deadly if the chance of death is over 10 %"
    )
    verdict_with_plan: Literal["safe", "watch", "danger", "deadly"]
    hours: list[HourOfTree]
    chain: list[ReasonPart]
    cold: ColdExplained | None = Field(
        default=None, description="How its cold comes about, process by process; null if nothing is known of the tissue"
    )
    following_nights: list[str] = Field(description="Chosen measure in words for each following night")


Occasion = Literal["now", "before_sun_leaves", "before_dusk", "before_bed", "morning", "when_mild"]
"""When something of the checklist is done."""


class Withdrawn(Document):
    """An occasion that an earlier plan of this night put into calendars and this one does not."""

    when: Occasion
    begins: datetime
    ends: datetime


class Task(Document):
    """One thing to do before sunset or later tonight, in the morning or when it is mild again, in walking order."""

    order: int
    what: str
    trees: list[str]
    position: tuple[float, float]
    deadline: datetime
    start_by: datetime | None = Field(
        default=None, description="Where only what is over by the deadline counts: the latest it may be begun"
    )
    not_before: datetime | None = Field(default=None, description="Too early before this; null: at once")
    when: Occasion
    person: str | None
    minutes: float
    steps: list[str]
    gear: list[str] = Field(
        default=[], description="Identifiers of the sheet, lamps, heater, lead and trolley to take along for it"
    )
    lifting_index: float | None = None
    cautions: list[str] = []
    key: str = Field(default="", description="Identifier of what is done, to tell later that it is done")
    people: list[str] = Field(default=[], description="Identifiers of who does it")
    sheet: str | None = Field(default=None, description="Identifier of the cover it takes")
    circuit: str | None = Field(default=None, description="Identifier of the circuit it is plugged in at")
    lead: str | None = Field(default=None, description="Identifier of the extension lead it takes")


class DoneTask(Document):
    """Something of tonight's checklist that was done when the plan was made."""

    key: str = Field(description="As in the task")
    what: str = Field(description="The same in words")
    at: datetime = Field(description="When it was told, or its deadline if that was earlier: it counts from then")
    people: list[str] = Field(default=[], description="Identifiers of who was to do it; their minutes are spent")
    minutes: float = 0.0
    sheet: str | None = None
    circuit: str | None = None
    lead: str | None = None


class StandingPart(Document):
    """Something that is taken to stand since an earlier night, because it was told to be done then."""

    key: str = Field(description="As in the task by which it was put there")
    what: str = Field(description="The same in words")
    since: date = Field(description="Night for which it was put there")
    sheet: str | None = None
    circuit: str | None = None
    lead: str | None = None
    used: bool = Field(default=True, description="Whether tonight's plan uses it; if not, it is taken away")


class WayOut(Document):
    """One way through the night beside the plan, to be compared with it."""

    key: Literal["nothing", "last", "plan", "everything"]
    name: str = Field(description="In words")
    expected_loss: float = Field(description="Of all trees tonight, in the household's currency")
    chance_of_losing_a_tree: Probability = Field(
        description="Chance that at least one tree dies: members of the forecast kept together, what is unknown of the "
        "trees taken as independent from tree to tree"
    )
    minutes: float = Field(description="Minutes of all people together this evening")
    lifts: int
    kwh: float
    wear: float = Field(default=0.0, description="What it wears off the gear tonight, in the household's currency")
    measures: dict[str, str] = Field(description="Key of the measure of every tree that gets something, by tree")
    note: str = Field(default="", description="What to know about it, in words")


class Limit(Document):
    """Something scarce: how much of it is used, and what one more would buy."""

    key: str
    name: str
    unit: str
    used: float
    available: float
    binding: bool
    one_more: str | None = Field(description="In words; from solving again with one more, not from a guess")
    one_more_saves: float | None = Field(
        description="Loss and effort saved by one more over the nights planned, in the household's currency"
    )


class AtRisk(Document):
    """A tree that stays in danger although the plan is followed."""

    id: str
    name: str
    chance_of_harm: Probability
    chance_of_death: Probability
    why: str


class Solver(Document):
    """How the optimum was found."""

    status: Literal["optimal", "gap"]
    gap: float
    seconds: float
    nights: int
    notes: list[str] = Field(default=[], description="What the reader should know about how the plan was found")


class AmountOf(Document):
    """A number with its unit, a share or a day within a sentence."""

    text: str = Field(description="As it stands in the sentence")
    kind: str
    parts: list[float | str]


class PhraseOf(Document):
    """What made a sentence: a template in English with named places, and what stands in them."""

    template: str
    many: str | None = Field(default=None, description="Template for more than one, if it counts something")
    count: int | None = None
    values: dict[str, str | int | float | AmountOf | None] = {}
    capital: bool = Field(default=False, description="Whether it begins with a capital where its template does not")


class EveningPlan(Document):
    """Tonight's plan, tree by tree."""

    night: date = Field(description="Named by the date of its evening")
    yard: str
    time_zone: str
    currency: str
    sunset: datetime
    sunrise: datetime
    made: datetime
    verdict: str = Field(description="One sentence")
    needs_action: bool
    forecast: ForecastSummary
    trees: list[TreePlan]
    tasks: list[Task]
    morning: list[Task]
    limits: list[Limit]
    at_risk: list[AtRisk]
    cautions: list[str]
    expected_loss: dict[Literal["nothing", "plan"], float]
    minutes: float
    lifts: int
    kwh: float
    wear: float = Field(
        default=0.0, description="What the plan wears off the gear tonight, in the household's currency"
    )
    solver: Solver
    done: list[DoneTask] = Field(default=[], description="What was already done when the plan was made")
    withdrawn: list[Withdrawn] = Field(
        default=[], description="Occasions still to come of earlier plans of this night at which nothing is left to do"
    )
    standing: list[StandingPart] = Field(default=[], description="What is taken to stand since an earlier night")
    phrases: dict[str, PhraseOf] = Field(
        default={},
        description="What made the sentences of this plan, by sentence: to say them in another language or in other "
        "units (see `service.reader`)",
    )
    compare: list[WayOut] = Field(
        default=[], description="Doing nothing, the same as last time (if there is one), the plan, everything possible"
    )


def evening_plan_json_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of the evening plan.

    Returns
    -------
    dict
        With its own ``$schema`` and title.
    """
    schema = EveningPlan.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "fruitwall evening plan", **schema}
