"""What is assumed where drawn years are played, in words for the user."""

from __future__ import annotations

from fruitwall.plans.rules.outcome import Ahead
from fruitwall.plants.setback import NURSERY_AGE_YEARS
from fruitwall.speech import marked, say, say_count

OLDER = marked("Trees grow older and hardier from winter to winter.")
SET_BACK = marked(
    "Dead twigs cost a tree its last year and the next crop. Dead limbs set it back to a young tree, and it bears "
    "nothing for three winters. These figures are our judgement."
)
ONLY_COLD = marked("Only cold hurts or kills a tree here. Drought, pests and bad soil do not.")
PAID = marked("A lost tree costs its whole worth, which pays for a young nursery tree in its place.")
AS_LARGE = marked(
    "A tree planted anew or cut back stands smaller and is covered as a small one; one smaller than today's counts as "
    "large as today's."
)

YEARS_AHEAD = (PAID, OLDER, SET_BACK, AS_LARGE, ONLY_COLD)
"""What every page with figures of drawn futures tells of them (`plans.rules.outcome`)."""


def assumed(ahead: Ahead) -> tuple[str, ...]:
    """Say what is assumed of the years ahead.

    Parameters
    ----------
    ahead : Ahead

    Returns
    -------
    tuple of str
        Whole sentences, the most important first.
    """
    return (
        say(
            "{futures} of {years} are drawn from the winters on record, the same ones for every set of rules.",
            futures=say_count("{count} future", "{count} futures", ahead.draws),
            years=say_count("{count} year", "{count} years", ahead.years),
        ),
        say(
            "A lost tree costs its whole worth. That pays for a nursery tree of {age} in its place.",
            age=say_count("{count} year", "{count} years", round(NURSERY_AGE_YEARS)),
        )
        if ahead.replant
        else say("A lost tree costs its whole worth, and its place stays empty."),
        say(OLDER),
        say(SET_BACK),
        say(AS_LARGE),
        say(ONLY_COLD),
        say("The rules go by the forecast. They do not know beforehand which tree is a tender one."),
    )
