"""What is still possible when an evening is planned again: what is done stays, what is too late is not offered."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fruitwall.plans.parts import Measure, Part, Setting


@dataclass(frozen=True)
class Stands:
    """Which things a part that is done holds, as far as that is known: these stay where they are."""

    sheet: str | None = None
    circuit: str | None = None
    lead: str | None = None


NOTHING: Mapping[str, Stands] = {}


def still_possible(
    measures: Sequence[Measure], *, sun_gone: bool, dark: bool, done: Mapping[str, Stands] = NOTHING
) -> list[Measure]:
    """Give those of a tree's measures that can still be carried out.

    Parameters
    ----------
    measures : sequence of Measure
        As from `plans.measures.possible_measures`; the first is leaving the tree.
    sun_gone : bool
        The sun has left the ground: what is due before that is too late unless it is done.
    dark : bool
        It is dark: nobody goes up a ladder any more.
    done : mapping of part key to Stands
        Parts already done this evening: these are never too late, and keep what they hold.

    Returns
    -------
    list of Measure
        In the same order, without the ways that are too late. The first stays whatever the hour.
    """
    found = []
    for measure in measures:
        own = _parts(measure.parts, sun_gone, dark, done)
        shared = [_setting(setting, sun_gone, dark, done) for setting in measure.requires]
        if own is not None and all(shared):
            found.append(replace(measure, parts=own, requires=tuple(its for its in shared if its is not None)))
    return found


def settings_still_possible(
    settings: Iterable[Setting], *, sun_gone: bool, dark: bool, done: Mapping[str, Stands] = NOTHING
) -> tuple[Setting, ...]:
    """Give those of the states of shared things that can still be brought about.

    Parameters
    ----------
    settings : iterable of Setting
        As from `plans.measures.settings_of`.
    sun_gone, dark, done
        As in `still_possible`.

    Returns
    -------
    tuple of Setting
        In the same order, without the ways that are too late.
    """
    found = [_setting(setting, sun_gone, dark, done) for setting in settings]
    return tuple(setting for setting in found if setting is not None)


def carried_out(measures: Iterable[Measure | Setting], done: Collection[str]) -> frozenset[str]:
    """Give the parts of the fullest measure (or state) that is wholly done.

    Parameters
    ----------
    measures : iterable of Measure or Setting
        Open to one tree, or states of one shared thing.
    done : collection of str
        Keys of parts already done.

    Returns
    -------
    frozenset of str
        Empty if nothing is done, or nothing wholly: lamps that hang under no cover warm nobody.
    """
    whole = [frozenset(part.key for part in its.parts) for its in measures]
    return max((parts for parts in whole if parts <= frozenset(done)), key=len, default=frozenset())


def _parts(parts: Sequence[Part], sun_gone: bool, dark: bool, done: Mapping[str, Stands]) -> tuple[Part, ...] | None:
    """Give parts with the ways that are left; None if one has none."""
    found = []
    for part in parts:
        if part.key in done:
            found.append(_holding(part, done[part.key]))
            continue
        ways = tuple(way for way in part.ways if not (dark and way.ladder))
        if not ways or (sun_gone and part.deadline == "before_sun_leaves"):
            return None
        found.append(part if ways == part.ways else replace(part, ways=ways))
    return tuple(found)


def _holding(part: Part, stands: Stands) -> Part:
    """Give a part that is done with nothing but the sheet, circuit and lead that it has."""
    sheets = tuple(sheet for sheet in part.sheets if sheet == stands.sheet)
    feeds = tuple(
        replace(feed, leads=tuple(lead for lead in feed.leads if lead == stands.lead) or feed.leads)
        for feed in part.feeds
        if feed.circuit == stands.circuit
    )
    return replace(part, sheets=sheets or part.sheets, feeds=feeds or part.feeds)


def _setting(setting: Setting, sun_gone: bool, dark: bool, done: Mapping[str, Stands]) -> Setting | None:
    """Give a state with the ways that are left; None if it is too late for it."""
    parts = _parts(setting.parts, sun_gone, dark, done)
    return None if parts is None else replace(setting, parts=parts)
