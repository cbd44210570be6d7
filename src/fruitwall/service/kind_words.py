"""Words and places of a kind's figures, the same for terminal and page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor

from fruitwall.service.household import Household
from fruitwall.service.kind_document import HeatFact, KindDocument, Mark, Origin, Statement

STAGES = {
    "any": "of no stated age",
    "mature": "grown",
    "young": "young",
    "new_growth": "new growth",
    "flower": "flowers",
    "fruit": "fruit",
}
EFFECTS = {
    "leaf_injury": "leaf hurt",
    "twig_injury": "twigs hurt",
    "severe_injury": "badly hurt",
    "death": "killed",
    "chilling_injury": "hurt by chill",
}
TYPES = {
    "threshold": "at or below this",
    "survives": "stood this: its limit is colder",
    "observed": "seen hurt so at this",
    "lab_LT": "laboratory: half of the tissue dead",
    "db_code": "whole-degree code of a data base",
    "growth_limit": "growth stops: no injury, not used",
}
SHORT_TYPES = {
    "threshold": "limit",
    "survives": "stood it",
    "observed": "seen",
    "lab_LT": "laboratory",
    "db_code": "code",
    "growth_limit": "growth",
}
HEAT_EFFECTS = {
    "growth_stops": "growth stops",
    "flower_drop": "flowers drop",
    "leaf_scorch": "leaf scorched",
    "sunburn": "sunburn",
}

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


def degrees(celsius: float, household: Household) -> float:
    """Turn a temperature into the household's degrees, not rounded."""
    return celsius * 1.8 + 32 if household.fahrenheit else celsius


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
    low, high = degrees(min(ends), household), degrees(max(ends), household)
    step = next((s for s in AXIS_STEPS if (high - low) / s <= most_ticks - 2), AXIS_STEPS[-1])
    first, last = floor(low / step), ceil(high / step)
    return Axis(first * step, last * step, tuple(step * n for n in range(first, last + 1)))


def subject(statement: Statement) -> str:
    """Say what a statement is about: "grown, killed"."""
    return f"{STAGES[statement.stage]}, {EFFECTS[statement.effect]}"


def figure(statement: Statement, household: Household) -> str:
    """Write a figure as stated, and in the household's degrees where that is another unit or words."""
    if statement.low_c == statement.high_c:
        own = household.temperature(statement.low_c)
    else:
        own = household.temperatures(statement.low_c, statement.high_c)
    stated = statement.as_stated.replace("-", "−") if statement.as_stated.startswith("-") else statement.as_stated
    if not stated:
        return own
    other = "°C" if household.fahrenheit else "°F"
    return stated if other not in stated and household.degree in stated else f"{own} (stated: {stated})"


def hours(statement: Statement) -> str:
    """Say for how long, if it is published."""
    return "hours not published" if statement.hours is None else f"for {statement.hours:g} h"


def heat_words(heat: HeatFact, household: Household) -> str:
    """Say what is published on heat: "46.0 °C: sunburn (apple fruit)", with our note."""
    effect = HEAT_EFFECTS.get(heat.effect, heat.effect.replace("_", " "))
    note = f". Our note: {heat.note}" if heat.note else ""
    return f"{household.temperature(heat.temperature_c)}: {effect} ({heat.about or STAGES[heat.stage]}){note}"


def guessed_words(asked: str, name: str) -> str:
    """Say that a name was taken for that of a kind."""
    return f"No kind is named “{asked}”. This is {name}, whose name comes nearest."


def mark_words(mark: Mark, household: Household) -> str:
    """Say where a statement puts the limit of the tissue in an hour."""
    if mark.colder:
        return f"colder than {household.temperature(mark.high_c)}"
    return household.temperatures(mark.low_c, mark.high_c)


def cited(origin: Origin) -> str:
    """Write a source on one line: who, when, what, where in it."""
    who = f"{origin.authors} ({origin.year})" if origin.year else origin.authors
    parts = [part for part in (who, origin.title, origin.publisher, origin.place) if part]
    return ". ".join(part.rstrip(".") for part in parts) + "."


def alternatives(names: Sequence[str]) -> str:
    """Join names for reading; a dash for none."""
    return ", ".join(names) or "–"
