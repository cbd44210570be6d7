"""What each part of "many winters" says in one sentence, for the overview; told, so that each reader hears it anew."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.speech import quantity, told

if TYPE_CHECKING:
    from fruitwall.service.winters_years_document import YearsDocument

RARE_YEARS = 10.0
"""Return period that the overview tells. [winters]"""


def years_verdict(document: YearsDocument) -> str:
    """Say how cold it gets, and which tree is most in danger."""
    level = next((one for one in document.air.levels if one.years == RARE_YEARS), None)
    cold_c = None if level is None else (level.level_c if level.level_c is not None else level.seen_c)
    worst = max(document.trees, key=lambda one: one.death.yearly, default=None)
    if cold_c is None:
        cold = told("The zone of these winters is {zone}", zone=document.zone.zone)
    else:
        cold = told(
            "Once in {years:.0f} winters the air falls to {cold}", years=RARE_YEARS, cold=quantity(cold_c, "°C", ".1f")
        )
    if worst is None or worst.death.yearly < 0.005:
        return told("{cold}; left alone, no tree is likely to die of it.", cold=cold)
    return told(
        "{cold}; left alone, {tree} dies in {chance:.0f} of 100 winters.",
        cold=cold,
        tree=worst.name,
        chance=100.0 * worst.death.yearly,
    )
