"""The answers of placing in words, for pages and terminal alike."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from fruitwall.plans.placing.worth import ENOUGH_SUN_H
from fruitwall.service.household import month_name, number, percent
from fruitwall.service.kind_words import name_for_reader
from fruitwall.speech import marked, say, say_again, say_count, say_list

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from fruitwall.plans.placing.planting_out import Way
    from fruitwall.plans.placing.raster import Raster
    from fruitwall.plans.placing.seasons import Window
    from fruitwall.plans.placing.sites import Reason, Site
    from fruitwall.plants.catalogue import Catalogue, Taxon
    from fruitwall.service.household import Household
    from fruitwall.service.placing import Grown, KindSites, PotFound, WishFound, WishLine
    from fruitwall.service.placing_weather import ChillMet
    from fruitwall.yard.model import Yard

REASONS = {
    "warm_wall": marked("a wall gives back the day's warmth: {kelvin} milder than the middle of the yard"),
    "under_crown": marked("a crown hides cold sky: {kelvin} milder than the middle of the yard"),
    "milder": marked("{kelvin} milder than the middle of the yard on the coldest nights"),
    "sun": marked("{hours} h of sun a day in summer"),
    "sheltered": marked("sheltered from the wind: {share} of the open wind"),
    "power_near": marked("a socket is {metres} away ({by}): lamps can be hung in it"),
    "tap_near": marked("the tap is {metres} away"),
    "not_here": marked("left alone it would not live here: {share} to come through ten winters"),
    "hollow": marked("in a hollow where cold air gathers: {kelvin} colder on clear still nights"),
    "open_sky": marked("open to the cold sky: {kelvin} colder than the middle of the yard"),
    "colder": marked("{kelvin} colder than the middle of the yard on the coldest nights"),
    "scorch": marked("sun and heat hurt leaves or bark in {share} of summers"),
    "little_sun": marked("little sun: {hours} h a day in summer; most fruit wants six or more"),
    "winter_shade": marked("little sun in winter: {hours} h a day"),
    "roots": marked("under a large crown, whose roots take water and whose leaves take light"),
    "crown_near": marked("close to the crown of another tree"),
    "windy": marked("windy: {share} of the open wind"),
    "power_far": marked("the nearest socket is {metres} away"),
    "tap_far": marked("the tap is {metres} away: water has to be carried or led there"),
}
"""What speaks for a place or against it, by `sites.ReasonKey`."""

DIRECTIONS = (
    marked("{metres} north of {thing}"),
    marked("{metres} north-east of {thing}"),
    marked("{metres} east of {thing}"),
    marked("{metres} south-east of {thing}"),
    marked("{metres} south of {thing}"),
    marked("{metres} south-west of {thing}"),
    marked("{metres} west of {thing}"),
    marked("{metres} north-west of {thing}"),
)

GROUP_NAMES = {
    "safe": marked("Safe in most winters"),
    "burnt": marked("Lives here, now and then burnt"),
    "cover": marked("Only with a cover on cold nights"),
    "not_here": marked("Not here"),
}
GROUP_TOLD = {
    "safe": marked(
        "At its best place it lives ten winters in a row in 8 cases of 10 or more, and rarely loses its leaf."
    ),
    "burnt": marked(
        "It lives, but loses most of its leaf in more than one winter of ten, though in no more than five."
    ),
    "cover": marked(
        "Left alone it would be lost sooner or later, or stand bare most winters; covered on every cold night it does "
        "well."
    ),
    "not_here": marked(
        "Even covered it is likely to be lost, or to stand bare most winters. A container that is carried in may do."
    ),
}

CAUTIONS = (
    marked(
        "Before you dig: know where cables, gas, water and drains run. Ask the local service that marks buried lines; "
        "near a mark dig by hand."
    ),
    marked(
        "A tree out of its container is heavy and breaks easily: two people, a board or a cloth to slide it on, feet "
        "close to the load. Lift less, or not at all, if your back or doctor says so."
    ),
    marked("Local law on distances to boundaries, on trees and on digging prevails."),
)
"""To heed when planting. Marking services exist in many countries (common practice, no source); lifting as NIOSH 94-110
and HSE INDG143 have it; the last words are this project's."""


NEVER_SURE = 0.999
"""No chance to live is told as higher. Our judgement: some winters, and some trees, nobody has seen. [-]"""


@dataclass(frozen=True)
class SiteTold:
    """One place in words."""

    mark: str
    where: str
    verdict: str
    reasons: tuple[str, ...]
    against: tuple[str, ...]
    x_m: float
    y_m: float


def name_of(taxon: Taxon) -> str:
    """Give the name of a kind for the reader."""
    return name_for_reader(taxon.english, taxon.spanish)


def site_told(yard: Yard, household: Household, site: Site, mark: str) -> SiteTold:
    """Put one place into words."""
    return SiteTold(
        mark,
        where_words(yard, household, site.x_m, site.y_m),
        verdict_words(site),
        tuple(reason_words(one, household, yard) for one in site.reasons),
        tuple(reason_words(one, household, yard) for one in site.against),
        site.x_m,
        site.y_m,
    )


def verdict_words(site: Site) -> str:
    """Say what becomes of a tree at a place when nothing is done for it."""
    words = [say("Lives ten winters in a row: {share}.", share=percent(site.lives))]
    words.append(say("Loses most of its leaf or more: {share} of winters.", share=percent(site.leaf_loss)))
    if not math.isnan(site.fruit_loss):
        words.append(say("Of fruit that hangs in winter it loses {share} a year.", share=percent(site.fruit_loss)))
    return " ".join(words)


def reason_words(reason: Reason, household: Household, yard: Yard) -> str:
    """Say one reason."""
    names = {one.id: one.name for one in yard.circuits}
    return say(
        REASONS[reason.key],
        kelvin=household.difference(reason.value),
        hours=_hours(reason.value),
        share=percent(min(max(reason.value, 0.0), 1.0)),
        metres=household.length(max(reason.value, 0.0)),
        by=names.get(reason.by, reason.by),
    )


def where_words(yard: Yard, household: Household, x_m: float, y_m: float) -> str:
    """Say where a place is: how far and in which direction from the nearest thing that has a name."""
    from shapely import LineString, Point, Polygon
    from shapely.ops import nearest_points

    from fruitwall.yard.model import Canopy, Fence, Hollow, Wall

    spot = Point(x_m, y_m)
    things: list[tuple[str, BaseGeometry]] = [
        (tree.name, Point(tree.position)) for tree in yard.trees if not tree.container
    ]
    for one in yard.structures:
        if isinstance(one, Wall | Fence):
            things.append((one.name, LineString(one.line)))
        elif isinstance(one, Canopy):
            things.append((one.name, Point(one.position)))
        elif not isinstance(one, Hollow):
            things.append((one.name, Polygon(one.outline)))
    if not things:
        xs, ys = [x for x, _ in yard.outline], [y for _, y in yard.outline]
        return say(
            "{east} east and {north} north of the south-west corner",
            east=household.length(x_m - min(xs)),
            north=household.length(y_m - min(ys)),
        )
    name, shape = min(things, key=lambda thing: spot.distance(thing[1]))
    from_ = nearest_points(shape, spot)[0]
    turn = math.degrees(math.atan2(x_m - from_.x, y_m - from_.y))
    return say(DIRECTIONS[round(turn / 45.0) % 8], metres=household.length(max(spot.distance(shape), 0.1)), thing=name)


def window_words(window: Window) -> str:
    """Say when in the year it is planted."""
    if window.opens is None or window.closes is None:
        return say("No time of the year is free of harmful nights long enough to plant it out.")
    opens, closes = _day(window.opens), _day(window.closes)
    if window.season == "autumn":
        return say(
            "Plant it between {opens} and {closes}: the heat is over, and no more than {share} of first winters have a "
            "night that harms it.",
            opens=opens,
            closes=closes,
            share=percent(window.still_harmful),
        )
    if window.still_harmful == 0.0:
        return say(
            "Plant it between {opens} and {closes}: no winter that is known had a night later on that harms it, and it "
            "has time to root before the heat.",
            opens=opens,
            closes=closes,
        )
    return say(
        "Plant it between {opens} and {closes}: from then on {share} of springs still have a night that harms it, and "
        "it has time to root before the heat.",
        opens=opens,
        closes=closes,
        share=percent(window.still_harmful),
    )


def _day(day: tuple[int, int]) -> str:
    """Write a day of the year without the year."""
    name = month_name(date(2001, day[0], 1))
    return say("{day} {month}", day=day[1], month=name)


def kind_verdict(kind: KindSites, name: str) -> str:
    """Say in a sentence how it stands with a kind here."""
    if not kind.sites:
        return say("There is no free ground for {name}.", name=name)
    best = kind.sites[0].lives
    ordinary = percent(kind.ordinary.lives) if kind.ordinary else say("unknown")
    if best >= 0.8:
        words = marked(
            "{name} can live here unprotected. Over ten winters: {best} at the best place, {ordinary} at an ordinary "
            "one."
        )
    elif best >= 0.5:
        words = marked(
            "{name} is a risk here unprotected. Over ten winters: {best} at the best place, {ordinary} at an ordinary "
            "one."
        )
    else:
        words = marked(
            "{name} is not for this yard unprotected. Over ten winters: {best} at the best place, {ordinary} at an "
            "ordinary one."
        )
    return say(words, name=_capital(name), best=percent(best), ordinary=ordinary)


def kind_lines(kind: KindSites, household: Household) -> list[str]:
    """Say when a kind is planted, for what crown room is kept, and where its harm begins."""
    lines = [] if kind.window is None else [window_words(kind.window)]
    if kind.sites:
        lines.append(room_words(household.length(kind.crown_m), room=kind.room))
    degrees = household.temperature(kind.harmful_c)
    return [*lines, say("On the coldest nights its harm begins at {degrees}.", degrees=degrees)]


def _sentence(text: str) -> str:
    return _capital(text) if text.endswith((".", "!", "?")) else _capital(text) + "."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def room_words(crown: str, *, room: bool) -> str:
    """Say for how large a crown room is kept."""
    if room:
        return say("Room is kept for a crown of {crown}, as after ten years.", crown=crown)
    return say(
        "Nowhere is there room for a crown of {crown}, as after ten years. The places are free now; it has to be kept "
        "small.",
        crown=crown,
    )


def pot_verdict(found: PotFound) -> str:
    """Say whether a container tree is planted out."""
    plan = found.planting
    name = found.name
    if plan.answer == "nowhere":
        return say("{name} has to stay in its container: no ground is free.", name=name)
    if plan.answer == "stay":
        if plan.too_risky:
            return say(
                "Leave {name} in its container. In the ground, even covered on cold nights, it comes through ten "
                "winters in only {share} of cases.",
                name=name,
                share=percent(plan.best.lives if plan.best else 0.0),
            )
        return say("Leave {name} in its container: what the ground would give does not pay for the risk.", name=name)
    if plan.answer == "equal":
        return say("{name}: it hardly matters. Planted out or in its container it comes to the same.", name=name)
    return say("Plant {name} out.", name=name)


def pot_lines(found: PotFound, money: str) -> list[str]:
    """Say what speaks for the answer, each in a sentence, and when it is planted if it is."""
    plan = found.planting
    lines = []
    if plan.best is not None:
        lines.append(
            say(
                "In the ground at the best place: lives ten winters {share}, first winter {first}.",
                share=_chance(plan.best.lives),
                first=_chance(plan.best.first_winter),
            )
        )
        lines.append(_cover_line(plan.best, plan.big_enough))
        now, grown = (float(found.raster.leaf_loss[row, plan.cell]) for row in (0, found.grown))
        lines.append(
            say(
                "Left alone there it loses most of its leaf in {now} of winters at first, in {grown} when it is ten "
                "years older.",
                now=percent(now),
                grown=percent(grown),
            )
        )
    lines.append(
        say("In its container: lives ten winters {share}.", share=_chance(plan.pot.lives)) + " " + _carried_line(found)
    )
    if plan.best is not None:
        lines.append(
            say(
                "Over ten years, tree and fruit less work: {ground} in the ground, {pot} in the container "
                "({currency}).",
                ground=number(plan.best.value),
                pot=number(plan.pot.value),
                currency=money,
            )
        )
    if found.window is not None and plan.answer in ("plant", "equal"):
        lines.append(window_words(found.window))
    return lines


def _carried_line(found: PotFound) -> str:
    """Say what keeping it in its container takes."""
    pot = found.planting.pot
    if not found.carried_to:
        return say("Nobody can carry it in, so it stands out through every night.")
    if pot.lifts == 0.0:
        return say(
            "For that it is rolled to {place} and back on cold nights: {minutes} min a winter.",
            place=found.carried_to,
            minutes=number(pot.minutes),
        )
    return say(
        "For that it is carried to {place} and back on cold nights: {minutes} min and {lifts} lifts a winter.",
        place=found.carried_to,
        minutes=number(pot.minutes),
        lifts=number(pot.lifts),
    )


def _hours(hours: float) -> str:
    """Write hours of sun: whole from six on, and never rounded up to the six that are wanted."""
    return number(hours) if hours >= ENOUGH_SUN_H else number(math.floor(10.0 * hours) / 10.0, 1)


def _chance(share: float) -> str:
    """Write a chance to live: never sure, since no chance here is."""
    return percent(min(share, NEVER_SURE))


def _cover_line(best: Way, big_enough: int | None) -> str:
    if best.winters == 0:
        return say("Covering it on cold nights would cost more than it saves, or is not needed.")
    minutes = number(best.minutes)
    if big_enough is None:
        return say_count(
            "Covering it on cold nights pays for {count} winter and longer: about {minutes} min a winter.",
            "Covering it on cold nights pays for {count} winters and longer: about {minutes} min a winter.",
            best.winters,
            minutes=minutes,
        )
    return say_count(
        "Cover it on cold nights for {count} winter, about {minutes} min; then it is big enough.",
        "Cover it on cold nights for {count} winters, about {minutes} min each; then it is big enough.",
        best.winters,
        minutes=minutes,
    )


def wish_verdict(found: WishFound, names: Sequence[str], money: str) -> list[str]:
    """Say how the whole list fits, and how sure that is."""
    assignment = found.assignment
    placed = len(assignment.placed)
    lines = [say_count("{count} plant has its place.", "{count} plants have their places.", placed)]
    short = [
        say("{count} of {name}", count=line.missing, name=name)
        for line, name in zip(found.lines, names, strict=True)
        if line.missing
    ]
    if short:
        lines.append(
            say("No room for {plants}.", plants=say_list(short))
            if assignment.room_proven
            else say("No room was found for {plants}; with other places there might be some.", plants=say_list(short))
        )
    if placed:
        lines.append(
            say("This is the best way there is, over all places of the yard.")
            if assignment.proven
            else say(
                "Over ten years, fruit and trees less work, it is worth {value}; no other way is worth more than "
                "{bound} ({currency}).",
                value=number(assignment.value),
                bound=number(assignment.bound),
                currency=money,
            )
        )
    doubtful = [
        name for line, name in zip(found.lines, names, strict=True) if any(chance < 0.5 for chance in line.lives)
    ]
    if doubtful:
        lines.append(
            say(
                "Not advised, since it dies within ten winters more likely than not: {plants}.",
                plants=say_list(doubtful),
            )
        )
    return lines


def wish_site_verdict(line: WishLine, at: int) -> str:
    """Say what becomes of one plant of a wish list."""
    words = say("Lives ten winters in a row: {share}.", share=_chance(line.lives[at]))
    if line.covered[at]:
        words += " " + say("Covered on cold nights, about {minutes} min a winter.", minutes=number(line.minutes[at]))
    return words


def grown_words(one: Grown) -> list[str]:
    """Say what becomes of a kind, at its best place and at an ordinary one, and how sure that is."""
    best, ordinary = one.ranked.best, one.ranked.ordinary
    lines = [
        say(
            "Ten winters: {best} at the best place, {ordinary} at an ordinary one. One winter: {one}.",
            best=percent(best.lives),
            ordinary=percent(ordinary.lives),
            one=percent(best.survive),
        ),
        say("Loses most of its leaf: {share} of winters.", share=percent(best.leaf_loss)),
    ]
    if one.ranked.group == "cover":
        lines.append(
            say(
                "Covered on every cold night: {share} over ten winters; loses most of its leaf in {leaf} of winters.",
                share=_chance(one.ranked.covered_lives),
                leaf=percent(one.ranked.covered_leaf_loss),
            )
        )
    if not math.isnan(best.fruit_loss):
        lines.append(say("Of fruit that hangs in winter it loses {share} a year.", share=percent(best.fruit_loss)))
    chill = chill_words(one.chill)
    if chill:
        lines.append(chill)
    lines.append(evidence_words(one.voices, one.rows))
    return lines


def chill_words(chill: ChillMet) -> str:
    """Say whether winters are cold enough for it to bear; empty for kinds that need no chill."""
    if chill.basis == "none":
        return ""
    if chill.least is None or chill.most is None:
        return say("It needs winter chill; how much is not known here.")
    if chill.most >= 0.9:
        return say("Winter chill is enough in {share} of winters.", share=percent(chill.most))
    if chill.least < 0.5:
        return say(
            "Too little winter chill for fruit: enough in {share} of winters, even for the least that is published.",
            share=percent(chill.least),
        )
    return say(
        "Winter chill is enough in {least} of winters for its easiest cultivars, in {most} for the most demanding: "
        "choose a low-chill one.",
        least=percent(chill.least),
        most=percent(chill.most),
    )


def evidence_words(voices: int, rows: int) -> str:
    """Say how sure what it stands is."""
    if voices == 0:
        return say("Nothing is published on it here: judged by its relatives.")
    if voices == 1:
        return say("Only one independent source says what it stands.")
    if voices < 4:
        return say_count(
            "{count} independent source says what it stands.", "{count} independent sources say what it stands.", voices
        )
    return say_count(
        "Well known: {count} independent source says what it stands.",
        "Well known: {count} independent sources say what it stands.",
        voices,
    )


def notes_of(raster: Raster) -> list[str]:
    """Say what the raster rests on and assumes."""
    lines = [
        say_count(
            "From {count} winter replayed at every place of the yard ({source}).",
            "From {count} winters replayed at every place of the yard ({source}).",
            len(raster.winters),
            source=say_again(raster.source),
        )
    ]
    if len(raster.winters) < 10:
        lines.append(
            say("So few winters say little of rare cold: take the chances as rough, and more likely too good.")
        )
    lines.append(
        say(
            "Ten winters are drawn from these; what is not known of a tree counts too, so a chance is never sure even "
            "where no known winter would kill it."
        )
    )
    return [*lines, *(_sentence(say_again(note)) for note in raster.notes)]


def cautions() -> list[str]:
    """Give what to heed when planting."""
    return [say(text) for text in CAUTIONS]


def taxon_name(known: Catalogue, scientific: str) -> str:
    """Give the name of a kind for the reader by its scientific name."""
    return name_of(known.find(scientific))
