"""``fruitwall sensors``: what each thermometer taught, what is wrong with it, and where to hang the next one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.cli.app import DatabaseOption, NowOption, app
from fruitwall.cli.evening import house_of
from fruitwall.cli.given import moment_asked, open_journal
from fruitwall.cli.learned import NameOption
from fruitwall.speech import say

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fruitwall.web.thermometers.page import Thermometer, ThermometersPage


@app.command()
def sensors(yard: NameOption = None, now: NowOption = None, database: DatabaseOption = None) -> None:
    """Show what each thermometer taught, what is wrong with it, and where to hang the next one."""
    from zoneinfo import ZoneInfo

    from fruitwall.service.household import Household
    from fruitwall.service.yards import load_yard
    from fruitwall.terminal import show
    from fruitwall.web.thermometers.page import known_of, thermometers_page

    with open_journal(database) as journal:
        known, _ = load_yard(journal, yard)
        moment, _ = moment_asked(now, None, known)
        household = Household(known.display, ZoneInfo(known.location.time_zone))
        house = house_of(journal, yard, lambda: moment)
        show(_told(thermometers_page(known_of(house), household)))


def _told(page: ThermometersPage) -> RenderableType:
    from rich.console import Group
    from rich.text import Text

    parts: list[RenderableType] = [part for one in page.thermometers for part in _one(one, page.step)]
    if not page.thermometers:
        parts.append(
            Text(
                say(
                    "No thermometer is known here. Hang one in the crown of a tree and enter its lowest reading under "
                    "the name of the tree, in the mornings after cold nights."
                )
            )
        )
    if page.following:
        parts.append(Text("\n" + say("Where to hang the next one"), style="bold"))
        parts += [Text(f"{at}. {one.name}: {one.words}") for at, one in enumerate(page.following, 1)]
    return Group(*parts)


def _one(one: Thermometer, step: str) -> list[RenderableType]:
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    inside: list[RenderableType] = [Text(one.where, style="dim"), *(Text(line) for line in one.taught)]
    if one.ranges:
        table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
        for head in (say("Night"), say("before"), say("now")):
            table.add_column(f"{head} {step}" if head != say("Night") else head)
        for row in one.ranges:
            table.add_row(*row)
        inside.append(table)
    for trouble in one.troubles:
        inside.append(Text(f"! {trouble.what} ({trouble.when})", style="bold"))
        inside += [Text(f"  {line}") for line in (trouble.shows, trouble.done, trouble.advice) if line]
    return [Text("\n" + one.name, style="bold"), *(Padding(part, (0, 0, 0, 2)) for part in inside)]
