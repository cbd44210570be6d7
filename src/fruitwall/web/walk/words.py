"""What a tree went through and how it looked, said in one sentence each."""

from __future__ import annotations

from datetime import datetime

from fruitwall.plants.catalogue import said_taxon
from fruitwall.service.household import Household, ago, author_words, short_day
from fruitwall.service.ledger import GRADES, SIGNS, Sighting
from fruitwall.service.nights_felt import NightFelt, deed_words
from fruitwall.service.walk import Look, Stop, Walk
from fruitwall.speech import say, say_count
from fruitwall.yard.model import Tree

SIGN_WORDS = dict(SIGNS)

TISSUES = {
    "leaf": "leaves",
    "twig": "twigs",
    "wood": "wood",
    "fruit": "fruit",
    "root": "roots",
}
"""What the coldest part is called within a sentence."""


def grade_word(grade: int | None) -> str:
    """Name a grade."""
    return say("Looked at, not graded") if grade is None else say(GRADES[grade][1])


def looked(sighting: Sighting) -> str:
    """Say what was seen: "Some leaf burnt; tips and margins only, brown; not there: bark split"."""
    parts = [grade_word(sighting.grade)]
    if sighting.signs:
        parts.append(_signs(sighting.signs))
    if sighting.absent:
        parts.append(say("not there: {signs}", signs=_signs(sighting.absent)))
    return "; ".join(parts)


def _signs(keys: list[str]) -> str:
    words = [say(SIGN_WORDS[sign]) if sign in SIGN_WORDS else sign for sign in keys]
    return ", ".join(word[:1].lower() + word[1:] for word in words)


def last_look(look: Look | None, now: datetime) -> str:
    """Say when and how a tree was seen last."""
    if look is None:
        return say("Never looked at so far.")
    return say(
        "Last look {ago}, by {author}: {looked}.",
        ago=ago(look.entry.at, now),
        author=author_words(look.entry.author),
        looked=looked(look.sighting),
    )


def went_through(stop: Stop, walk: Walk, household: Household) -> list[str]:
    """Say what a tree went through since the last look: from the plans of those nights, and from what was done.

    Parameters
    ----------
    stop : Stop
    walk : Walk
        To say what its plans said.
    household : Household

    Returns
    -------
    list of str
        One sentence on the nights, one on the deeds if there are any.
    """
    found = [_nights(stop, walk, household)]
    if stop.deeds:
        shown = stop.deeds[-DEEDS_TOLD:][::-1]
        told = [
            say(
                "{deed} ({day})", deed=deed_words(done.deed, walk.nights, household), day=_day(done.entry.at, household)
            )
            for done in shown
        ]
        more = len(stop.deeds) - len(shown)
        if more:
            told.append(say_count("{count} more", "{count} more", more))
        found.append(say("Done since: {deeds}.", deeds="; ".join(told)))
    return found


DEEDS_TOLD = 4
"""Deeds that are named at a stop; the tree's page has all. Our judgement."""


def _day(at: datetime, household: Household) -> str:
    return short_day(at.astimezone(household.zone).date())


def _nights(stop: Stop, walk: Walk, household: Household) -> str:
    """Say what the nights were like."""
    night = stop.coldest
    if night is None and stop.last is None:
        return say("Nothing is known of the last nights: no plan was made for them.")
    if night is None:
        return say("Nothing is known of the nights since: no plan was made for them.")
    since = say_count("{count} night since", "{count} nights since", len(stop.nights))
    if stop.last is None:
        since = say_count(
            "{count} night of the last two weeks", "{count} nights of the last two weeks", len(stop.nights)
        )
    return say("{since}; the coldest was {night}.", since=since, night=_night(stop, night, walk, household))


def _night(stop: Stop, night: NightFelt, walk: Walk, household: Household) -> str:
    """Say how one night was for a tree: both ways where something was planned, and whether it was ticked."""
    tissue = say(TISSUES.get(night.tissue, night.tissue))
    if night.measure == "leave":
        return say(
            "{day}, {tissue} at {temperature} by the forecast, {margin}",
            day=short_day(night.night),
            tissue=tissue,
            temperature=household.temperature(night.alone_c),
            margin=household.margin(night.margin_alone_k),
        )
    read = walk.nights.get(night.night)
    measure = read.said(night.measure_name, household) if read is not None else say(night.measure_name)
    told = say(
        "{day}, {tissue} at {temperature} by the forecast with “{measure}”, {margin} ({alone} without)",
        day=short_day(night.night),
        tissue=tissue,
        temperature=household.temperature(night.planned_c),
        measure=measure,
        margin=household.margin(night.margin_planned_k),
        alone=household.temperature(night.alone_c),
    )
    ticked = stop.ticked(night)
    if ticked == "all":
        return say("{night}, ticked as done", night=told)
    if ticked == "some":
        return say("{night}, only in part ticked as done", night=told)
    return say("{night}, not ticked as done", night=told)


def short_margin(stop: Stop, household: Household) -> str | None:
    """Say the least margin since the last look, for the list; None where nothing is known."""
    night = stop.coldest
    return None if night is None else household.margin(night.margin_planned_k)


def kind_beside(tree: Tree) -> str:
    """Name kind and cultivar to stand beside a tree's own name; nothing where that name says it."""
    told = [said_taxon(tree.taxon), tree.cultivar or ""]
    return ", ".join(part for part in told if part and part.lower() not in tree.name.lower())


def corrections(looks: list[Look], household: Household) -> list[tuple[str, str]]:
    """Give each of several corrections of one look: its id, and what it says."""
    return [
        (
            look.entry.id,
            say(
                "{author}, {moment}: {looked}",
                author=author_words(look.entry.author),
                moment=household.moment(look.entry.received),
                looked=looked(look.sighting),
            ),
        )
        for look in looks
    ]


def waiting_words() -> dict[str, str]:
    """Give what the script says about entries that wait on the device; ``{count}`` and the like are filled in there."""
    return {
        "one": say("1 waiting to be sent"),
        "many": say("{count} waiting to be sent", count="{count}"),
        "refused_one": say("1 was not taken: see why"),
        "refused_many": say("{count} were not taken: see why", count="{count}"),
        "none": say("Nothing is waiting to be sent."),
        "waiting": say("waiting"),
        "sending": say("Sending …"),
        "refused": say("not taken: {reason}", reason="{reason}"),
        "offline": say("No connection just now. It is kept on this device and sent later."),
        "log_in": say("Log in again, then it will be sent."),
        "again": say("Try again"),
        "bare": say("Send without the photo"),
        "drop": say("Throw away"),
        "sure": say("Really throw it away?"),
        "photos": say("photos: {count}", count="{count}"),
        "empty": say("Choose a grade, a sign or a photo, or write a note. Or skip this tree."),
        "too_large": say("This photo is too large to be sent; it was left out."),
        "away": say("take away"),
        "kept": say("The walk is kept on this device: it also works out of reach."),
        "open_only": say(
            "Out of reach the walk works only while this page stays open: the address is not secure (HTTPS)."
        ),
        "keeping": say("Keeping the walk on this device …"),
        "gone": say("This page is not kept on this device, and there is no connection."),
        "corrects": say("Corrects the look of {time}", time="{time}"),
        "queued": say("On this device, not yet sent: {looked}", looked="{looked}"),
        "go_on": say("Go on with {number} {name}", number="{number}", name="{name}"),
        "cause": say("{name}: what is it?", name="{name}"),
        "stage": say("{stage}: entered. Out of reach it waits on this device.", stage="{stage}"),
        "no_store": say("This browser keeps nothing on the device: it sends at once or not at all."),
    }
