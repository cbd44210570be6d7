"""``fruitwall demo --winters``: what two invented winters teach, and what changes tonight."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from fruitwall.cli.given import open_journal
from fruitwall.cli.serving import Listening, serve_pages
from fruitwall.cli.told import progress, show_plan
from fruitwall.speech import say, say_count

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import RenderableType

    from fruitwall.journal.store import Journal
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.service.taught import TaughtTree
    from fruitwall.service.two_winters_told import Told

TELLING_TREES, LOOKS_OF_THEM, LOOKS_EACH = 12, 3, 3
"""Trees in the table, those of which looks are told, and looks of each."""


def show_winters(house_of: Callable[[Journal, str], House], *, once: bool, port: int, database: str | None) -> None:
    """Tell the story of the two winters, then serve the pages of its yard.

    Parameters
    ----------
    house_of : callable
        Gives the house of a journal and the name of its yard.
    once : bool
        Print and stop.
    port : int
        Of the pages; 0 takes a free one.
    database : str or None
        Where the journal is; its own place if left out.
    """
    from zoneinfo import ZoneInfo

    from fruitwall.service.demo import keep_weather
    from fruitwall.service.household import Household
    from fruitwall.service.two_winters_invented import YARD_NAME
    from fruitwall.service.two_winters_told import tell, two_winters_database, two_winters_desk
    from fruitwall.terminal import show

    place = database or os.environ.get("FRUITWALL_DATABASE") or str(two_winters_database())
    with open_journal(place) as journal:
        house = house_of(journal, YARD_NAME)
        desk = two_winters_desk(house)
        with progress() as report:
            told = tell(house, desk, report)
            # After the story: what the year between was like changes nothing of what the two winters taught.
            keep_weather(journal, YARD_NAME, since=datetime(2026, 4, 1, 8, tzinfo=UTC))
        yard, _ = house.yard()
        show(story(told, Household(yard.display, ZoneInfo(yard.location.time_zone))))
        if once:
            return
        show_plan(told.learned, yard, as_json=False, tree=None)
        serve_pages(desk.plan_for, desk.yard, house.clock, house, Listening(port=port))


def story(told: Told, household: Household) -> RenderableType:
    """Lay out the story: what was invented, before and after, the looks, the evening, and the truth.

    Parameters
    ----------
    told : Told
    household : Household
        Whose units are used.

    Returns
    -------
    RenderableType
    """
    from rich.console import Group
    from rich.text import Text

    from fruitwall.service.two_winters_told import most_telling

    telling = most_telling(told.taught, TELLING_TREES)
    looks = sum(len(one.evidence) for one in told.taught.trees.values())
    head = say(
        "The weather is real, hours of other years played back. The household is invented: what it did, the {looks} "
        "and the readings of three thermometers. They were drawn from a hidden truth, and what was learned is held "
        "against it here.",
        looks=say_count("{count} graded look", "{count} graded looks", looks),
    )
    nights = say_count("{count} night was lived through.", "{count} nights were lived through.", told.taught.nights)
    return Group(
        Text("\n" + say("Two winters at Lizard Steps, and what they taught"), style="bold"),
        Text(f"{head} {nights}"),
        *_before_and_after(told, telling, household),
        *_looks(telling, household),
        *_air(told, household),
        *_evening(told),
        *_truth(told, household),
    )


def _heading(text: str) -> RenderableType:
    from rich.text import Text

    return Text(f"\n{text}", style="bold")


def _before_and_after(told: Told, telling: list[TaughtTree], household: Household) -> list[RenderableType]:
    """Give the trees of which most was learned, published, learned and true."""
    from rich.table import Table
    from rich.text import Text

    from fruitwall.service.two_winters_told import true_limit_c

    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column(say("tree"), overflow="fold", max_width=26)
    for head in (
        say("published {unit}", unit=household.degree),
        say("learned {unit}", unit=household.degree),
        say("true {unit}", unit=household.degree),
    ):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column(say("looks"), justify="right")
    for one in telling:
        ranges = [
            say(
                "{middle} ({low} to {high})",
                middle=household.tenths(spread.p50),
                low=household.tenths(spread.p10),
                high=household.tenths(spread.p90),
            )
            for spread in (one.before, one.after)
        ]
        table.add_row(one.name, *ranges, household.tenths(true_limit_c(one, told.truth)), str(len(one.evidence)))
    legend = say("Where its harm begins within an hour: the middle, and in brackets what eight chances in ten hold.")
    return [_heading(say("What the trees stand, before and after")), table, Text(legend, style="dim")]


def _looks(telling: list[TaughtTree], household: Household) -> list[RenderableType]:
    """Give of some trees the looks that nobody would have expected."""
    from rich.padding import Padding
    from rich.text import Text

    from fruitwall.service.household import author_words, long_day, percent
    from fruitwall.service.ledger import GRADES
    from fruitwall.service.two_winters_told import tails, unexpected

    parts: list[RenderableType] = [_heading(say("By which looks"))]
    for one in telling[:LOOKS_OF_THEM]:
        parts.append(Text(one.name))
        for look in unexpected(one, LOOKS_EACH):
            so_little, so_much = tails(look)
            line = say(
                "{day}, {who}: {grade}, after a night that brought it {cold}; {chance}.",
                day=long_day(look.at.astimezone(household.zone).date()),
                who=author_words(look.observer),
                grade=say(GRADES[look.grade][1]),
                cold=household.temperature(look.coldest_c),
                chance=say("so little or less was expected with a chance of {chance}", chance=percent(so_little))
                if so_little < so_much
                else say("so much or more was expected with a chance of {chance}", chance=percent(so_much)),
            )
            parts.append(Padding(Text(line), (0, 0, 0, 2)))
    return parts


def _air(told: Told, household: Household) -> list[RenderableType]:
    """Give what the thermometers taught."""
    from rich.text import Text

    from fruitwall.service.two_winters_invented import COLD_TREE
    from fruitwall.service.two_winters_told import cold_spot_k, forecasts_off_k

    lines = []
    spot, warm = cold_spot_k(told.beliefs), forecasts_off_k(told.beliefs)
    if spot is not None:
        lines.append(
            say(
                "At {tree} a clear calm night is {size} colder than computed before (± {doubt}); in truth {true}.",
                tree=told.taught.trees[COLD_TREE].name,
                size=_tenths(-spot[0], household),
                doubt=_tenths(spot[1], household),
                true=_tenths(told.truth.colder_k, household),
            )
        )
    if warm is not None:
        lines.append(
            say(
                "Forecasts of clear calm nights are {size} too warm; in truth {true}.",
                size=_tenths(-warm, household),
                true=_tenths(told.truth.forecast_warm_k, household),
            )
        )
    lines.append(
        say(
            "So tonight's minimum at the station is taken as {learned} instead of {issued}.",
            learned=household.temperature(told.learned.forecast.station_minimum_c.p50),
            issued=household.temperature(told.published.forecast.station_minimum_c.p50),
        )
    )
    return [_heading(say("What the thermometers taught")), *(Text(line) for line in lines)]


def _evening(told: Told) -> list[RenderableType]:
    """Give what changes in tonight's plan."""
    from rich.table import Table
    from rich.text import Text

    from fruitwall.service.household import bare_percent
    from fruitwall.service.two_winters_told import changes

    found = changes(told.published, told.learned)
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column(say("tree"), overflow="fold", max_width=22)
    for head in (say("by what is published"), say("by what was learned")):
        table.add_column(head, overflow="fold", max_width=26)
        table.add_column(say("harm %"), justify="right", no_wrap=True)
    for one in found:
        harm = [" → ".join(map(bare_percent, pair)) for pair in (one.harm_published, one.harm_learned)]
        table.add_row(one.name, one.published, harm[0], one.learned, harm[1])
    count = say_count(
        "{count} tree gets something else tonight. Harm: chance left alone → with the plan, as believed.",
        "{count} trees get something else tonight. Harm: chance left alone → with the plan, as believed.",
        len(found),
    )
    return [_heading(say("What changes in tonight's plan")), table, Text(count, style="dim")]


def _tenths(kelvin: float, household: Household) -> str:
    """Write a difference to a tenth of a degree, with its unit: whole °F would hide what is told here."""
    return f"{household.change(0.0, kelvin).lstrip('+')}\N{NO-BREAK SPACE}{household.step}"


def _truth(told: Told, household: Household) -> list[RenderableType]:
    """Hold what was learned against the truth, also where it is wrong."""
    from rich.text import Text

    from fruitwall.service.two_winters_told import recovery

    found = recovery(told.taught, told.truth)
    worst, true = found.worst, told.truth.shifts_k[found.worst.tree]
    lines = [
        say(
            "Of {trees} trees that were looked at, the truth of {within} lies in the range that was given nine chances "
            "in ten. Of {much} trees the doubt fell by a third or more; {nearer} of these are nearer the truth than by "
            "what is published.",
            trees=found.trees,
            within=found.within,
            much=found.much,
            nearer=found.nearer,
        ),
        say(
            "For these, what is published is {before} off (root mean square), what was learned {after}.",
            before=_tenths(found.published_off_k, household),
            after=_tenths(found.learned_off_k, household),
        ),
        say(
            "Furthest off is {tree}: learned {learned} ± {doubt}, in truth {true} (above zero: more tender).",
            tree=worst.name,
            learned=household.change(0.0, worst.shift.mean_k),
            doubt=_tenths(worst.shift.sd_k, household),
            true=household.change(0.0, true),
        ),
    ]
    return [_heading(say("Held against the truth")), *(Text(line) for line in lines)]
