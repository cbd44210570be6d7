"""What each tree carries on a day: from the stages that were entered and what the yard file says.

Both the evening's plan and the nights that are over ask here, so that a bloom entered today is at risk tonight, and one
of last spring was at risk then. The yard file's `stages` hold until somebody enters a stage after they were written;
a file whose stages are changed later holds again from then on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, cast
from zoneinfo import ZoneInfo

import yaml

from fruitwall.errors import FruitwallError
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Body, Deed, Stage, says, trees_of
from fruitwall.speech import marked

if TYPE_CHECKING:
    from fruitwall.journal.entries import YardVersion
    from fruitwall.journal.store import Journal
    from fruitwall.yard.model import Tree, TreeStage, Yard

BLOOM_DAYS = 60
"""So long an entered bloom counts where nobody entered that fruit has set. Our judgement: longer than most,
so that a bloom is not left out. [days]"""

FLUSH_DAYS = 45
"""So long entered new growth counts as soft. Our judgement: leaves harden within four to six weeks. [days]"""

DORMANT_DAYS = 210
"""So long an entered rest counts where nobody entered its end. Our judgement: seven months. [days]"""

FRUIT_DAYS = 420
"""So long entered fruit counts where nobody entered its harvest and nothing is known of its kind; otherwise the longest
time of its kind from bloom and `HANGS_DAYS`. Our judgement: fourteen months. [days]"""

HANGS_DAYS = 90
"""So long fruit may hang once it is ripe. Our judgement; citrus and avocados do. [days]"""

CARRIED_NAMES = {
    "dormant": marked("dormant"),
    "leafy": marked("leaves"),
    "flush": marked("new growth"),
    "flower": marked("flowers"),
    "fruit": marked("fruit"),
}
"""What a tree carries, in words."""

ORDER = tuple(CARRIED_NAMES)


@dataclass(frozen=True)
class Mark:
    """A stage that was entered, or that fruit was harvested.

    Attributes
    ----------
    entry : str
        Id of the entry.
    at : datetime, aware
        When the tree reached it.
    received : datetime, aware
        When that was entered.
    stage : str
        One of `service.ledger.STAGES`, or ``harvested``.
    """

    entry: str
    at: datetime
    received: datetime
    stage: str


@dataclass(frozen=True)
class Carried:
    """What a tree carries.

    Attributes
    ----------
    stages : tuple of str
        As `yard.model.Tree.stages`.
    since : tuple of (str, date)
        Of those that somebody entered: since when, in the yard's days.
    gone : tuple of (str, date)
        What the yard file names and an entry took away: since when.
    """

    stages: tuple[TreeStage, ...]
    since: tuple[tuple[TreeStage, date], ...] = ()
    gone: tuple[tuple[TreeStage, date], ...] = ()


def carried_by(
    base: Sequence[TreeStage],
    written: datetime,
    marks: Iterable[Mark],
    on: datetime,
    zone: ZoneInfo,
    fruit_days: float = FRUIT_DAYS,
) -> Carried | None:
    """Give what a tree carries by what was entered since its file was written.

    Parameters
    ----------
    base : sequence of str
        The file's stages.
    written : datetime, aware
        When the file's stages were last changed.
    marks : iterable of Mark
    on : datetime, aware
        The moment that is asked for.
    zone : ZoneInfo
        Of the yard.
    fruit_days : float
        So long fruit counts from its bloom or set. [days]

    Returns
    -------
    Carried or None
        None where no entry says anything: the file holds.
    """
    newer = sorted(
        (one for one in marks if one.received >= written and one.at <= on), key=lambda one: (one.at, one.received)
    )
    if not newer:
        return None
    since: dict[str, datetime | None] = dict.fromkeys(base)
    lasts = {"flower": BLOOM_DAYS, "flush": FLUSH_DAYS, "dormant": DORMANT_DAYS, "fruit": fruit_days}
    gone: dict[str, datetime] = {}

    def begins(stage: str, at: datetime) -> None:
        since[stage] = at
        gone.pop(stage, None)

    def ends(stage: str, at: datetime) -> None:
        if stage in since:
            del since[stage]
            gone[stage] = at

    for mark in newer:
        for stage in [stage for stage, then in since.items() if _is_over(then, lasts.get(stage), mark.at)]:
            del since[stage]
        match mark.stage:
            case "dormant":
                begins("dormant", mark.at)
                for stage in ("leafy", "flush", "flower"):
                    ends(stage, mark.at)
            case "bud":
                ends("dormant", mark.at)
            case "bloom":
                ends("dormant", mark.at)
                begins("flower", mark.at)
            case "fruit_set":
                ends("dormant", mark.at)
                ends("flower", mark.at)
                begins("fruit", mark.at)
            case "fruit" | "harvest":
                # It hung before somebody entered that it hangs: the earlier day stays.
                begins("fruit", since.get("fruit") or mark.at)
            case "harvested":
                ends("fruit", mark.at)
            case "flush":
                ends("dormant", mark.at)
                begins("flush", mark.at)
            case "shedding":
                ends("flush", mark.at)
    held = {stage: then for stage, then in since.items() if not _is_over(then, lasts.get(stage), on)}
    if "dormant" not in held:
        held.setdefault("leafy", None)
    days = {stage: then.astimezone(zone).date() for stage, then in held.items() if then is not None}
    return Carried(
        stages=cast("tuple[TreeStage, ...]", tuple(sorted(held, key=ORDER.index))),
        since=cast(
            "tuple[tuple[TreeStage, date], ...]", tuple(sorted(days.items(), key=lambda one: ORDER.index(one[0])))
        ),
        gone=cast(
            "tuple[tuple[TreeStage, date], ...]",
            tuple(
                (stage, at.astimezone(zone).date()) for stage, at in gone.items() if stage in base and stage != "leafy"
            ),
        ),
    )


def _is_over(then: datetime | None, lasts_days: float | None, at: datetime) -> bool:
    """Tell whether an entered stage has passed by itself; what the file says does not."""
    return then is not None and lasts_days is not None and at - then > timedelta(days=lasts_days)


def with_carried(yard: Yard, carried: Mapping[str, Carried]) -> Yard:
    """Give the yard whose trees carry what was entered; the same yard where nothing was.

    Parameters
    ----------
    yard : Yard
    carried : Mapping of str to Carried
        By tree.

    Returns
    -------
    Yard
    """
    if not any(tree.id in carried for tree in yard.trees):
        return yard
    return yard.model_copy(update={"trees": [tree_then(tree, carried.get(tree.id)) for tree in yard.trees]})


def tree_then(tree: Tree, carried: Carried | None) -> Tree:
    """Give a tree with what it carried by what was entered; the same tree for None."""
    return tree if carried is None else tree.model_copy(update={"stages": list(carried.stages)})


# ---------------------------------------------------------------- from the journal


@dataclass(frozen=True, eq=False)
class StageLog:
    """All stages entered in a yard, and when each version of its file changed which.

    Attributes
    ----------
    marks : Mapping of str to tuple of Mark
        By tree, in the order in which the tree reached them.
    written : Mapping of (int, str) to datetime
        By number of the version and tree: when the stages it has then were set.
    """

    marks: Mapping[str, tuple[Mark, ...]] = field(default_factory=dict)
    written: Mapping[tuple[int, str], datetime] = field(default_factory=dict)

    def carried(self, yard: Yard, version: YardVersion, on: datetime) -> dict[str, Carried]:
        """Give what the trees carry at a moment by what was entered; those of which nothing was are left out.

        Parameters
        ----------
        yard : Yard
            As the version has it.
        version : YardVersion
            The one in force then.
        on : datetime, aware
        """
        zone = ZoneInfo(yard.location.time_zone)
        found = {}
        for tree in yard.trees:
            marks = self.marks.get(tree.id)
            if not marks:
                continue
            written = self.written.get((version.number, tree.id), version.created)
            its = carried_by(tree.stages, written, marks, on, zone, _fruit_days(tree, yard))
            if its is not None:
                found[tree.id] = its
        return found


def _fruit_days(tree: Tree, yard: Yard) -> float:
    """Give how long a tree's fruit may hang from bloom. [days]"""
    from fruitwall.plants.growth import fruit_time
    from fruitwall.service.own_kinds import catalogue_of

    known = catalogue_of(yard)
    try:
        time = fruit_time(known.find(tree.taxon), known)
    except FruitwallError:
        time = None
    if time is None:
        return FRUIT_DAYS
    return max(time.high_days if time.high_days == time.high_days else 0.0, time.mean_days + time.sd_days) + HANGS_DAYS


def stage_log(journal: Journal, yard: str) -> StageLog:
    """Read what was entered of stages.

    Parameters
    ----------
    journal : Journal
    yard : str
        Name of the yard.

    Returns
    -------
    StageLog
        Kept for each state of the journal.
    """
    return _LOGS.of(journal, key=(yard, journal.state()), make=lambda: _read_log(journal, yard))


_LOGS: Kept[StageLog] = Kept(4)


def _read_log(journal: Journal, yard: str) -> StageLog:
    from fruitwall.journal.ledger import Ledger

    marks: dict[str, list[Mark]] = {}
    for kind in ("stage", "deed"):
        for entry in Ledger(journal, yard).current(kind=kind):
            body = says(entry)
            stage = _stage_of(body)
            for tree in trees_of(entry, body) if body is not None and stage is not None else ():
                marks.setdefault(tree, []).append(Mark(entry.id, entry.at, entry.received, str(stage)))
    if not marks:
        return StageLog()
    written: dict[tuple[int, str], datetime] = {}
    before: dict[str, tuple[tuple[str, ...], datetime]] = {}
    lines, found = None, dict[str, tuple[str, ...]]()
    for version in journal.history(yard):
        now: dict[str, tuple[tuple[str, ...], datetime]] = {}
        # Most changes of a file, as when something is moved, touch none of these lines: it need not be read for them.
        if (its := _lines_of_stages(version.text)) != lines:
            lines, found = its, _stages_in(version.text)
        for tree, stages in found.items():
            known = before.get(tree)
            now[tree] = known if known is not None and known[0] == stages else (stages, version.created)
            written[version.number, tree] = now[tree][1]
        before = now
    in_order = {tree: tuple(sorted(its, key=lambda one: (one.at, one.received))) for tree, its in marks.items()}
    return StageLog(in_order, written)


def _stage_of(body: Body | None) -> str | None:
    match body:
        case Stage():
            return body.stage
        case Deed(what="harvested"):
            return "harvested"
    return None


def _lines_of_stages(text: str) -> list[str]:
    """Give the lines of a yard file that may say what a tree carries, or which tree that is."""
    return [
        line
        for line in text.splitlines()
        if "stages" in line or "id:" in line or "trees:" in line or line.strip().lstrip("- ") in CARRIED_NAMES
    ]


_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@lru_cache(maxsize=512)
def _stages_in(text: str) -> dict[str, tuple[str, ...]]:
    """Read nothing but the stages from a yard file: reading all of it takes a hundred times as long."""
    try:
        document = yaml.load(text, _LOADER)
    except (yaml.YAMLError, ValueError):
        return {}
    trees = document.get("trees") if isinstance(document, dict) else None
    found = {}
    for tree in trees if isinstance(trees, list) else ():
        if isinstance(tree, dict) and "id" in tree:
            stages = tree.get("stages", ["leafy"])
            found[str(tree["id"])] = tuple(sorted(map(str, stages if isinstance(stages, list) else [stages])))
    return found


def carried_on(journal: Journal, yard: str, on: datetime) -> dict[str, Carried]:
    """Give what the trees of a yard carry by what was entered.

    Parameters
    ----------
    journal : Journal
    yard : str
        Name of the yard.
    on : datetime, aware
        The moment that is asked for.

    Returns
    -------
    dict of str to Carried
        Trees of which nothing was entered since their file was written are left out: the file holds for them.
    """
    from fruitwall.service.yards import load_yard

    its, version = load_yard(journal, yard)
    return stage_log(journal, yard).carried(its, version, on)
