"""From when what is done counts: the night of each tree as its chosen treatment meets it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fruitwall.service.outlook import finished_since

if TYPE_CHECKING:
    from fruitwall.physics.treatment import Night
    from fruitwall.service.outlook import Situation


def nights_of_trees(situation: Situation, chosen: Sequence[int]) -> list[Night]:
    """Give tonight as every tree's treatment meets it: on from now, or from when it was done.

    Parameters
    ----------
    situation : Situation
    chosen : sequence of int
        Per tree, the row of its treatment.

    Returns
    -------
    list of Night
        One per tree; they differ by the hour from which covers, lamps and heaters are on.
    """
    tonight = situation.evenings[0].night
    since = {
        (at, row): min(moment, tonight.cover_on_utc)
        for moment, trees in finished_since(situation).items()
        for at, rows in trees.items()
        for row in rows
    }
    return [
        replace(tonight, cover_on_utc=since[at, row]) if (at, row) in since else tonight
        for at, row in enumerate(chosen)
    ]


def batches(nights: Sequence[Night], at_most: int) -> list[tuple[Night, list[int]]]:
    """Group trees by their night, in the order of the trees.

    Parameters
    ----------
    nights : sequence of Night
        One per tree.
    at_most : int
        How many trees are put together, 1 or more.

    Returns
    -------
    list of (Night, list of int)
        Every tree once.
    """
    groups: dict[Night, list[int]] = {}
    for at, night in enumerate(nights):
        groups.setdefault(night, []).append(at)
    return [
        (night, trees[first : first + at_most])
        for night, trees in groups.items()
        for first in range(0, len(trees), at_most)
    ]
