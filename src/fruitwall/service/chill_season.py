"""Winter chill in words: verdict, what is in doubt, and one line a tree."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fruitwall.plants.chill_tables import HIGH_C, LOW_C, MODEL_SOURCES, WEAK, Model
from fruitwall.service.chill_ledger import chill_season, judged
from fruitwall.service.household import number, percent, short_day
from fruitwall.service.season_part import PartTable, SeasonPart
from fruitwall.speech import say, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.service.chill_document import ChillMet, ChillNeeded, ChillSeason, TreeChill
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

FEW_COURSES = 10
"""With fewer courses dates are called rough. Our judgement: one winter in ten is then missed as often as not."""

KNOWN_ENOUGH = 0.999
"""Share of the hours that must be known for sums to be told without "at least". Our judgement."""

UNLIKELY = 0.5
"""A tree that has so small a chance of the least that it may need is warned of. Our judgement."""


def chill_part(house: House, household: Household) -> SeasonPart:
    """Tell the winter chill of this winter.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
        It asks for nothing: chill cannot be given.
    """
    season = chill_season(house)
    return SeasonPart(
        key="chill",
        title=say("Chill"),
        verdict=verdict(season, household),
        notices=tuple(notices(season, household)),
        table=yard_table(season, household) if season.trees else None,
        document=season,
        sources=tuple(sources(season)),
    )


def verdict(season: ChillSeason, household: Household) -> str:
    """Say in a few sentences which trees have enough."""
    if not season.trees:
        return say("No tree of this yard needs winter chill.")
    if not any(tree.known_hours for tree in season.trees):
        return say("No weather of this winter is known yet, so nothing can be told of winter chill.")
    groups: dict[str, list[TreeChill]] = {"enough": [], "some": [], "partly": [], "less": []}
    for tree in judged(season.trees):
        need = tree.needs[0]
        between = "some" if tree.basis == "kind" else "partly"
        groups["enough" if need.at_high.met else between if need.at_low.met else "less"].append(tree)
    unknown = [tree.name for tree in season.trees if not tree.needs]
    parts = []
    if groups["enough"]:
        parts.append(say("Enough winter chill: {trees}.", trees=_names(groups["enough"])))
    if groups["some"]:
        parts.append(say("Enough for some cultivars of its kind, not for all: {trees}.", trees=_names(groups["some"])))
    if groups["partly"]:
        parts.append(
            say("Enough by the lowest figure for it, not by the highest: {trees}.", trees=_names(groups["partly"]))
        )
    if groups["less"]:
        parts.append(say("Not enough yet: {trees}.", trees=_names(groups["less"])))
    soonest = min(
        (tree for tree in groups["less"] if tree.needs[0].at_low.p50 is not None),
        key=lambda tree: tree.needs[0].at_low.p50 or season.until,
        default=None,
    )
    if soonest is not None:
        parts.append(
            say(
                "Next: {tree}, {when}.",
                tree=soonest.name,
                when=when_words(soonest.needs[0].at_low, season, household, least=is_least(soonest)),
            )
        )
    if unknown:
        parts.append(say("How much they need is not known: {trees}.", trees=say_list(unknown)))
    return " ".join(parts)


def _names(trees: list[TreeChill]) -> str:
    return say_list([tree.name for tree in trees])


def is_least(tree: TreeChill) -> bool:
    """Tell whether hours are missing, so that a sum is what it is at least."""
    return tree.known_hours < KNOWN_ENOUGH * tree.hours


def notices(season: ChillSeason, household: Household) -> list[str]:
    """Say what is assumed or missing."""
    if not season.trees:
        return []
    found = []
    holed = [tree for tree in season.trees if is_least(tree)]
    if holed:
        worst = min(holed, key=lambda tree: tree.known_hours / max(tree.hours, 1))
        found.append(
            say(
                "Of {tree} the temperature of {known} of {all} hours since {day} is known, and nothing is added for "
                "the others. So hours and portions are what they are at least, portions to within one, and dates are "
                "no earlier than they should be. Past weather can be fetched or read in on the page of the weather.",
                tree=say_list([tree.name for tree in holed]) if len(holed) < len(season.trees) else say("every tree"),
                known=number(worst.known_hours),
                all=number(worst.hours),
                day=short_day(season.since.astimezone(household.zone).date()),
            )
        )
    of_kind = [tree.name for tree in season.trees if tree.basis == "kind"]
    if of_kind:
        found.append(
            say(
                "Nothing is published here on the very cultivar of {trees}. The range is over all known cultivars of "
                "the kind, and it is wide. If you know what yours needs, describe it as a kind of your own in the yard "
                "file and give chill_portions or chill_hours.",
                trees=say_list(of_kind),
            )
        )
    unknown = [tree.name for tree in season.trees if tree.basis == "unknown"]
    if unknown:
        found.append(
            say("No need is published here for {trees}, so sums are told without a date.", trees=say_list(unknown))
        )
    remembered = [tree.name for tree in judged(season.trees) if tree.needs[0].from_memory]
    if remembered:
        found.append(
            say("The need of {trees} stands from memory, without a source at hand.", trees=say_list(remembered))
        )
    sold = [tree.name for tree in judged(season.trees) if tree.needs[0].from_sellers]
    if sold:
        found.append(
            say(
                "The need of {trees} is told by nurseries only. Their figures differ, and are rarely measured.",
                trees=say_list(sold),
            )
        )
    scarce = [
        tree.name
        for tree in judged(season.trees)
        if tree.needs[0].at_low.chance is not None and tree.needs[0].at_low.chance < UNLIKELY
    ]
    if scarce:
        found.append(
            say(
                "{trees} may well not get enough this winter. Buds then break late and unevenly, and there is little "
                "bloom (common practice, no source).",
                trees=say_list(scarce),
            )
        )
    found += _ahead_notices(season, household)
    found.append(
        say(
            "Counted is the air at each tree's own spot, as it was under covers and roofs, since needs were worked out "
            "with thermometers in the air. A bud itself is warmer in the sun and colder on clear nights."
        )
    )
    if season.without_need:
        found.append(
            say_count(
                "{count} tree keeps its leaf or is tropical, and needs no winter chill.",
                "{count} trees keep their leaf or are tropical, and need no winter chill.",
                len(season.without_need),
            )
        )
    return found


def _ahead_notices(season: ChillSeason, household: Household) -> list[str]:
    if season.now >= season.until:
        return []
    if season.courses == 0 or season.coming_until is None:
        return [say("Nothing is known of the weather to come, so no dates are foreseen.")]
    if season.coming_until < season.until - timedelta(days=1):
        return [
            say(
                "The forecast ends on {day}, and the climate of the place is not known: nothing is foreseen after it. "
                "With `fruitwall climate fetch` other years are known.",
                day=_day(season.coming_until, household),
            )
        ]
    if season.courses < FEW_COURSES:
        return [
            say_count(
                "What comes after the forecast is one course that other years took, so dates are rough.",
                "What comes after the forecast are {count} courses that other years took, so dates are rough.",
                season.courses,
            )
        ]
    return []


def _day(moment: datetime, household: Household) -> str:
    """Write the day on which an hour ends; midnight belongs to the day before."""
    return short_day((moment - timedelta(seconds=1)).astimezone(household.zone).date())


def yard_table(season: ChillSeason, household: Household) -> PartTable:
    """Give one line a tree."""
    rows = []
    for tree in season.trees:
        if not tree.needs:
            has = sum_words("portions", tree.sums["portions"], household, least=is_least(tree))
            rows.append((tree.name, say("unknown"), has, "", "", ""))
            continue
        need = tree.needs[0]
        least = is_least(tree)
        rows.append(
            (
                tree.name,
                need_words(need, household),
                amount(need.model, tree.sums[need.model], least=least),
                when_words(need.at_low, season, household, least=least),
                when_words(need.at_high, season, household, least=least),
                warmth_words(tree, household),
            )
        )
    return PartTable(
        caption=say("Winter chill since {day}", day=short_day(season.since.astimezone(household.zone).date())),
        columns=(
            say("Tree"),
            say("Needs"),
            say("Has so far"),
            say("Lower figure reached"),
            say("Upper figure reached"),
            say("Warmth since the lower figure, in {unit} times hours", unit=household.step),
        ),
        rows=tuple(rows),
        trees=tuple(tree.tree for tree in season.trees),
    )


def warmth_words(tree: TreeChill, household: Household) -> str:
    """Write the growing degree hours since the lower end of the need was met."""
    if tree.warmth_k_h is None:
        return ""
    return number(tree.warmth_k_h * (1.8 if household.fahrenheit else 1.0))


def amount(model: Model, value: float, *, least: bool = False) -> str:
    """Write a sum without its unit."""
    text = number(value, 0 if model in _HOURS else 1)
    return say("at least {amount}", amount=text) if least and model not in _EITHER_WAY else text


_HOURS: frozenset[Model] = frozenset({"hours", "hours_below"})

_EITHER_WAY: frozenset[Model] = frozenset({"utah_units", "low_chill_units", "north_carolina_units"})
"""Sums from which warm hours take away: with hours missing they may be more or less."""


def need_words(need: ChillNeeded, household: Household) -> str:
    """Write what a tree needs: "30 to 69 chill portions"."""
    low, high = number(need.low), number(need.high)
    text = low if low == high else say("{low} to {high}", low=low, high=high)
    return _with_unit(need.model, text, household)


def sum_words(model: Model, value: float, household: Household, *, least: bool = False) -> str:
    """Write a sum with its unit."""
    return _with_unit(model, amount(model, value, least=least), household)


def _with_unit(model: Model, text: str, household: Household) -> str:
    match model:
        case "portions":
            return say("{amount} chill portions", amount=text)
        case "hours":
            return say("{amount} hours from {range}", amount=text, range=household.temperatures(LOW_C, HIGH_C))
        case "hours_below":
            return say(
                "{amount} hours at {temperature} or colder", amount=text, temperature=household.temperature(HIGH_C)
            )
        case "utah_units":
            return say("{amount} Utah units", amount=text)
        case "positive_units":
            return say("{amount} positive Utah units", amount=text)
        case "low_chill_units":
            return say("{amount} low-chill units", amount=text)
        case "north_carolina_units":
            return say("{amount} North Carolina units", amount=text)


def unit_words(model: Model) -> str:
    """Write the unit of a sum for the axis of a picture."""
    if model in _HOURS:
        return say("hours")
    return say("portions") if model == "portions" else say("units")


def model_words(model: Model, household: Household) -> str:
    """Name a sum, and what is weak about it."""
    names: dict[Model, str] = {
        "portions": say("Portions of the Dynamic Model"),
        "hours": say("Hours from {range}", range=household.temperatures(LOW_C, HIGH_C)),
        "hours_below": say("Hours at {temperature} or colder", temperature=household.temperature(HIGH_C)),
        "utah_units": say("Utah units: warm hours take away"),
        "positive_units": say("Utah units of hours that add"),
        "low_chill_units": say("Low-chill units"),
        "north_carolina_units": say("North Carolina units"),
    }
    return say("{name} (weak: implementations differ)", name=names[model]) if model in WEAK else names[model]


def when_words(met: ChillMet, season: ChillSeason, household: Household, *, least: bool = False) -> str:
    """Say when a sum reached a level, or likely will.

    Parameters
    ----------
    met : ChillMet
    season : ChillSeason
    household : Household
        Of who reads.
    least : bool
        Whether hours are missing, so that it was reached no later than told.

    Returns
    -------
    str
        Such as "since Mon 16 Nov", "likely Fri 8 Jan to Sun 17 Jan", "not by Mon 31 May".
    """
    if met.met is not None:
        day = _day(met.met, household)
        return say("by {day} at the latest", day=day) if least else say("since {day}", day=day)
    if season.now >= season.until:
        return say("not this winter")
    if met.chance is None or season.coming_until is None:
        return say("not yet")
    end = _day(season.coming_until, household)
    if met.chance == 0.0:
        return say("not by {day}", day=end)
    if met.p10 is None or met.p90 is None:
        return say("not sure: chance {chance} by {day}", chance=percent(met.chance), day=end)
    first, last = _day(met.p10, household), _day(met.p90, household)
    if first == last:
        return say("likely {day}", day=first)
    return say("likely {first} to {last}", first=first, last=last)


def basis_words(tree: TreeChill, need: ChillNeeded, household: Household) -> str:
    """Say what a tree needs, and on what that rests."""
    needs = need_words(need, household)
    if tree.basis == "own":
        return say("Needs {amount}, as the yard file says.", amount=needs)
    if tree.basis == "cultivar":
        return say("{cultivar} needs {amount}.", cultivar=tree.cultivar or tree.name, amount=needs)
    return say_count(
        "Its kind needs {amount}, by {count} figure for the kind or one cultivar of it.",
        "Its kind needs {amount}, over {count} cultivars.",
        need.cultivars,
        amount=needs,
    )


def sources(season: ChillSeason) -> list[str]:
    """Give the publications that needs and models rest on."""
    found = [source for tree in season.trees for need in tree.needs for source in need.sources]
    return list(dict.fromkeys([*found, *MODEL_SOURCES])) if season.trees else []
