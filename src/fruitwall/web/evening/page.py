"""Everything the evening page shows, worked out before the template sees it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from hashlib import sha256
from itertools import count
from zoneinfo import ZoneInfo

from markupsafe import Markup

from fruitwall.service.evening_document import AtRisk, EveningPlan, Limit, Task, WayOut
from fruitwall.service.household import NO_BREAK, Household, ago, long_day, minutes, number, percent, short_day
from fruitwall.service.kept import Kept
from fruitwall.service.nights import tonight as tonight_of
from fruitwall.service.ticks import AFTER, Ticks
from fruitwall.speech import language, marked, say, say_chain, say_count
from fruitwall.web.evening.bars import bar
from fruitwall.web.evening.checklist import TaskGroup, groups_of, sentence
from fruitwall.web.evening.drawing import Drawing, drawing_of
from fruitwall.web.evening.marks import FAMILIES, LEAVE, OTHER, VERDICTS, Family, family_of, outline
from fruitwall.web.evening.strip import Strip, course_picture, strip_of
from fruitwall.web.evening.ticking import TickedPage, ticked_page
from fruitwall.web.evening.trees import TreeEntry, TreeInFull, entries_of, tree_in_full
from fruitwall.web.margins import BANDS, BEYOND, FAR, NEAR, SAFE
from fruitwall.web.svg import tag
from fruitwall.yard.model import Yard

OLD_FORECAST = timedelta(hours=9)
"""From this age on a forecast is called old: the services used renew theirs every one to six hours."""


WORTH_SAYING = 0.5
"""Least saving that counts, in the household's currency: half a unit is nothing after rounding."""


@dataclass(frozen=True)
class NightLink:
    """A coming night."""

    url: str
    day: str
    minimum: str


@dataclass(frozen=True)
class LimitLine:
    """Something scarce."""

    name: str
    amount: str
    """How much of how much is used."""
    state: str
    """Whether it holds the plan back, in words."""
    share: Markup
    one_more: str | None


@dataclass(frozen=True)
class WayLine:
    """One way through the night, beside the plan."""

    name: str
    is_plan: bool
    figures: list[str]
    """Loss, chance of losing a tree, trees that get something, work, lifts, energy."""
    note: str


@dataclass(frozen=True)
class RiskLine:
    """A tree that stays in danger."""

    id: str
    number: int
    name: str
    chances: str
    why: str


@dataclass(frozen=True)
class Sign:
    """One line of a legend."""

    picture: Markup
    words: str


@dataclass(frozen=True)
class EveningPage:
    """One night's plan as the template shows it; the template formats nothing and decides nothing."""

    yard: str
    night: str
    """The evening, in full, and the morning after."""
    is_tonight: bool
    verdict: str
    needs_action: bool
    minimum: str
    """Forecast minimum at the station with its range."""
    sky: str
    """Dew point, wind and cloud in one line."""
    source: str
    """Who made the forecast and when."""
    warnings: list[str]
    """What must be seen before the plan is believed."""
    notes: list[str]
    """What the source of the weather left out."""
    nights: list[NightLink]
    """Coming nights with their minima."""
    effort: str
    """Minutes, lifts and energy that the plan asks for."""
    strip: Strip
    scale: list[Sign]
    """Legend of the strip."""
    before_dark: list[TaskGroup]
    tasks_count: int
    occasion: str
    """Heading of the checklist: this evening, or what is still to be done tonight."""
    morning: list[TaskGroup]
    at_risk: list[RiskLine]
    limits: list[LimitLine]
    """What holds the plan back, dearest first."""
    enough: list[LimitLine]
    """Whatever else could have run out."""
    ways: list[WayLine]
    """What else could be done tonight, the plan among it; empty if it was not worked out."""
    ways_heads: list[str]
    drawing: Drawing
    shapes: list[Sign]
    """Legend of the shapes in the drawing: those that occur."""
    fills: list[Sign]
    """Legend of the fills in the drawing."""
    trees: list[TreeEntry]
    cautions: list[str]
    losses: str
    made: str
    solver: str
    json_url: str
    sheet_url: str
    calendar_url: str
    ticked: TickedPage | None
    """Ticks of the household; None where there is no household and ticks stay on the device."""
    serial: int
    """Another one whenever what only the plan changes was worked out anew."""
    parts: Kept[Markup]
    """Parts of the page as they are written, kept with what they show."""

    def keep(self, name: str, caller: Callable[[], Markup]) -> Markup:
        """Write a part that neither clock nor ticks change: once, by a ``call`` of the template."""
        return self.parts.of(key=name, make=caller)

    def state(self) -> str:
        """Tell pages apart that look different: the same text as long as nothing to be seen has changed."""
        ticked = self.ticked
        late = [task.late for group in (*self.before_dark, *self.morning) for task in group.tasks]
        seen = (
            *(self.is_tonight, self.source, self.warnings, late, self.made),
            *(() if ticked is None else (ticked.may, ticked.states, ticked.changed, ticked.done, ticked.plan)),
        )
        return f"{self.serial}-{sha256(repr(seen).encode()).hexdigest()[:24]}"


def evening_page(
    plan: EveningPlan, yard: Yard, now: datetime, *, tonight: bool, ticks: Ticks | None = None, may: bool = False
) -> EveningPage:
    """Work out the page of one plan.

    Parameters
    ----------
    plan : EveningPlan
    yard : Yard
        As it stands; gives units, structures and the numbers of the trees.
    now : datetime, aware
        For ages and passed deadlines.
    tonight : bool
        Whether this is the first page rather than that of a night asked for by date; it is called tonight's if it is.
    ticks : Ticks or None
        What is done of its night; None where there is no ledger.
    may : bool
        Whether the reader may tick.

    Returns
    -------
    EveningPage
    """
    steady = _STEADY.of(plan, yard, key=language(), make=lambda: _steady_page(plan, yard))
    household = Household(yard.display, ZoneInfo(plan.time_zone))
    numbers = tree_numbers(plan, yard)
    before, after = _occasions(plan)
    return replace(
        steady,
        is_tonight=tonight and plan.night == tonight_of(yard.location, now),
        source=_source(plan, household, now),
        warnings=_age_warning(plan, now),
        before_dark=_groups(plan, yard, before, household, numbers, now),
        morning=_groups(plan, yard, after, household, numbers, now),
        made=_made(plan, household, now),
        ticked=ticked_page(plan, ticks, household, now, may=may) if ticks is not None else None,
    )


@dataclass(frozen=True)
class TreePage:
    """One tree's night in full."""

    yard: str
    night: str
    tree: TreeInFull
    back: str
    """Address of its line on the evening page."""


def tree_page(plan: EveningPlan, yard: Yard, tree: str) -> TreePage | None:
    """Work out the page of one tree's night.

    Parameters
    ----------
    plan : EveningPlan
    yard : Yard
        As it stands; gives units and the numbers of the trees.
    tree : str
        Its id.

    Returns
    -------
    TreePage or None
        None if the plan does not know the tree.
    """
    found = next((one for one in plan.trees if one.id == tree), None)
    if found is None:
        return None
    household = Household(yard.display, ZoneInfo(plan.time_zone))
    return TreePage(
        yard=plan.yard,
        night=_night_words(plan),
        tree=tree_in_full(found, plan.night, household, tree_numbers(plan, yard)[tree]),
        back=f"/night/{plan.night}#tree-{tree}",
    )


def _night_words(plan: EveningPlan) -> str:
    """Name the night by its evening and the morning after."""
    morning = short_day(plan.night + timedelta(days=1))
    return say("{night}, to the morning of {morning}", night=long_day(plan.night), morning=morning)


_STEADY: Kept[EveningPage] = Kept(16)
"""Pages as they were when their plans had just been made: what clocks and ticks change is worked out anew each time,
the rest only with the plan, the yard, and who reads."""

_SERIALS = count(1)

_GROUPS: Kept[list[TaskGroup]] = Kept(64)


def _groups(
    plan: EveningPlan, yard: Yard, tasks: list[Task], household: Household, numbers: dict[str, int], now: datetime
) -> list[TaskGroup]:
    """Group tasks as `groups_of`, anew only when another one has become late."""
    late = tuple((task.when, task.order, (task.start_by or task.deadline) < now) for task in tasks)
    return _GROUPS.of(plan, yard, key=(language(), late), make=lambda: groups_of(plan, tasks, household, numbers, now))


def _occasions(plan: EveningPlan) -> tuple[list[Task], list[Task]]:
    """Part the tasks: before the night, and after it."""
    return (
        [task for task in plan.tasks if task.when not in AFTER],
        [*plan.morning, *(task for task in plan.tasks if task.when in AFTER)],
    )


def _made(plan: EveningPlan, household: Household, now: datetime) -> str:
    return say("Made {moment} ({ago})", moment=household.moment(plan.made), ago=ago(plan.made, now))


def _steady_page(plan: EveningPlan, yard: Yard) -> EveningPage:
    """Work out the page as of the moment at which its plan was made, with nothing ticked."""
    household = Household(yard.display, ZoneInfo(plan.time_zone))
    numbers = tree_numbers(plan, yard)
    before, after = _occasions(plan)
    now = plan.made
    return EveningPage(
        yard=plan.yard,
        night=_night_words(plan),
        is_tonight=False,
        verdict=plan.verdict,
        needs_action=plan.needs_action,
        minimum=_minimum(plan, household),
        sky=_sky(plan, household),
        source=_source(plan, household, now),
        warnings=_age_warning(plan, now),
        notes=[sentence(warning) for warning in plan.forecast.warnings],
        nights=_nights(plan, household),
        effort=_effort(plan),
        strip=strip_of(plan, household, numbers),
        scale=_scale(household),
        before_dark=groups_of(plan, before, household, numbers, now),
        tasks_count=len(before),
        occasion=say("Still tonight" if plan.made >= plan.sunset else "This evening"),
        morning=groups_of(plan, after, household, numbers, now),
        at_risk=[_risk(risk, numbers) for risk in plan.at_risk],
        limits=[_limit(limit) for limit in sorted(filter(_holds_back, plan.limits), key=_saves, reverse=True)],
        enough=[_limit(limit) for limit in plan.limits if not _holds_back(limit)],
        ways=[_way(way, plan.currency) for way in plan.compare],
        ways_heads=[say(head) for head in WAYS_HEADS],
        drawing=drawing_of(plan, yard, household, numbers),
        shapes=_shapes(plan),
        fills=[Sign(_sample(LEAVE, verdict), say(words)) for verdict, words in VERDICTS.items()],
        trees=entries_of(plan, household, numbers),
        cautions=plan.cautions,
        losses=say(
            "Expected loss {nothing} if nothing is done, {plan} with the plan.",
            nothing=_money(plan.expected_loss["nothing"], plan.currency),
            plan=_money(plan.expected_loss["plan"], plan.currency),
        ),
        made=_made(plan, household, now),
        solver=_solver(plan),
        json_url=f"/plan.json?night={plan.night}",
        sheet_url=f"/evening/sheet?night={plan.night}",
        calendar_url=f"/evening/calendar.ics?night={plan.night}",
        ticked=None,
        serial=next(_SERIALS),
        parts=Kept(16),
    )


def tree_numbers(plan: EveningPlan, yard: Yard) -> dict[str, int]:
    """Number the trees in the order of the yard, so that a tree keeps its number from night to night."""
    order = {tree.id: index for index, tree in enumerate(yard.trees)}
    known = sorted(plan.trees, key=lambda tree: order.get(tree.id, len(order)))
    return {tree.id: number for number, tree in enumerate(known, start=1)}


def _minimum(plan: EveningPlan, household: Household) -> str:
    low = plan.forecast.station_minimum_c
    return say(
        "{low} (8 chances in 10: {range})",
        low=household.temperature(low.p50),
        range=household.temperatures(low.p10, low.p90),
    )


def _sky(plan: EveningPlan, household: Household) -> str:
    """Tell dew point, wind and cloud."""
    forecast = plan.forecast
    return say(
        "dew point {dew_point}, wind {wind}, {cloud}",
        dew_point=household.temperature(forecast.dew_point_c.p50),
        wind=household.wind(forecast.wind_m_s.p50),
        cloud=_cloud_words(forecast.cloud.p50),
    )


def _cloud_words(share: float) -> str:
    """Name the cloudiness as weather services do in eighths (clear, few, scattered, broken, overcast)."""
    eighths = share * 8
    if eighths < 0.5:
        return say("clear sky")
    if eighths < 2.5:
        return say("few clouds")
    if eighths < 4.5:
        return say("scattered clouds")
    return say("broken cloud" if eighths < 7.5 else "overcast")


def _source(plan: EveningPlan, household: Household, now: datetime) -> str:
    """Tell who made the forecast, when, and in how many versions."""
    forecast = plan.forecast
    return say(
        "{source}; issued {moment} ({ago}), {members} possible courses"
        if forecast.members > 1
        else "{source}; issued {moment} ({ago})",
        source=forecast.source,
        moment=household.moment(forecast.issued),
        ago=ago(forecast.issued, now),
        members=forecast.members,
    )


def _age_warning(plan: EveningPlan, now: datetime) -> list[str]:
    """Warn of an old forecast: a stale one shown as new is the worst that this page could do."""
    age = now - plan.forecast.issued
    if age <= OLD_FORECAST:
        return []
    old = ago(plan.forecast.issued, now)
    return [say("This forecast was issued {ago}. Fetch a newer one before you rely on it.", ago=old)]


def _nights(plan: EveningPlan, household: Household) -> list[NightLink]:
    """List the coming nights."""
    links = []
    for later, low in enumerate(plan.forecast.following_minima_c, start=1):
        day = plan.night + timedelta(days=later)
        links.append(NightLink(f"/night/{day}", short_day(day), household.temperature(low.p50)))
    return links


def _effort(plan: EveningPlan) -> str:
    """Tell what the plan asks for."""
    parts = [minutes(plan.minutes)]
    if plan.lifts:
        parts.append(say_count("{count} lift", "{count} lifts", plan.lifts))
    if plan.kwh >= 0.05:
        parts.append(f"{number(plan.kwh, 1)}{NO_BREAK}kWh")
    if plan.wear >= 0.005:
        parts.append(say("{amount} {currency} of wear on gear", amount=number(plan.wear, 2), currency=plan.currency))
    return say_chain(parts, ",")


def _money(amount: float, currency: str) -> str:
    return f"{number(amount)}{NO_BREAK}{currency}"


def _scale(household: Household) -> list[Sign]:
    """Explain the blocks of the strip."""
    near, far = household.bound(SAFE.from_k), household.bound(BEYOND.from_k)
    words = {
        SAFE: say("safe: {near} or more to spare", near=near),
        NEAR: say("near: less than {near} to spare", near=near),
        BEYOND: say("beyond what it stands, by up to {far}", far=far),
        FAR: say("far beyond, by more than {far}", far=far),
    }
    samples = {SAFE: SAFE.from_k + 1, NEAR: 1.0, BEYOND: -1.0, FAR: -4.0}
    return [
        Sign(course_picture([samples[band]], household, label=say(band.name), width="26"), words[band])
        for band in BANDS
    ]


def _sample(family: Family, verdict: str) -> Markup:
    """Draw a sign for a legend."""
    return tag(
        "svg",
        outline(family, 16, 16.5, 9, class_=f"mark {verdict}"),
        class_="badge",
        viewBox="0 0 32 32",
        width=32,
        height=32,
        aria_hidden="true",
    )


def _shapes(plan: EveningPlan) -> list[Sign]:
    """Explain the shapes that occur tonight."""
    present = {family_of(tree.measure) for tree in plan.trees}
    signs = []
    for family in FAMILIES:
        if family in present:
            names = sorted({tree.measure_name for tree in plan.trees if family_of(tree.measure) is OTHER})
            words = "; ".join(names) if family is OTHER else say(family.name)
            signs.append(Sign(_sample(family, "safe"), words))
    return signs


def _risk(risk: AtRisk, numbers: dict[str, int]) -> RiskLine:
    """Turn a tree at risk into a line."""
    chances = say(
        "{harm} chance of burnt leaf or worse, {death} of losing it"
        if risk.chance_of_death >= 0.005
        else "{harm} chance of burnt leaf or worse",
        harm=percent(risk.chance_of_harm),
        death=percent(risk.chance_of_death),
    )
    return RiskLine(risk.id, numbers.get(risk.id, 0), risk.name, chances, risk.why)


def _holds_back(limit: Limit) -> bool:
    """Tell whether more of it would make a better plan: what is used up need not be missed."""
    return limit.binding and (limit.one_more_saves is None or limit.one_more_saves >= WORTH_SAYING)


def _limit(limit: Limit) -> LimitLine:
    """Turn something scarce into a line."""
    share = min(limit.used / limit.available, 1.0) if limit.available > 0 else 1.0
    holds_back = _holds_back(limit)
    state = say("holds the plan back") if holds_back else say("all in use" if limit.binding else "enough")
    return LimitLine(
        name=limit.name,
        amount=say(
            "{used} of {available} {unit}",
            used=_amount(limit.used),
            available=_amount(limit.available),
            unit=limit.unit,
        ).strip(),
        state=state,
        share=bar(share, "full" if holds_back else "planned"),
        one_more=limit.one_more,
    )


WAYS_HEADS = [marked("Expected loss"), marked("A tree lost"), marked("Trees"), marked("Work"), marked("Lifts"), "kWh"]
"""Heads of the figures of a `WayLine`."""


def _way(way: WayOut, currency: str) -> WayLine:
    """Turn one way through the night into a line."""
    return WayLine(
        name=sentence(way.name),
        is_plan=way.key == "plan",
        figures=[
            _money(way.expected_loss, currency),
            percent(way.chance_of_losing_a_tree),
            str(len(way.measures)),
            minutes(way.minutes),
            str(way.lifts),
            number(way.kwh, 1),
        ],
        note=say("{name}: {note}.", name=sentence(way.name), note=way.note) if way.note else "",
    )


def _saves(limit: Limit) -> float:
    """Give what one more would save; what was not worked out comes first, being unknown."""
    return float("inf") if limit.one_more_saves is None else limit.one_more_saves


def _amount(value: float) -> str:
    return number(value, 0 if abs(value - round(value)) < 0.05 else 1)


def _solver(plan: EveningPlan) -> str:
    """Tell how sure it is that no better plan exists."""
    solver = plan.solver
    nights = (
        say("tonight")
        if solver.nights == 1
        else say_count("{count} night together", "{count} nights together", solver.nights)
    )
    seconds = f"{number(solver.seconds, 1)}{NO_BREAK}s"
    if solver.status == "optimal":
        return say("Best plan proven for {nights}, in {seconds}.", nights=nights, seconds=seconds)
    return say(
        "Stopped after {seconds} over {nights}: a better plan could save at most {gap} of its cost.",
        seconds=seconds,
        nights=nights,
        gap=percent(solver.gap),
    )


def night_of(text: str) -> date | None:
    """Read a night's name as pages carry it, 2026-12-22; None if it is none."""
    try:
        night = date.fromisoformat(text)
    except ValueError:
        return None
    return night if str(night) == text else None  # one name for each night: not 20261222, not 2026-W52-2
