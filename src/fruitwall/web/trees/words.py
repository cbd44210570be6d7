"""What an entry of the ledger says, in the reader's language."""

from __future__ import annotations

from fruitwall.service.household import Household
from fruitwall.service.ledger import Body, Deed, Sighting, Stage
from fruitwall.service.nights_felt import deed_words
from fruitwall.service.tree_story import Story
from fruitwall.speech import marked, say
from fruitwall.web.walk.words import looked

STAGE_NAMES = {
    "dormant": marked("Dormant"),
    "bud": marked("In bud"),
    "bloom": marked("In bloom"),
    "fruit_set": marked("Fruit set"),
    "fruit": marked("In fruit"),
    "harvest": marked("Being harvested"),
    "flush": marked("New flush"),
    "shedding": marked("Shedding leaves"),
}
"""Growth stages in words, in the order of a year."""


def stage_words(key: str) -> str:
    """Name a growth stage."""
    return say(STAGE_NAMES[key])


def body_words(body: Body, story: Story, household: Household) -> str:
    """Say what an entry says besides its note.

    Parameters
    ----------
    body : Body
    story : Story
        Of the tree: its plans say what was ticked.
    household : Household
        Of who reads.
    """
    match body:
        case Sighting():
            return looked(body)
        case Deed():
            return deed_words(body, story.read, household)
        case Stage():
            return stage_words(body.stage)
    return say("Note")
