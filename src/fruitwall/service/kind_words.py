"""Words and places of a kind's figures, the same for terminal and page."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from fruitwall.service.household import Household, decimal
from fruitwall.service.kind_document import HeatFact, KindDocument, Mark, Origin, Statement
from fruitwall.speech import language, marked, say

STAGES = {
    "any": marked("of no stated age"),
    "mature": marked("grown"),
    "young": marked("young"),
    "new_growth": marked("new growth"),
    "flower": marked("flowers"),
    "fruit": marked("fruit"),
}
EFFECTS = {
    "leaf_injury": marked("leaf hurt"),
    "twig_injury": marked("twigs hurt"),
    "severe_injury": marked("badly hurt"),
    "death": marked("killed"),
    "chilling_injury": marked("hurt by chill"),
}
TYPES = {
    "threshold": marked("at or below this"),
    "survives": marked("stood this: its limit is colder"),
    "observed": marked("seen hurt so at this"),
    "lab_LT": marked("laboratory: half of the tissue dead"),
    "db_code": marked("whole-degree code of a data base"),
    "growth_limit": marked("growth stops: no injury, not used"),
}
SHORT_TYPES = {
    "threshold": marked("limit"),
    "survives": marked("stood it"),
    "observed": marked("seen"),
    "lab_LT": marked("laboratory"),
    "db_code": marked("code"),
    "growth_limit": marked("growth"),
}
HEAT_EFFECTS = {
    "growth_stops": marked("growth stops"),
    "flower_drop": marked("flowers drop"),
    "leaf_scorch": marked("leaf scorched"),
    "sunburn": marked("sunburn"),
}

JOINING = re.compile(r" (to|or) ")
"""What parts the figures of a statement that is not said as a whole."""

JOINTS = (marked("to"), marked("or"))

AXIS_STEPS = (1, 2, 5, 10, 20)
"""Distances between the numbers of an axis, in the household's degrees."""


@dataclass(frozen=True)
class Axis:
    """A temperature axis in the household's degrees."""

    low: float
    high: float
    ticks: tuple[int, ...]

    def share(self, degrees: float) -> float:
        """Give the place on the axis, 0 to 1; what lies outside stands at its end."""
        return min(1.0, max(0.0, (degrees - self.low) / (self.high - self.low)))


def axis_of(document: KindDocument, household: Household, *, most_ticks: int = 8) -> Axis:
    """Give an axis on which all levels and all marks have room.

    Parameters
    ----------
    document : KindDocument
    household : Household
    most_ticks : int
        Numbers on the axis at most, 2 or more.

    Returns
    -------
    Axis
    """
    ends = [end for g in document.grades for end in (g.middle_c - g.sd_k, g.middle_c + g.sd_k)]
    ends += [end for s in document.statements if s.mark for end in (s.mark.low_c, s.mark.high_c)]
    low, high = household.degrees(min(ends)), household.degrees(max(ends))
    step = next((s for s in AXIS_STEPS if (high - low) / s <= most_ticks - 2), AXIS_STEPS[-1])
    first, last = floor(low / step), ceil(high / step)
    return Axis(first * step, last * step, tuple(step * n for n in range(first, last + 1)))


def subject(statement: Statement) -> str:
    """Say what a statement is about: "grown, killed"."""
    return say("{parts}, {last}", parts=say(STAGES[statement.stage]), last=say(EFFECTS[statement.effect]))


def figure(statement: Statement, household: Household) -> str:
    """Write a figure as stated, and in the household's degrees where that is another unit or words."""
    if statement.low_c == statement.high_c:
        own = household.temperature(statement.low_c)
    else:
        own = household.temperatures(statement.low_c, statement.high_c)
    said = say(statement.as_stated)
    if said == statement.as_stated:
        said = JOINING.sub(lambda found: f" {say(found[1])} ", said)
    stated = decimal(said)
    stated = stated.replace("-", "−") if stated.startswith("-") else stated
    if not stated:
        return own
    other = "°C" if household.fahrenheit else "°F"
    as_read = other not in stated and household.degree in stated
    return stated if as_read else say("{figure} (stated: {stated})", figure=own, stated=stated)


def hours(statement: Statement) -> str:
    """Say for how long, if it is published."""
    if statement.hours is None:
        return say("hours not published")
    return say("for {hours:g} h", hours=float(statement.hours))


def heat_words(heat: HeatFact, household: Household) -> str:
    """Say what is published on heat: "46.0 °C: sunburn (apple fruit)", with our note."""
    words = say(
        "{temperature}: {effect} ({what})",
        temperature=household.temperature(heat.temperature_c),
        effect=say(HEAT_EFFECTS[heat.effect]),
        what=heat.about or say(STAGES[heat.stage]),
    )
    return f"{words}. {our_note(heat.note)}" if heat.note else words


def our_note(note: str) -> str:
    """Give a remark of ours on a figure, as what it is."""
    return say("Our note: {note}", note=note)


def name_for_reader(english: Sequence[str], spanish: Sequence[str]) -> str:
    """Give the name by which somebody calls a kind: in Spanish its Spanish one, where it has one."""
    return spanish[0] if language() == "es" and spanish else english[0]


def guessed_words(asked: str, name: str) -> str:
    """Say that a name was taken for that of a kind."""
    return say("No kind is named “{asked}”. This is {name}, whose name comes nearest.", asked=asked, name=name)


def mark_words(mark: Mark, household: Household) -> str:
    """Say where a statement puts the limit of the tissue in an hour."""
    if mark.colder:
        return say("colder than {temperature}", temperature=household.temperature(mark.high_c))
    return household.temperatures(mark.low_c, mark.high_c)


def cited(origin: Origin) -> str:
    """Write a source on one line: who, when, what, where in it."""
    who = f"{origin.authors} ({origin.year})" if origin.year else origin.authors
    parts = [part for part in (who, origin.title, origin.publisher, origin.place) if part]
    return ". ".join(part.rstrip(".") for part in parts) + "."


def alternatives(names: Sequence[str]) -> str:
    """Join names for reading; a dash for none."""
    return ", ".join(names) or "–"
