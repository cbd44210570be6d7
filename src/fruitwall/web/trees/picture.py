"""A tree's life as one picture over time: cold against what it stands, what was seen, done and photographed."""

from __future__ import annotations

from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Sighting, Stage
from fruitwall.service.tree_story import Story, Told
from fruitwall.speech import say, say_count
from fruitwall.web.charts.chart import Cell, Chart, DrawnChart, Event, Point, Series, Strip, Thumb, draw
from fruitwall.web.charts.signs import sign_of_grade
from fruitwall.web.trees.words import body_words


def picture_of(story: Story, household: Household) -> DrawnChart | None:
    """Draw what a tree went through.

    Parameters
    ----------
    story : Story
    household : Household
        Of who reads: in whose degrees it is drawn.

    Returns
    -------
    DrawnChart or None
        None if nothing is known yet.
    """
    nights, degrees = story.nights, household.degrees
    stands = [Point(at, *(degrees(felt.stands_c[place]) for place in (1, 0, 2))) for at, felt in nights]
    series = [
        Series(say("what it stands"), [point for point in stands if point.value == point.value], look="three"),
        Series(say("left alone"), [Point(at, degrees(felt.alone_c)) for at, felt in nights], look="two"),
        Series(say("with what was planned"), [Point(at, degrees(felt.planned_c)) for at, felt in nights]),
    ]
    return draw(
        Chart(
            title=say("The coldest that it got in each night, and what happened") if nights else say("What happened"),
            unit=household.degree,
            zone=story.zone,
            series=[one for one in series if one.points],
            events=[_event(one, story, household) for one in story.told if not isinstance(one.body, Stage)],
            strips=_stages(story, household),
            thumbs=[
                Thumb(one.entry.at, f"/photos/{photo}-small.jpg", f"/photos/{photo}.jpg",
                      body_words(one.body, story, household))
                for one in story.told for photo in one.body.photos
            ],
            told=_told(story),
        )
    )  # fmt: skip


def _event(one: Told, story: Story, household: Household) -> Event:
    words = body_words(one.body, story, household)
    if isinstance(one.body, Sighting):
        grade = one.body.grade
        if grade is not None:
            words = say("Grade {grade}: {words}", grade=grade, words=words)
        return Event(one.entry.at, words, sign_of_grade(grade), "" if grade is None else str(grade))
    if isinstance(one.body, Deed):
        return Event(one.entry.at, words, "deed")
    return Event(one.entry.at, f"{words}: {one.body.note[:60]}" if one.body.note else words, "note")


def _stages(story: Story, household: Household) -> list[Strip]:
    """Give the growth stages, each until the next and the last until now."""
    stages = [one for one in story.told if isinstance(one.body, Stage)]
    ends = [*(one.entry.at for one in stages[1:]), story.now]
    cells = [
        Cell(one.entry.at, max(end, one.entry.at), body_words(one.body, story, household))
        for one, end in zip(stages, ends, strict=False)
    ]
    return [Strip("", cells)] if cells else []


def _told(story: Story) -> list[str]:
    """Say in how many nights it got colder than what it stands."""
    known = [felt for _, felt in story.nights if felt.margin_planned_k == felt.margin_planned_k]
    if not known:
        return []
    alone = sum(felt.margin_alone_k < 0 for felt in known)
    planned = sum(felt.margin_planned_k < 0 for felt in known)
    return [
        say_count("{count} planned night is over.", "{count} planned nights are over.", len(known)),
        say(
            "It would have got colder than what it stands in {alone} of them if left alone, in {planned} with what was "
            "planned.",
            alone=alone,
            planned=planned,
        ),
    ]
