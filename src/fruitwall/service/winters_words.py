"""Many winters in words, for page and terminal alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.service.household import long_day, minutes, number, percent, short_day
from fruitwall.service.season_part import PartTable
from fruitwall.speech import capital, say, say_again, say_count

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.winters_document import WinterKnown, WintersChoice, WintersDocument, WintersPart


@dataclass(frozen=True)
class PartTold:
    """One thing that is asked of many winters.

    Attributes
    ----------
    key, title, about : str
    verdict : str
        What it said last; empty if it never was worked out.
    when : str
        When that was, and whether something has changed since.
    """

    key: str
    title: str
    about: str
    verdict: str
    when: str


@dataclass(frozen=True)
class WintersTold:
    """What is told.

    Attributes
    ----------
    verdict : str
        One sentence.
    lines : tuple of str
        How they are taken, whether they change, how long an answer takes.
    table : PartTable or None
        A row for each winter, newest first; `trees` is empty.
    parts : tuple of PartTold
    notices : tuple of str
    """

    verdict: str
    lines: tuple[str, ...]
    table: PartTable | None
    parts: tuple[PartTold, ...]
    notices: tuple[str, ...]


def winters_told(document: WintersDocument, household: Household) -> WintersTold:
    """Tell which winters are known.

    Parameters
    ----------
    document : WintersDocument
    household : Household
        Of who reads.

    Returns
    -------
    WintersTold
    """
    if document.source is None:
        nothing = say("No whole winter of other years is known here, so nothing can be asked of many winters yet.")
        return WintersTold(nothing, (), None, (), ())
    source = say("They come from: {source}.", source=say_again(document.source))
    lines = [
        source,
        *_gaps(document),
        *choice_lines(document.choice, household),
        _trend(document, household),
        _takes(document),
    ]
    if document.kept_bytes:
        lines.append(
            say(
                "What was worked out is kept in the database ({size}); the oldest goes first.",
                size=f"{number(document.kept_bytes / 1e6, 1)}\N{NO-BREAK SPACE}MB",
            )
        )
    return WintersTold(
        verdict=_verdict(document, household),
        lines=tuple(lines),
        table=_table(document.winters, household),
        parts=tuple(_part(one, household) for one in document.parts),
        notices=tuple(capital(household.in_own_units(say_again(one))).rstrip(".") + "." for one in document.notices),
    )


def _verdict(document: WintersDocument, household: Household) -> str:
    """Say how many there are, of which kind, and how cold the coldest was."""
    winters, real = document.winters, [one for one in document.winters if one.real]
    count = len(winters)
    if len(real) == count:
        whole = say_count("{count} real winter is known", "{count} real winters are known", count)
    elif real:
        whole = say_count(
            "{count} winter is known, {real} of them real, the others put together from months of many",
            "{count} winters are known, {real} of them real, the others put together from months of many",
            count,
            real=len(real),
        )
    else:
        whole = say_count(
            "{count} winter is known, put together from months of many",
            "{count} winters are known, each put together from months of many",
            count,
        )
    known = [one for one in winters if one.coldest_c is not None]
    if not known:
        return say("{winters}.", winters=whole)
    coldest = min(known, key=lambda one: one.coldest_c or 0.0)
    return say(
        "{winters}, {first} to {last}; the coldest night of all had {cold}, in {winter}.",
        winters=whole,
        first=winters[0].name,
        last=winters[-1].name,
        cold=household.temperature(coldest.coldest_c or 0.0),
        winter=coldest.name,
    )


def _gaps(document: WintersDocument) -> list[str]:
    """Say how many winters between the first and the last are not known."""
    begun = {int(one.name[:4]) for one in document.winters if one.real}
    missing = max(begun) - min(begun) + 1 - len(begun) if begun else 0
    if not missing:
        return []
    return [say_count("{count} winter in between is not known.", "{count} winters in between are not known.", missing)]


def choice_lines(choice: WintersChoice, household: Household) -> list[str]:
    """Say how the winters are taken, where not as they were."""
    lines = []
    if choice.warmer_k > 0:
        lines.append(
            say("All of them are taken {size} warmer than they were.", size=household.fine_difference(choice.warmer_k))
        )
    elif choice.warmer_k < 0:
        lines.append(
            say("All of them are taken {size} colder than they were.", size=household.fine_difference(choice.warmer_k))
        )
    if choice.weighting == "recent":
        lines.append(say("Recent winters count for more than old ones."))
    if choice.trend_taken_out:
        lines.append(say("Each winter is moved to the level of today by the trend of the record."))
    return lines


def _trend(document: WintersDocument, household: Household) -> str:
    """Say whether the coldest nights change."""
    trend = document.trend
    if trend is None:
        return say("Whether the winters become milder cannot be told from so few real ones.")
    if not trend.sure:
        return say(
            "No trend in their coldest nights is sure ({change} in ten years; chance alone does as much in {chance} of "
            "records).",
            change=f"{household.change(0.0, trend.per_decade_k)}\N{NO-BREAK SPACE}{household.step}",
            chance=percent(trend.chance),
        )
    template = (
        "Their coldest nights have become milder by {change} in ten years."
        if trend.per_decade_k > 0
        else "Their coldest nights have become colder by {change} in ten years."
    )
    return say(template, change=household.fine_difference(trend.per_decade_k))


def _takes(document: WintersDocument) -> str:
    """Say how long an answer takes."""
    return takes_words(document.takes_s)


def takes_words(takes_s: float) -> str:
    """Say how long the first answer takes, before it is begun."""
    if takes_s < 45.0:
        return say(
            "The first answer takes less than a minute. It can be stopped and goes on where it was; what was worked "
            "out once is not worked out again."
        )
    return say(
        "The first answer takes about {time}. It can be stopped and goes on where it was; what was worked out once is "
        "not worked out again.",
        time=minutes(max(1.0, takes_s / 60.0)),
    )


def _table(winters: Sequence[WinterKnown], household: Household) -> PartTable:
    """Give a row for each winter."""
    equal = len({round(one.weight, 6) for one in winters}) == 1
    rows = []
    for one in reversed(winters):
        cells = [
            one.name if one.real else say("{winter} (put together)", winter=one.name),
            "–" if one.coldest_c is None else household.bare_temperature(one.coldest_c),
            "–" if one.coldest_night is None else short_day(one.coldest_night),
        ]
        rows.append(tuple(cells if equal else [*cells, percent(one.weight)]))
    columns = [say("winter"), say("coldest {unit}", unit=household.degree), say("in the night of")]
    return PartTable(
        caption=say("The winters; nights are named by their evening"),
        columns=tuple(columns if equal else [*columns, say("weight")]),
        rows=tuple(rows),
        trees=(),
    )


def _part(part: WintersPart, household: Household) -> PartTold:
    """Say what a part said last."""
    when = ""
    if part.worked_out is not None:
        day = long_day(part.worked_out.astimezone(household.zone).date())
        when = (
            say("Worked out on {day}; the yard, the winters or the program have changed since.", day=day)
            if part.outdated
            else say("Worked out on {day}.", day=day)
        )
    verdict = "" if part.verdict is None else household.in_own_units(say_again(part.verdict))
    return PartTold(part.key, say_again(part.title), say_again(part.about), verdict, when)
