"""The part of a tree's page that tells the colour of its leaves along its photos."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan
from typing import TYPE_CHECKING

from fruitwall.service.household import Household
from fruitwall.service.photo_colour import LeafLook, LeafSeries, change_words, leaf_series, look_words
from fruitwall.service.tree_story import Story
from fruitwall.speech import say, say_count
from fruitwall.web.charts.chart import Chart, DrawnChart, Point, Series, Thumb, draw

if TYPE_CHECKING:
    from fruitwall.plants.leaf_colour import LeafColour
    from fruitwall.service.house import House


@dataclass(frozen=True)
class LeafPart:
    """What the photos of a tree tell of its leaves.

    Attributes
    ----------
    said : list of str
        The newest photo and how it differs from those before it.
    chart : DrawnChart or None
    photos : list of (str, str, str)
        Address, moment and words of each, the newest first.
    waiting : int
        How many are still to be measured.
    """

    said: list[str]
    chart: DrawnChart | None
    photos: list[tuple[str, str, str]]
    waiting: int


def leaf_part(house: House, story: Story, household: Household) -> LeafPart | None:
    """Work out what the photos of a tree tell of its leaves; None where it has no photos.

    Parameters
    ----------
    house : House
    story : Story
        Of the tree.
    household : Household
        Of who reads.
    """
    photos = [(one.entry.at, photo) for one in story.told for photo in one.body.photos]
    if not photos:
        return None
    series = leaf_series(house, photos)
    said = []
    if series.looks:
        newest = series.looks[-1]
        said.append(
            say("Newest photo, {moment}: {words}", moment=household.moment(newest.at), words=look_words(newest))
        )
    if series.change is not None:
        said.append(change_words(series.change))
    return LeafPart(
        said=said,
        chart=_chart(series, story),
        photos=[
            (f"/photos/{look.photo}.jpg", household.moment(look.at), look_words(look))
            for look in reversed(series.looks)
        ],
        waiting=series.waiting,
    )


def _chart(series: LeafSeries, story: Story) -> DrawnChart | None:
    known = series.comparable
    if not known:
        return None
    other = len(series.looks) - len(known)
    told = (
        [say_count("{count} photo cannot be compared.", "{count} photos cannot be compared.", other)] if other else []
    )
    return draw(
        Chart(
            title=say("Leaf colour in the photos that can be compared"),
            unit="/100",
            zone=story.zone,
            series=[
                Series(say("green index"), [_index(look, colour) for look, colour in known]),
                Series(say("pale leaf"), [Point(look.at, 100 * colour.pale) for look, colour in known], look="two"),
                Series(
                    say("yellow, brown or grey leaf"),
                    [Point(look.at, 100 * (colour.yellow + colour.brown + colour.grey)) for look, colour in known],
                    look="three",
                ),
            ],
            thumbs=[
                Thumb(look.at, f"/photos/{look.photo}-small.jpg", f"/photos/{look.photo}.jpg", _comparable(look))
                for look in series.looks
            ],
            told=told,
        )
    )


def _comparable(look: LeafLook) -> str:
    """Say whether a photo can be compared; its figures stand in the columns of the table."""
    fine = look.colour is not None and look.colour.comparable
    return say("can be compared") if fine else look_words(look)


def _index(look: LeafLook, colour: LeafColour) -> Point:
    """Give the index with one standard deviation to either side; without living leaf there is none."""
    middle, doubt = 100 * colour.index, 100 * colour.doubt
    spread = (middle - doubt, middle + doubt) if middle == middle else (nan, nan)
    return Point(look.at, middle, *spread)
