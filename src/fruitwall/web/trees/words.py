"""What an entry of the ledger says, in the reader's language."""

from __future__ import annotations

from fruitwall.service.household import Household
from fruitwall.service.ledger import Body, Deed, Sighting, Stage
from fruitwall.service.nights_felt import deed_words
from fruitwall.service.stages_told import stage_words
from fruitwall.service.tree_story import Story
from fruitwall.speech import say
from fruitwall.web.walk.words import looked

__all__ = ["body_words", "stage_words"]


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
