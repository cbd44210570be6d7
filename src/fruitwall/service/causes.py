"""What a sighting may come of: its signs, what the tree went through since the look before, the season and the deeds.

The reckoning is `plants.causes`; here is read from the ledger, the yard and the past weather what it needs. What is not
known stays unknown. An answer to a question is a correction of the sighting: nothing is lost, and it can be undone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import islice
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.errors import FruitwallError, JournalError
from fruitwall.plants.cause_odds import Circumstances, shed_months
from fruitwall.plants.causes import (
    ASKED_GROUPS,
    Judgement,
    Question,
    Seen,
    cause_table,
    judge,
    questions,
    share_of_cold,
)
from fruitwall.plants.injury import DURATIONS_H, grade_chances
from fruitwall.plants.tolerance import LEAF, TWIG
from fruitwall.service.corrections import chain_of, correct
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Deed, Sighting, Stage, says, trees_of
from fruitwall.service.lived import Lived, coldest_hour_c, lived_nights
from fruitwall.service.spells import FIRST_LOOK_DAYS, KNOWN_SHARE, LATELY_DAYS, KnownHours, known_hours
from fruitwall.speech import say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.house import House
    from fruitwall.service.ledger import Signed
    from fruitwall.yard.model import Tree, Yard

STAGE_DAYS = 60
"""How long an entered growth stage says something of the season. Our judgement. [days]"""

HURT_DAYS = 30.0
"""How long ago an injury may have come that only the yard file tells of. Our judgement. [days]"""

SPOT_SD_K = 1.0
"""What is not known of a tree's own spot, beside the night's air. Our judgement. [K]"""

PALMS = "Arecaceae"


@dataclass(frozen=True)
class LookBefore:
    """The graded look before a sighting.

    Attributes
    ----------
    at : datetime or None
        None where only the yard file tells of an injury.
    grade : int
    """

    at: datetime | None
    grade: int


@dataclass(frozen=True, eq=False)
class Finding:
    """What a sighting may come of, and what that rests on.

    Attributes
    ----------
    entry : LedgerEntry
    sighting : Sighting
    tree : Tree
    circumstances : Circumstances
    judgement : Judgement
    questions : tuple of Question
        What to look at next, at most two for each look, those answered counted.
    before : LookBefore or None
    nights : int
        Nights since then of which it is known what the tree went through.
    coldest : tuple of (date, float) or None
        The coldest of them and its coldest hour of leaf or twig. [°C]
    palm : bool
    """

    entry: LedgerEntry
    sighting: Sighting
    tree: Tree
    circumstances: Circumstances
    judgement: Judgement
    questions: tuple[Question, ...]
    before: LookBefore | None
    nights: int
    coldest: tuple[date, float] | None
    palm: bool


def causes_of(house: House, entry: LedgerEntry) -> Finding | None:
    """Give what a sighting may come of.

    Parameters
    ----------
    house : House
    entry : LedgerEntry
        One that stands.

    Returns
    -------
    Finding or None
        None for what is no sighting of a tree of the yard, and where nothing is wrong: grade 0, or neither grade nor
        sign.
    """
    body = says(entry)
    if not isinstance(body, Sighting) or body.grade == 0 or (body.grade is None and not body.signs):
        return None
    known = known_of(house)
    tree = known.trees.get(entry.tree or "")
    if tree is None:
        return None
    before = known.before(entry, tree)
    lived = nights_between(lived_nights(house).get(tree.id, ()), before, entry, known.zone)
    c = known.circumstances(entry, body, tree, before, lived)
    seen = seen_of(body)
    coldest = lived[_coldest(np.stack([one.coldest_c for one in lived]))] if lived else None
    return Finding(
        entry=entry,
        sighting=body,
        tree=tree,
        circumstances=c,
        judgement=judge(seen, c),
        questions=questions(seen, c),
        before=before,
        nights=len(lived),
        coldest=None if coldest is None else (coldest.night, coldest_hour_c(coldest)),
        palm=c.palm,
    )


def findings_of(house: House, tree: str) -> dict[str, Finding]:
    """Give what the last sightings of a tree may come of, by entry.

    Parameters
    ----------
    house : House
    tree : str

    Returns
    -------
    dict
        Of the newest `FINDINGS` sightings at which something was wrong.
    """
    found = (causes_of(house, entry) for entry in reversed(house.ledger.current(tree=tree, kind="sighting")))
    return {one.entry.id: one for one in islice((one for one in found if one is not None), FINDINGS)}


FINDINGS = 8
"""Sightings of a tree whose cause stands on its page; for older ones there is the link."""


def cold_share(entry: LedgerEntry, body: Sighting, lived: Sequence[Lived], house: House) -> float:
    """Give the chance that a damage is of cold at all, for learning what the tree stands.

    Parameters
    ----------
    entry : LedgerEntry
    body : Sighting
        What it says.
    lived : sequence of Lived
        The nights that it is weighed against.
    house : House

    Returns
    -------
    float
        0 to 1; 1 where nothing is wrong. How cold the nights were is left to whoever learns (see
        `plants.causes.share_of_cold`); they only tell freezing from cold above freezing here.
    """
    known = known_of(house)
    tree = known.trees.get(entry.tree or "")
    if not body.grade or tree is None:
        return 1.0
    of_frost = 1.0
    if body.signs or body.absent:  # without a sign freezing and chilling look alike
        frost, chill = cold_chances(lived, body.grade)
        of_frost = (frost + TINY) / (frost + chill + TINY)
    c = known.circumstances(entry, body, tree, known.before(entry, tree), ())
    return share_of_cold(seen_of(body), c, of_frost=of_frost)


TINY = 1e-9
"""Keeps a share of nothing and nothing from being undefined: such cold is freezing."""


def seen_of(sighting: Sighting) -> Seen:
    """Give what a sighting tells of signs."""
    return Seen(frozenset(sighting.signs), frozenset(sighting.absent), frozenset(sighting.asked))


def cold_chances(lived: Sequence[Lived], grade: int | None) -> tuple[float, float]:
    """Give the chance that nights did harm of nearly a grade, by freezing and by cold above freezing.

    Parameters
    ----------
    lived : sequence of Lived
    grade : int or None
        What was seen; None for any harm.

    Returns
    -------
    frost, chill : float
        Of at least the grade below the one seen, and of any harm at least. 0 without nights.
    """
    if not lived:
        return 0.0, 0.0
    least = max(1, (grade or 1) - 1)
    nights = np.stack([one.coldest_c for one in lived])
    coldest = lived[_coldest(nights)]
    doubt = float(np.hypot(SPOT_SD_K, coldest.air_sd_k))
    stands = replace(coldest.tolerance, sd_k=np.hypot(coldest.tolerance.sd_k, doubt))
    freezes = replace(stands, chill_level_c=float("nan"), pale_level_c=float("nan"))
    either, frost = (
        float(np.nan_to_num(grade_chances(one, nights, nights_axis=0)[least:]).sum()) for one in (stands, freezes)
    )
    return frost, max(0.0, either - frost) / max(1.0 - frost, TINY)


def _coldest(nights: NDArray[np.float64]) -> int:
    """Give which night [night, tissue, duration] had the coldest hour of the leaf, of the twig where it has no leaf."""
    hour = nights[:, :, DURATIONS_H.index(1.0)]
    felt = np.where(np.isnan(hour[:, LEAF]), hour[:, TWIG], hour[:, LEAF])
    return int(np.nan_to_num(felt, nan=np.inf).argmin())


def nights_between(
    lived: Sequence[Lived], before: LookBefore | None, entry: LedgerEntry, zone: ZoneInfo
) -> tuple[Lived, ...]:
    """Give the nights from the look before to this one.

    Parameters
    ----------
    lived : sequence of Lived
        Of its tree.
    before : LookBefore or None
    entry : LedgerEntry
    zone : ZoneInfo
        Of the yard.

    Returns
    -------
    tuple of Lived
    """
    first, last = window_of(before, entry, zone)
    return tuple(one for one in lived if first <= one.night < last)


def window_of(before: LookBefore | None, entry: LedgerEntry, zone: ZoneInfo) -> tuple[date, date]:
    """Give the first night that counts for a look, and the one that does not any more."""
    last = entry.at.astimezone(zone).date()
    since = before.at.astimezone(zone).date() if before is not None and before.at is not None else None
    return (since or last - timedelta(days=FIRST_LOOK_DAYS)), last


# ---------------------------------------------------------------- what is known


@dataclass(frozen=True, eq=False)
class Known:
    """What a yard's ledger and weather say, read once for each state of the journal."""

    house: House
    yard: Yard
    zone: ZoneInfo
    trees: Mapping[str, Tree]
    looks: Mapping[str, list[tuple[LedgerEntry, Sighting]]]
    deeds: Mapping[str, list[tuple[datetime, str]]]
    stages: Mapping[str, list[tuple[datetime, str]]]

    @cached_property
    def weather(self) -> KnownHours:
        """All past weather, read where somebody asks for it: on a walk most looks need none."""
        return known_hours(self.house)

    def before(self, entry: LedgerEntry, tree: Tree) -> LookBefore | None:
        """Give the graded look before a sighting."""
        found = [
            (one.at, body.grade)
            for one, body in self.looks.get(tree.id, ())
            if one.at < entry.at and one.id != entry.id and body.grade is not None
        ]
        if found:
            return LookBefore(*found[-1])
        return LookBefore(None, tree.hurt_grade) if tree.hurt_grade else None

    def circumstances(
        self, entry: LedgerEntry, body: Sighting, tree: Tree, before: LookBefore | None, lived: Sequence[Lived]
    ) -> Circumstances:
        """Give what is known beside the signs."""
        from fruitwall.service.own_kinds import catalogue_of

        known = catalogue_of(self.yard)
        try:
            taxon = known.find(tree.taxon)
        except FruitwallError:
            taxon = None
        first, last = window_of(before, entry, self.zone)
        frost, chill = cold_chances(lived, body.grade)
        between = (last - first).days
        enough = between <= 0 or len(lived) >= max(1.0, KNOWN_SHARE * between)
        deeds = self.deeds.get(tree.id, ())
        since = before.at if before is not None and before.at is not None else None
        weather = self.weather.until(entry.at, since or entry.at - timedelta(days=FIRST_LOOK_DAYS))
        watered = _days_since(deeds, "watered", entry.at)
        dry = min((days for days in (weather.dry_days, watered) if days is not None), default=None)
        month = entry.at.astimezone(self.zone).month
        return Circumstances(
            grade=body.grade,
            month=month if self.yard.location.latitude_deg >= 0 else (month + 5) % 12 + 1,
            leaf_habit=taxon.leaf_habit if taxon is not None else "evergreen",
            shed_months=shed_months(known.habit(taxon), taxon.leaf_habit) if taxon is not None else frozenset(),
            frost=frost if enough else None,
            chill=chill if enough else None,
            hottest_c=weather.hottest_c,
            mean_c=weather.mean_c,
            dry_days=dry if weather.dry_days is not None or (watered is not None and watered < LATELY_DAYS) else None,
            watering_told=any(what == "watered" for _, what in deeds),
            rain_mm=weather.rain_mm,
            root_zone=tree.root_zone,
            fed_days=_days_since(deeds, "fed", entry.at),
            drying_wind=weather.drying_wind,
            potted=tree.container is not None,
            palm=taxon is not None and taxon.family == PALMS,
            stage=self._stage(tree.id, entry.at),
            before=before.grade if before is not None else None,
            before_days=HURT_DAYS if since is None else (entry.at - since) / timedelta(days=1),
        )

    def _stage(self, tree: str, at: datetime) -> str | None:
        lately = [stage for then, stage in self.stages.get(tree, ()) if timedelta() <= at - then]
        last = [then for then, _ in self.stages.get(tree, ()) if timedelta() <= at - then]
        return lately[-1] if lately and at - last[-1] <= timedelta(days=STAGE_DAYS) else None


def _days_since(deeds: Sequence[tuple[datetime, str]], what: str, at: datetime) -> float | None:
    """Give the days since something was done for a tree; None if that was never entered."""
    then = [moment for moment, done in deeds if done == what and moment <= at]
    return (at - max(then)) / timedelta(days=1) if then else None


def known_of(house: House) -> Known:
    """Give what the ledger and the weather of a yard say, as they stand now."""
    yard, version = house.yard()
    now = house.clock().replace(minute=0, second=0, microsecond=0)
    key = (version.yard, version.number, house.journal.state(), now)
    return _KNOWN.of(house.journal, key=key, make=lambda: _read(house, yard))


_KNOWN: Kept[Known] = Kept(4)


def _read(house: House, yard: Yard) -> Known:
    looks: dict[str, list[tuple[LedgerEntry, Sighting]]] = {}
    deeds: dict[str, list[tuple[datetime, str]]] = {}
    stages: dict[str, list[tuple[datetime, str]]] = {}
    for entry in house.ledger.current():
        body = says(entry)
        for tree in trees_of(entry, body) if body is not None else ():
            match body:
                case Sighting():
                    looks.setdefault(tree, []).append((entry, body))
                case Deed():
                    deeds.setdefault(tree, []).append((entry.at, body.what))
                case Stage():
                    stages.setdefault(tree, []).append((entry.at, body.stage))
                case _:
                    pass
    return Known(
        house=house,
        yard=yard,
        zone=ZoneInfo(yard.location.time_zone),
        trees={tree.id: tree for tree in yard.trees},
        looks=looks,
        deeds=deeds,
        stages=stages,
    )


# ---------------------------------------------------------------- answers

CANNOT_TELL, NONE_OF_THEM = "cannot-tell", "none"
"""Answers besides the signs of a question."""


def answer(house: House, which: str, group: str, said: str, *, signed: Signed, number: str) -> LedgerEntry:
    """Take the answer to a question about the cause, as a correction of the sighting.

    Parameters
    ----------
    house : House
    which : str
        Id of the sighting.
    group : str
        What was asked for.
    said : str
        A sign of it, or one of `NONE_OF_THEM` and `CANNOT_TELL`.
    signed : Signed
    number : str
        Id that the form gave the correction.

    Returns
    -------
    LedgerEntry
        What stands now.

    Raises
    ------
    JournalError
        If the sighting does not stand any more, or this is no answer to the question.
    """
    known = house.ledger.entry(number)
    if known is not None:
        return known
    body = _standing_sighting(house, which)
    members = _members(group)
    if said not in (*members, CANNOT_TELL, NONE_OF_THEM):
        raise JournalError(say("This is no answer to that question."))
    changes: dict[str, object] = {"asked": [*(one for one in body.asked if one != group), group]}
    if said in members:
        changes["signs"] = [*(one for one in body.signs if one != said), said]
        changes["absent"] = [one for one in body.absent if one != said]
    elif said == NONE_OF_THEM:
        changes["absent"] = [*(one for one in body.absent if one not in members), *members]
    return correct(house.ledger, which, changes, signed=signed, number=number)


def take_answer_back(house: House, which: str, group: str, *, signed: Signed, number: str) -> LedgerEntry:
    """Undo an answer: the sighting says again what it said without it; both stay in the history.

    Parameters
    ----------
    house : House
    which : str
        Id of the sighting.
    group : str
        What was asked for.
    signed : Signed
    number : str
        Id that the form gave the correction.

    Returns
    -------
    LedgerEntry
        What stands now.

    Raises
    ------
    JournalError
        If the sighting does not stand any more, or this was not asked.
    """
    known = house.ledger.entry(number)
    if known is not None:
        return known
    body = _standing_sighting(house, which)
    if group not in body.asked:
        raise JournalError(say("This was not asked, or its answer was taken back."))
    members = _members(group)
    changes: dict[str, object] = {
        "asked": [one for one in body.asked if one != group],
        "signs": [one for one in body.signs if one not in members],
        "absent": [one for one in body.absent if one not in members],
    }
    return correct(house.ledger, which, changes, signed=signed, number=number)


def _members(group: str) -> tuple[str, ...]:
    if group not in ASKED_GROUPS:
        raise JournalError(say("This is no answer to that question."))
    return tuple(sign.key for sign in cause_table().groups[group])


def _standing_sighting(house: House, which: str) -> Sighting:
    standing = {one.id: one for one in chain_of(house.ledger, which).standing}
    body = says(standing[which]) if which in standing else None
    if not isinstance(body, Sighting):
        raise JournalError(say("This does not stand any more: it was corrected or taken back meanwhile. Look again."))
    return body
