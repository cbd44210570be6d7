"""What the page of surprises shows, worked out before the template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, isfinite
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup

from fruitwall.service.household import bare_percent
from fruitwall.service.surprise_words import (
    SECTIONS,
    LookTold,
    day_words,
    done_words,
    look_told,
    nothing_yet,
    title,
    told,
)
from fruitwall.speech import say
from fruitwall.web.svg import tag

if TYPE_CHECKING:
    from fruitwall.service.evening_document import Spread
    from fruitwall.service.household import Household
    from fruitwall.service.surprises import Surprise
    from fruitwall.service.taught import Taught

TRIFLE_K = 0.05
"""A look that pulls less changes nothing that is shown. [K]"""

BAR = 10
"""Height of a bar of a range, in pixels."""


@dataclass(frozen=True)
class RangeLine:
    """Where harm begins by one belief: a bar, and the same in words."""

    name: str
    bar: Markup
    middle: str
    whole: str


@dataclass(frozen=True)
class LookLine:
    """A look as evidence, with where it is corrected or taken back."""

    told: LookTold
    url: str


@dataclass(frozen=True)
class Item:
    """One surprise as shown.

    Attributes
    ----------
    mark : str
        Its anchor.
    title, url : str
        Name of the tree, and its page.
    lines : tuple of str
        What was unexpected.
    change : str
    beside : tuple of str
        How far the advice goes, how sure it is, and what it is about.
    ranges : tuple of RangeLine
        Before and after; empty for spots.
    looks, silent : tuple of LookLine
        Those that pull, and those that change nothing by themselves.
    others : tuple of (str, str)
        Name and page of other trees that taught it.
    nights : tuple of tuple of str
        Night, what was done, coldest hour alone and so, chance of harm alone and so.
    read : str
        Of a spot: what was read there.
    """

    mark: str
    title: str
    url: str
    lines: tuple[str, ...]
    change: str
    beside: tuple[str, ...]
    ranges: tuple[RangeLine, ...]
    looks: tuple[LookLine, ...]
    silent: tuple[LookLine, ...]
    others: tuple[tuple[str, str], ...]
    nights: tuple[tuple[str, ...], ...]
    read: str


@dataclass(frozen=True)
class SurprisePage:
    """All that the page shows.

    Attributes
    ----------
    sections : tuple of (str, tuple of Item)
        Those that hold something.
    nothing : tuple of str
        What is needed for surprises; empty where there are some.
    trees : tuple of tuple of str
        Every tree: name, page, range before and after, number of looks.
    degree : str
        Unit of temperatures.
    """

    sections: tuple[tuple[str, tuple[Item, ...]], ...]
    nothing: tuple[str, ...]
    trees: tuple[tuple[str, ...], ...]
    degree: str


def surprise_page(found: Sequence[Surprise], known: Taught, household: Household) -> SurprisePage:
    """Work out the page.

    Parameters
    ----------
    found : sequence of Surprise
    known : Taught
    household : Household
        Of who reads.

    Returns
    -------
    SurprisePage
    """
    scale = _scale([spread for one in found for spread in (one.before, one.after) if spread is not None])
    items = {kinds: tuple(_item(one, household, scale) for one in found if one.kind in kinds) for _, kinds in SECTIONS}
    looks = sum(len(tree.evidence) for tree in known.trees.values())
    return SurprisePage(
        sections=tuple((say(name), items[kinds]) for name, kinds in SECTIONS if items[kinds]),
        nothing=() if found else tuple(nothing_yet(looks, known.nights)),
        trees=tuple(
            (
                tree.name,
                _tree_url(tree.tree),
                household.temperatures(tree.before.p10, tree.before.p90),
                household.temperatures(tree.after.p10, tree.after.p90),
                str(len(tree.evidence)),
            )
            for tree in known.trees.values()
        ),
        degree=household.degree,
    )


def _tree_url(tree: str) -> str:
    return f"/trees/{quote(tree, safe='')}"


def _item(one: Surprise, household: Household, scale: tuple[float, float]) -> Item:
    words = told(one, household)
    looks = [
        (
            abs(look.pull_k) >= TRIFLE_K,
            LookLine(look_told(look, household), f"{_tree_url(one.tree)}/{quote(look.entry, safe='')}"),
        )
        for look in one.looks
    ]
    return Item(
        mark=f"{one.kind}-shelter-{one.tree}" if one.trial is not None and one.others else f"{one.kind}-{one.tree}",
        title=title(one),
        url=_tree_url(one.tree),
        lines=words.lines,
        change=words.change,
        beside=tuple(text for text in (words.bounds, words.strength, words.worth) if text),
        ranges=_ranges(one, household, scale),
        looks=tuple(line for pulls, line in looks if pulls),
        silent=tuple(line for pulls, line in looks if not pulls),
        others=tuple((name, _tree_url(tree)) for tree, name in one.others),
        nights=tuple(
            (
                day_words(night.night),
                done_words(night.measure),
                household.bare_temperature(night.alone_c),
                household.bare_temperature(night.with_c),
                bare_percent(night.harm_alone),
                bare_percent(night.harm_with),
            )
            for night in one.nights
        ),
        read=words.read,
    )


def _scale(spreads: Sequence[Spread]) -> tuple[float, float]:
    """Give the ends of the axis that all bars of the page share, in whole °C; zero always belongs to it."""
    ends = [end for spread in spreads for end in (spread.p10, spread.p90) if isfinite(end)]
    return floor(min([*ends, 0.0])) - 1.0, ceil(max([*ends, 0.0])) + 1.0


def _ranges(one: Surprise, household: Household, scale: tuple[float, float]) -> tuple[RangeLine, ...]:
    if one.before is None or one.after is None:
        return ()
    return tuple(
        RangeLine(
            name,
            range_bar(spread, scale, look),
            household.temperature(spread.p50),
            household.temperatures(spread.p10, spread.p90),
        )
        for name, spread, look in ((say("believed before"), one.before, "before"), (say("now"), one.after, "after"))
    )


def range_bar(spread: Spread, scale: tuple[float, float], look: str) -> Markup:
    """Draw a range as a bar with its middle, on an axis with a line at freezing.

    Parameters
    ----------
    spread : Spread
        [°C]
    scale : tuple of float
        Ends of the axis. [°C]
    look : str
        ``before`` or ``after``: colour only.

    Returns
    -------
    Markup
        As wide as its place, hidden from screen readers: the numbers stand beside it.
    """
    low, high = scale

    def at(value: float) -> float:
        return 100.0 * min(max((value - low) / (high - low), 0.0), 1.0)

    left, right = at(spread.p10), at(spread.p90)
    marks = [
        tag("rect", class_="range-bed", width="100%", height=BAR),
        tag("rect", class_=f"range {look}", x=f"{left:.1f}%", width=f"{max(right - left, 1.0):.1f}%", height=BAR),
        tag("line", class_="range-middle", x1=f"{at(spread.p50):.1f}%", x2=f"{at(spread.p50):.1f}%", y1=0, y2=BAR),
        tag("line", class_="range-zero", x1=f"{at(0.0):.1f}%", x2=f"{at(0.0):.1f}%", y1=0, y2=BAR),
    ]
    return tag("svg", *marks, class_="range", width="100%", height=BAR, aria_hidden="true", focusable="false")
