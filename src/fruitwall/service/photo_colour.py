"""How the leaves of a tree changed colour along its photos; each photo is measured once and never again.

Nothing is measured when a photo comes in: who stands in the yard must not wait. The page that shows the figures has
them worked out, a few photos at a time, and what was worked out lies beside the photo from then on.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from io import BytesIO
from math import isfinite, nan, sqrt
from statistics import median
from typing import TYPE_CHECKING, Any, Literal

from fruitwall.errors import FruitwallError, JournalError
from fruitwall.service.household import percent, signed
from fruitwall.speech import marked, say, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.plants.leaf_colour import LeafColour
    from fruitwall.service.house import House

VERSION = 1
"""Of the way of measuring. What was measured in another way is measured anew."""

SIDE = 480
"""Longer side of what is measured: leaves have thousands of pixels, and it takes a fifth of a second. [pixels]"""

MOST_AT_ONCE = 5
"""Photos measured for one page: about a second. Our judgement."""

MOST_LOOKS = 60
"""Photos shown of one tree, the newest."""

MOST_BEFORE = 5
"""Photos with whose middle the newest is compared: of some weeks, not of all years. Our judgement."""

LEAST_SAID = 0.005
"""Share of the leaf from which a tone is told."""

SURE = 2.0
"""Standard deviations that count as a change: light alone does as much once in twenty times."""

PROBLEM_WORDS = {
    "little_leaf": marked("too little leaf in the photo"),
    "dark": marked("too dark"),
    "blown": marked("parts of the leaf are so bright that their colour is lost"),
    "cast": marked("what should be grey looks coloured, and no grey or white card tells whether that is the light"),
    "flash": marked("it looks like flash"),
    "blur": marked("blurred"),
}
"""Why a photo cannot be compared, by `plants.leaf_colour.Problem`."""

LIGHT_WORDS = {
    "patch": marked("colours put right by the grey or white field in the photo"),
    "seen": marked("no grey or white card; the light looks about white"),
    "unknown": marked("nothing in the photo tells the colour of the light, so only roughly"),
}
"""How the light is known, by `plants.leaf_colour.Light`."""

TONE_WORDS = {
    "green": marked("{share} green"),
    "pale": marked("{share} pale"),
    "yellow": marked("{share} yellow"),
    "brown": marked("{share} brown"),
    "grey": marked("{share} grey"),
}
"""Shares of the leaf, by `plants.leaf_colour.TONES`."""


@dataclass(frozen=True)
class LeafLook:
    """One photo.

    Attributes
    ----------
    at : datetime, aware
        When it was taken where the camera told it, else when it was entered.
    photo : str
        Its digest.
    colour : LeafColour or None
        None where it cannot be measured.
    """

    at: datetime
    photo: str
    colour: LeafColour | None


@dataclass(frozen=True)
class LeafChange:
    """How the newest photo differs from those before it.

    Attributes
    ----------
    newest : LeafLook
    before : int
        With how many it is compared.
    index_before : float
        The middle of their indices.
    kind : str
        ``paler``, ``darker``, or ``same`` where light alone may explain it.
    """

    newest: LeafLook
    before: int
    index_before: float
    kind: Literal["paler", "darker", "same"]


@dataclass(frozen=True)
class LeafSeries:
    """The photos of a tree.

    Attributes
    ----------
    looks : tuple of LeafLook
        Oldest first.
    waiting : int
        How many are not measured yet.
    older : int
        How many more there are, all older.
    """

    looks: tuple[LeafLook, ...]
    waiting: int
    older: int

    @property
    def comparable(self) -> list[tuple[LeafLook, LeafColour]]:
        """The photos that may be compared, oldest first."""
        return [(one, one.colour) for one in self.looks if one.colour is not None and one.colour.comparable]

    @property
    def change(self) -> LeafChange | None:
        """How the newest that can be compared differs from those before it; None without any before it."""
        known = [(look, colour) for look, colour in self.comparable if isfinite(colour.index)]
        if len(known) < 2:
            return None
        (newest, now), before = known[-1], [colour for _, colour in known[:-1]][-MOST_BEFORE:]
        middle = median(one.index for one in before)
        # The doubts of several photos are not wholly of their own: one camera errs in one way. So no more than halved.
        doubt_before = sqrt(sum(one.doubt**2 for one in before)) / len(before)
        doubt = sqrt(now.doubt**2 + max(doubt_before, max(one.doubt for one in before) / 2) ** 2)
        kind: Literal["paler", "darker", "same"] = "same"
        if abs(now.index - middle) > SURE * doubt:
            kind = "paler" if now.index < middle else "darker"
        return LeafChange(newest, len(before), middle, kind)


def leaf_series(house: House, photos: Iterable[tuple[datetime, str]], *, at_once: int = MOST_AT_ONCE) -> LeafSeries:
    """Tell the leaf colours along the photos of a tree.

    Parameters
    ----------
    house : House
    photos : iterable of (datetime, str)
        When each was entered, and its digest, in any order; the same one twice counts once.
    at_once : int
        How many are measured now that never were; the newest first.

    Returns
    -------
    LeafSeries
        The same in whatever order they are given.
    """
    entered: dict[str, datetime] = {}
    for at, digest in photos:
        entered[digest] = min(at, entered.get(digest, at))
    newest = sorted(entered.items(), key=lambda one: (one[1], one[0]), reverse=True)[:MOST_LOOKS]
    looks, waiting, left = [], 0, at_once
    for digest, at in newest:
        colour = _stored(house, digest)
        if colour is None and left == 0:
            waiting += 1
            continue
        if colour is None:
            colour = measure(house, digest)
            left -= colour is not None  # what cannot be read takes no time
        photo = house.ledger.photo(digest)
        when = photo.taken if photo is not None and photo.taken is not None else at
        looks.append(LeafLook(when, digest, colour))
    looks.sort(key=lambda one: (one.at, one.photo))
    return LeafSeries(tuple(looks), waiting, len(entered) - len(newest))


def measure(house: House, sha256: str) -> LeafColour | None:
    """Give the leaf colour of a photo, measured now if it never was.

    Parameters
    ----------
    house : House
    sha256 : str
        Digest of the photo.

    Returns
    -------
    LeafColour or None
        None where the photo is not there, damaged, or too small.
    """
    return _stored(house, sha256) or _measure(house, sha256)


def look_words(look: LeafLook) -> str:
    """Say what a photo tells of the leaves, or why it tells nothing."""
    colour = look.colour
    if colour is None:
        return say("The photo cannot be read.")
    if colour.problems:
        return say("Not comparable: {why}.", why=say_list([say(PROBLEM_WORDS[one]) for one in colour.problems]))
    shares = [
        say(words, share=percent(share))
        for tone, words in TONE_WORDS.items()
        if (share := getattr(colour, tone)) > 0.005
    ]
    if not isfinite(colour.index):
        return say("Of the leaf {shares}; {light}.", shares=say_list(shares), light=say(LIGHT_WORDS[colour.light]))
    return say(
        "Green index {index} ± {doubt} of 100; of the leaf {shares}; {light}.",
        index=index_words(colour.index),
        doubt=index_words(colour.doubt),
        shares=say_list(shares),
        light=say(LIGHT_WORDS[colour.light]),
    )


def change_words(change: LeafChange) -> str:
    """Say how the newest photo differs from those before it."""
    colour = change.newest.colour
    amounts = {
        "now": index_words(colour.index if colour is not None else nan),
        "before": index_words(change.index_before),
    }
    if change.kind == "paler":
        return say_count(
            "The newest comparable photo shows paler leaves than the one before it, by more than light explains: "
            "green index {now}, before {before}.",
            "The newest comparable photo shows paler leaves than the {count} before it, by more than light explains: "
            "green index {now}, before {before}.",
            change.before,
            **amounts,
        )
    if change.kind == "darker":
        return say_count(
            "The newest comparable photo shows darker green leaves than the one before it, by more than light "
            "explains: green index {now}, before {before}.",
            "The newest comparable photo shows darker green leaves than the {count} before it, by more than light "
            "explains: green index {now}, before {before}.",
            change.before,
            **amounts,
        )
    return say_count(
        "The newest comparable photo differs from the one before it by no more than light explains: green index "
        "{now}, before {before}.",
        "The newest comparable photo differs from the {count} before it by no more than light explains: green index "
        "{now}, before {before}.",
        change.before,
        **amounts,
    )


def index_words(index: float) -> str:
    """Write an index or its doubt as people read it, of 100."""
    return signed(f"{100 * index:.0f}")


def _stored(house: House, digest: str) -> LeafColour | None:
    """Read what lies beside the photo; None where that is nothing, or of another version."""
    content = house.photos.read_measured(digest)
    if content is None:
        return None
    try:
        told = json.loads(content)
        return _from_json(told["colour"]) if told["version"] == VERSION else None
    except (ValueError, KeyError, TypeError):
        return None


def _measure(house: House, digest: str) -> LeafColour | None:
    import numpy as np
    from PIL import Image

    from fruitwall.plants.leaf_colour import leaf_colour

    try:
        content = house.photos.read(digest)
        if content is None:
            return None
        with Image.open(BytesIO(content), formats=["JPEG"]) as image:
            image.draft("RGB", (SIDE, SIDE))
            image.thumbnail((SIDE, SIDE), Image.Resampling.BOX, reducing_gap=None)
            colour = leaf_colour(np.asarray(image.convert("RGB")))
    except (FruitwallError, OSError, ValueError, SyntaxError):  # damaged on the disk, or a few pixels in all
        return None
    text = json.dumps({"version": VERSION, "colour": _to_json(colour)})
    with suppress(JournalError):  # a full disk: it is measured again next time
        house.photos.store_measured(digest, text.encode())
    return colour


def _to_json(colour: LeafColour) -> dict[str, object]:
    """Turn it into what JSON can hold: no number is null."""
    return {
        key: None if isinstance(value, float) and not isfinite(value) else value
        for key, value in asdict(colour).items()
    }


def _from_json(told: Mapping[str, Any]) -> LeafColour:
    from fruitwall.plants.grey_patch import Patch
    from fruitwall.plants.leaf_colour import LeafColour

    patch = told["patch"]
    values = {key: nan if value is None and key != "patch" else value for key, value in told.items()}
    values["patch"] = None if patch is None else Patch(**patch | {"gains": tuple(patch["gains"])})
    return LeafColour(**values | {"problems": tuple(told["problems"])})
