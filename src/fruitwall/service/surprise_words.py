"""Surprises in words: what was unexpected, what to change, how sure that is, for pages and terminal alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, isfinite
from typing import TYPE_CHECKING

from fruitwall.service.household import decimal, number, percent, short_day
from fruitwall.service.household import minutes as minutes_words
from fruitwall.service.ledger import GRADES
from fruitwall.service.surprises import ADVICE, NOTABLE_K, NOTABLE_SPOT_K
from fruitwall.speech import marked, say, say_count, say_list

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.service.household import Household
    from fruitwall.service.surprises import Kind, Surprise, Trial
    from fruitwall.service.taught import Evidence

SIGNS = "+-\N{MINUS SIGN}"

VERY_STRONG, STRONG = 0.97, 0.9
"""Chances from which on evidence is called so. Our judgement: thirty to one, ten to one, and below that fair."""


SECTIONS: tuple[tuple[str, tuple[Kind, ...]], ...] = (
    (marked("What to change"), ADVICE),
    (marked("Trees that stand other than believed"), ("tenderer", "hardier")),
    (marked("Spots other than reckoned"), ("colder", "warmer")),
    (marked("What paid"), ("paid",)),
)
"""Headings, and which kinds of surprises stand below each."""


@dataclass(frozen=True)
class SurpriseTold:
    """One surprise in words.

    Attributes
    ----------
    lines : tuple of str
        What was unexpected, a sentence or two each.
    change : str
        What to change.
    bounds : str
        How far the advice goes; empty where it has no bounds.
    strength : str
        How sure it is, with the number behind it.
    worth : str
        What it is about; empty where that is next to nothing.
    read : str
        What was read at a spot; empty for trees and measures.
    """

    lines: tuple[str, ...]
    change: str
    bounds: str
    strength: str
    worth: str
    read: str = ""


def told(one: Surprise, household: Household) -> SurpriseTold:
    """Say a surprise in the language and the units of who reads.

    Parameters
    ----------
    one : Surprise
    household : Household

    Returns
    -------
    SurpriseTold
    """
    sentence, change, bounds = _said(one, household)
    lines = [sentence]
    if one.trial is not None:
        lines = [f"{_done(one.trial)} {_alone(one.trial)}", _balance(one.trial, household)]
        if one.others:
            lines.insert(0, say("In it stand {trees}.", trees=say_list([name for _, name in one.others])))
    read = ""
    if one.kind in ("colder", "warmer"):
        read = say_count(
            "A thermometer was read there on {count} night.",
            "A thermometer was read there on {count} nights.",
            one.count,
        )
    return SurpriseTold(tuple(lines), change, bounds, strength(one, household), _worth(one, household), read)


def title(one: Surprise) -> str:
    """Name what a surprise is about."""
    if one.kind in ("colder", "warmer"):
        return say("The spot of {tree}", tree=one.name)
    return one.name


def _said(one: Surprise, household: Household) -> tuple[str, str, str]:
    """Say what was unexpected, what to change, and how far that goes."""
    size = household.difference(one.size_k)
    trial = one.trial
    match one.kind:
        case "hardier" | "tenderer":
            return *_of_tree(one, household), _by_others(one)
        case "colder":
            return (
                say("On clear, calm nights it is {size} colder here than was reckoned.", size=size),
                say("Plans reckon with it from now on. Something tender stands safer elsewhere."),
                "",
            )
        case "warmer":
            return (
                say("On clear, calm nights it is {size} warmer here than was reckoned.", size=size),
                say("Plans reckon with it from now on. It is a place for something more tender."),
                "",
            )
        case "start":
            return (
                f"{say('It was left alone and hurt more than was expected.')} {_seen(one, household)}",
                say(
                    "Begin to protect it when its coldest hour is to fall below {limit}.",
                    limit=bound_words(one.limit_c, household),
                ),
                say("The plan chooses how; where nothing fits it says so."),
            )
        case "too_little":
            return (
                f"{say('It was hurt more than was expected, in spite of what was done for it.')} "
                f"{_seen(one, household)}",
                say("More than that has to be done on such a night: lamps under the cover, or another place."),
                say("The plan reckons with it from now on."),
            )
    assert trial is not None
    if one.kind == "paid":
        return "", say("Go on as the plan asks."), ""
    return "", _stop(trial, household), _bounds(trial, household)


def _of_tree(one: Surprise, household: Household) -> tuple[str, str]:
    assert one.before is not None
    assert one.after is not None
    unit = f"\N{NO-BREAK SPACE}{household.degree}"
    values = {
        "before": f"{household.tenths(one.before.p50)}{unit}",
        "after": f"{household.tenths(one.after.p50)}{unit}",
        "size": f"{household.change(one.before.p50, one.after.p50).lstrip(SIGNS)}\N{NO-BREAK SPACE}{household.step}",
    }
    if one.kind == "hardier":
        return (
            say("It stands {size} more than was believed: harm begins near {after}, not near {before}.", **values),
            say("Plans protect it later from now on."),
        )
    return (
        say("It stands {size} less than was believed: harm begins near {after}, not near {before}.", **values),
        say("Plans protect it sooner from now on."),
    )


def _seen(one: Surprise, household: Household) -> str:
    """Say what was seen after which cold, and how little that had been expected."""
    look = one.seen
    if look is None or look.coldest_night is None:
        return ""
    return say(
        "After {cold} in the night of {night}: “{grade}”; so bad, or worse, had a chance of {chance}.",
        cold=household.temperature(look.coldest_c),
        night=day_words(look.coldest_night),
        grade=say(GRADES[look.grade][1]),
        chance=percent(sum(look.expected[look.grade :])),
    )


def _by_others(one: Surprise) -> str:
    """Say that a tree was never looked at itself."""
    if one.count or not one.others:
        return ""
    return say_count(
        "Learned from {count} other tree of its kind; a look at this one itself would make it surer.",
        "Learned from {count} other trees of its kind; a look at this one itself would make it surer.",
        len(one.others),
    )


def _done(trial: Trial) -> str:
    """Say how often what was done."""
    match trial.verb:
        case "carry":
            return say_count("Carried in on {count} night.", "Carried in on {count} nights.", trial.times)
        case "cover":
            return say_count("Covered on {count} night.", "Covered on {count} nights.", trial.times)
        case "wet":
            return say_count("Its ground wetted on {count} night.", "Its ground wetted on {count} nights.", trial.times)
        case "shelter":
            return say_count(
                "Its shelter closed on {count} night.", "Its shelter closed on {count} nights.", trial.times
            )
    return say_count("Protected on {count} night.", "Protected on {count} nights.", trial.times)


def _alone(trial: Trial) -> str:
    """Say what leaving it alone would have done."""
    return say(
        "Left alone on all of them: burnt leaf or worse with a chance of {harm}, death with {dead}.",
        harm=percent(trial.harm),
        dead=percent(trial.dead),
    )


def _balance(trial: Trial, household: Household) -> str:
    """Say what was saved beside what it took."""
    return say(
        "That took {minutes} a winter, worth {cost}, and saved {saved} of the tree a winter.",
        minutes=minutes_words(trial.minutes),
        cost=money(trial.cost, household),
        saved=money(max(trial.saved, 0.0), household),
    )


def _stop(trial: Trial, household: Household) -> str:
    """Say what to stop, and above which cold."""
    values = {"bound": bound_words(trial.bound_c, household), "minutes": minutes_words(trial.minutes)}
    match trial.verb:
        case "carry":
            template = say(
                "Stop carrying it while its coldest hour stays above {bound}: {minutes} a winter saved.", **values
            )
        case "cover":
            template = say(
                "Stop covering it while its coldest hour stays above {bound}: {minutes} a winter saved.", **values
            )
        case "wet":
            template = say(
                "Stop wetting its ground while its coldest hour stays above {bound}: {minutes} a winter saved.",
                **values,
            )
        case "shelter":
            template = say(
                "Leave the shelter open while the coldest hour stays above {bound}: {minutes} a winter saved.", **values
            )
        case _:
            template = say(
                "Stop protecting it while its coldest hour stays above {bound}: {minutes} a winter saved.", **values
            )
    return template


def _bounds(trial: Trial, household: Household) -> str:
    """Say why the advice ends where it ends."""
    if trial.colder:
        return say_count(
            "Below that go on: on {count} colder night the risk was not small.",
            "Below that go on: on {count} colder nights the risk was not small.",
            trial.colder,
        )
    return say("Below that go on: nothing is known of colder nights, none on which it was protected was colder.")


def strength(one: Surprise, household: Household) -> str:
    """Say how sure a surprise is, with the number behind it."""
    notable = NOTABLE_SPOT_K if one.kind in ("colder", "warmer") else NOTABLE_K
    # What is summed over a grid of shifts can come out as one; nothing here is certain.
    values = {"chance": percent(min(one.chance, 0.999)), "size": household.bound(notable)}
    match one.kind:
        case "hardier":
            behind = say("a chance of {chance} that it stands at least {size} more", **values)
        case "tenderer":
            behind = say("a chance of {chance} that it stands at least {size} less", **values)
        case "colder":
            behind = say("a chance of {chance} that it is at least {size} colder", **values)
        case "warmer":
            behind = say("a chance of {chance} that it is at least {size} warmer", **values)
        case "stop":
            behind = say("a chance of {chance} that it saved less than it cost", **values)
        case "too_little":
            return say("A chance of {chance} that the same night with the same cover hurts it again.", **values)
        case _:
            behind = say("a chance of {chance} that it saves more than it costs", **values)
    if one.chance >= VERY_STRONG:
        return say("Very strong evidence: {behind}.", behind=behind)
    if one.chance >= STRONG:
        return say("Strong evidence: {behind}.", behind=behind)
    return say("Fair evidence: {behind}.", behind=behind)


def _worth(one: Surprise, household: Household) -> str:
    if one.worth < 0.5:
        return ""
    return say("It is about {money} a winter.", money=money(one.worth, household))


def money(amount: float, household: Household) -> str:
    """Write an amount of money: whole from ten on."""
    return f"{number(amount, 0 if abs(amount) >= 10 else 2)}\N{NO-BREAK SPACE}{household.display.currency}"


def bound_words(celsius: float, household: Household) -> str:
    """Write a temperature down to which something holds, rounded up: to half a °C, or to a whole °F."""
    if not isfinite(celsius):
        return say("unknown")
    step = 1.0 if household.fahrenheit else 0.5
    upwards = ceil(round(household.degrees(celsius) / step, 6)) * step
    return household.temperature((upwards - 32.0) / 1.8 if household.fahrenheit else upwards)


# ---------------------------------------------------------------- evidence


def done_words(measure: str) -> str:
    """Say what was done for a tree by the key of the measure, as a row of a table says it."""
    first, *more = measure.split("+")
    match first.split(":")[0].split("@")[0]:
        case "leave":
            what = say("nothing")
        case "carry":
            what = say("carried in")
        case "cover":
            what = say("covered")
        case "wet":
            what = say("ground wetted")
        case "shelter":
            what = say("shelter closed")
        case _:
            what = say("something done")
    if any(one.startswith(("lamps", "heater")) for one in more):
        return say("{what}, with heat", what=what)
    return what


@dataclass(frozen=True)
class LookTold:
    """One look as evidence, in words."""

    when: str
    by: str
    seen: str
    expected: str
    pull: str
    nights: str


def look_told(look: Evidence, household: Household) -> LookTold:
    """Say what a look says of a tree.

    Parameters
    ----------
    look : Evidence
    household : Household

    Returns
    -------
    LookTold
    """
    from fruitwall.service.household import author_words

    nights = say_count("{count} night since the look before", "{count} nights since the look before", look.nights)
    if look.coldest_night is not None and isfinite(look.coldest_c):
        nights = say(
            "{nights}, the coldest {cold} ({night})",
            nights=nights,
            cold=household.temperature(look.coldest_c),
            night=day_words(look.coldest_night),
        )
    tail = sum(look.expected[look.grade :])
    expected = (
        say("expected: so well with a chance of {chance}", chance=percent(look.expected[0]))
        if look.grade == 0
        else say("expected: so bad, or worse, with a chance of {chance}", chance=percent(tail))
    )
    if look.cold < 1.0 and look.grade > 0:
        expected = say("{expected}; that it is of cold: {cold}", expected=expected, cold=percent(look.cold))
    return LookTold(
        when=day_words(look.at.astimezone(household.zone).date()),
        by=author_words(look.observer),
        seen=say("Grade {grade}: {words}", grade=look.grade, words=say(GRADES[look.grade][1])),
        expected=expected,
        pull=pull_words(look.pull_k, household),
        nights=nights,
    )


def day_words(day: date) -> str:
    """Write a day with its year: evidence reaches over several winters."""
    return f"{short_day(day)} {day.year}"


def pull_words(kelvin: float, household: Household) -> str:
    """Say which way a look pulls what is believed, and how far."""
    size = decimal(f"{abs(kelvin) * (1.8 if household.fahrenheit else 1.0):.1f}")
    if not float(size.replace(",", ".")):
        return say("changes nothing by itself")
    size = f"{size}\N{NO-BREAK SPACE}{household.step}"
    return say("{size} more tender", size=size) if kelvin > 0 else say("{size} hardier", size=size)


def nothing_yet(looks: int, nights: int) -> Sequence[str]:
    """Say what is needed for surprises.

    Parameters
    ----------
    looks : int
        Graded looks that taught so far.
    nights : int
        Nights whose weather is known.

    Returns
    -------
    sequence of str
        A sentence each.
    """
    found = [
        say_count(
            "So far {count} look taught something;", "So far {count} looks taught something;", looks
        )
        + " "
        + say_count("of {count} night it is known what the trees went through.",
                    "of {count} nights it is known what the trees went through.", nights)
    ]  # fmt: skip
    if not looks:
        found.append(
            say("Look at the trees a week or two after a cold night, also at those that seem well, and grade them.")
        )
    if not nights:
        found.append(
            say(
                "What past nights were like is taken from forecasts and readings that are kept; nothing is kept so far."
            )
        )
    found.append(say("Hang a thermometer at a tree: from ten nights of readings on its spot is known clearly better."))
    return found
