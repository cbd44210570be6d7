"""What each tree carries, what comes next, and when it may be picked: from entries, its kind and its own years."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import FruitwallError
from fruitwall.plants.growth import (
    Window,
    bands_of,
    bloom_heat,
    fruit_time,
    harvest_window,
    learned_bloom,
    learned_time,
    next_time,
)
from fruitwall.service.growth_document import (
    Growth,
    HarvestExpected,
    StageEntered,
    StageExpected,
    TreeGrowth,
)
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import UNDO_FOR
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.service.stages import Carried, Mark, StageLog, stage_log

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Catalogue, Taxon
    from fruitwall.plants.growth import Band, FruitTime
    from fruitwall.service.house import House
    from fruitwall.yard.model import Tree, Yard

TOLD_DAYS = 730
"""So far back entered stages are told. [days]"""

SET_AFTER_BLOOM_DAYS = 14
"""From the first flower until fruit is seen to set, where only that was entered. Our judgement. [days]"""

NEW_BLOOM_DAYS = 21
"""A bloom entered so soon after another one is the same. Our judgement. [days]"""

CROP_SHARES = (0.5, 1.5)
"""Harvest belongs to a bloom where the time between is so many times what is expected: another one is of another crop.
Our judgement: lemons and avocados carry two at once. [-]"""

WAVES_DAYS = 150
"""A kind whose months of bloom are longer blooms in waves, as lemons do. Our judgement. [days]"""

UNKNOWN_TIME_DAYS = (30.0, 420.0)
"""The same where nothing is known of a kind. Our judgement. [days]"""


def growth_of(house: House) -> Growth:
    """Work out the growth of all trees.

    Parameters
    ----------
    house : House

    Returns
    -------
    Growth
        Kept for each state of the journal and hour.
    """
    yard, version = house.yard()
    now = house.clock()
    hour = now.replace(minute=0, second=0, microsecond=0)
    log = stage_log(house.journal, version.yard)
    # Within an hour what is fresh can be taken back, so that hour is looked at anew each time.
    fresh = tuple(one.entry for its in log.marks.values() for one in its if now - one.received <= UNDO_FOR)
    key = (version.yard, house.journal.state(), house.journal.weather_state(), hour, fresh)
    return _KEPT.of(house.journal, key=key, make=lambda: _work_out(house, yard, log, log.carried(yard, version, now)))


_KEPT: Kept[Growth] = Kept(4)


def stage_now(house: House, tree: str, on: date) -> tuple[str, ...]:
    """Give what a tree carries on a day.

    Parameters
    ----------
    house : House
    tree : str
        Its id.
    on : date
        In the yard's days; its evening is meant.

    Returns
    -------
    tuple of str
        As `yard.model.Tree.stages`: by what was entered where that is newer than the yard file, else as the file says.

    Raises
    ------
    KeyError
        If the yard has no such tree.
    """
    yard, version = house.yard()
    its = next((one for one in yard.trees if one.id == tree), None)
    if its is None:
        raise KeyError(tree)
    evening = datetime(on.year, on.month, on.day, 23, 59, tzinfo=ZoneInfo(yard.location.time_zone))
    carried = stage_log(house.journal, version.yard).carried(yard, version, evening)
    return carried[tree].stages if tree in carried else tuple(its.stages)


def _work_out(house: House, yard: Yard, log: StageLog, carried: Mapping[str, Carried]) -> Growth:
    zone = ZoneInfo(yard.location.time_zone)
    now = house.clock()
    known = catalogue_of(yard)
    trees = []
    for tree in yard.trees:
        try:
            taxon = known.find(tree.taxon)
        except FruitwallError:
            taxon = None  # told as a tree of which nothing is known
        marks = log.marks.get(tree.id, ())
        trees.append(_tree(house, tree, taxon, known, marks, carried.get(tree.id), now, zone, yard))
    return Growth(
        yard=yard.name, today=now.astimezone(zone).date(), southern=yard.location.latitude_deg < 0, trees=trees
    )


def _tree(
    house: House,
    tree: Tree,
    taxon: Taxon | None,
    known: Catalogue,
    marks: Sequence[Mark],
    carried: Carried | None,
    now: datetime,
    zone: ZoneInfo,
    yard: Yard,
) -> TreeGrowth:
    today = now.astimezone(zone).date()
    stages = list(carried.stages) if carried is not None else list(tree.stages)
    bands = bands_of(taxon, yard.location.latitude_deg, known) if taxon is not None else ()
    time = fruit_time(taxon, known) if taxon is not None else None
    then = [one for one in marks if one.at <= now]
    blooms = blooms_of(then, zone)
    crops = own_crops(then, time, zone)
    crop = _Crop(bands, time, tuple(blooms), tuple(crops), "fruit" in stages, tuple(then), today, zone)
    harvest, later = crop.harvests()
    if harvest is not None and harvest.bloom_entered:
        from fruitwall.service.growth_heat import heat_window

        harvest = harvest.model_copy(
            update={"by_heat": heat_window(house, tree.id, crops, harvest.bloom, known_taxon=taxon)}
        )
    foreseen = _by_chill(house, tree, taxon, bands, blooms, today)
    fruitless = "fruit" in stages and tree.fruit_worth <= 0.0
    flowerless = "flower" in stages and tree.promised_worth <= 0.0 and tree.fruit_worth <= 0.0
    return TreeGrowth(
        tree=tree.id,
        name=tree.name,
        taxon=taxon.scientific if taxon is not None else tree.taxon,
        carries=[str(one) for one in stages],
        since={str(stage): day for stage, day in carried.since} if carried is not None else {},
        gone={str(stage): day for stage, day in carried.gone} if carried is not None else {},
        entered=[
            StageEntered(
                entry=one.entry,
                stage=one.stage,
                day=one.at.astimezone(zone).date(),
                fresh=one.stage != "harvested" and timedelta() <= now - one.received <= UNDO_FOR,
            )
            for one in reversed(then)
            if now - one.at <= timedelta(days=TOLD_DAYS)
        ],
        expected=sorted(
            (foreseen.get(at) or _expected(band, blooms, today) for at, band in enumerate(bands)),
            key=lambda one: (one.first, one.stage),
        ),
        harvest=harvest,
        later=later,
        kind_mean_days=time.mean_days if time is not None else None,
        worth_missing=fruitless or flowerless,
        pickable=tree.pickable,
    )


def blooms_of(marks: Sequence[Mark], zone: ZoneInfo) -> list[date]:
    """Give the first days of the blooms that were entered, oldest first; of one entered twice the first."""
    found: list[date] = []
    for one in marks:
        if one.stage in ("bloom", "fruit_set"):
            day = one.at.astimezone(zone).date()
            day -= timedelta(days=SET_AFTER_BLOOM_DAYS if one.stage == "fruit_set" else 0)
            since = (day - found[-1]).days if found else None
            # Fruit that sets belongs to the bloom before it.
            if since is None or since > (NEW_BLOOM_DAYS if one.stage == "bloom" else 90):
                found.append(day)
    return found


def own_crops(marks: Sequence[Mark], time: FruitTime | None, zone: ZoneInfo) -> list[tuple[date, date]]:
    """Give the crops of a tree that were entered from bloom to harvest.

    Parameters
    ----------
    marks : sequence of Mark
        In the order in which the tree reached them.
    time : FruitTime or None
        Of its kind: harvest much sooner or later is of another crop.
    zone : ZoneInfo

    Returns
    -------
    list of (date, date)
        First day of the bloom and of the harvest.
    """
    low, high = (
        UNKNOWN_TIME_DAYS if time is None else (CROP_SHARES[0] * time.mean_days, CROP_SHARES[1] * time.mean_days)
    )
    days = sorted({one.at.astimezone(zone).date() for one in marks if one.stage in ("harvest", "harvested")})
    begins = [day for at, day in enumerate(days) if at == 0 or (day - days[at - 1]).days > 60]
    crops: list[tuple[date, date]] = []
    for bloom in blooms_of(marks, zone):
        taken = {harvest for _, harvest in crops}
        picked = next((day for day in begins if day not in taken and low <= (day - bloom).days <= high), None)
        if picked is not None:
            crops.append((bloom, picked))
    return crops


def _expected(band: Band, blooms: Sequence[date], today: date) -> StageExpected:
    first, last = next_time(band, today)
    own = 0
    if band.stage == "bloom" and blooms and not _in_waves(first, last):
        window = learned_bloom(first, last, blooms)
        # Of a bloom that was entered in these very months nothing more is foreseen: the next is a year later.
        if any(abs((window.middle - day).days) < 150 for day in blooms):
            later = next_time(band, last + timedelta(days=1))
            window = learned_bloom(*later, blooms)
        first, last, own = window.first, window.last, len(blooms)
    return StageExpected(
        stage=band.stage,
        first=first,
        last=last,
        basis="own" if own else "months",
        own_years=own,
        status=band.status,
        sources=sorted({_cited(one.source.authors, one.source.year, one.source.title) for one in band.facts}),
    )


def _cited(authors: str, year: str, title: str) -> str:
    head = f"{authors} ({year})" if year else authors
    return f"{head}: {title}"


def _by_chill(
    house: House, tree: Tree, taxon: Taxon | None, bands: Sequence[Band], blooms: Sequence[date], today: date
) -> dict[int, StageExpected]:
    """Give the bloom of a kind that rests by chill and warmth at the tree, by the place of its band.

    Only where both needs of its cultivar are published and this year's bloom was not entered.
    """
    needs = bloom_heat(taxon, tree.cultivar) if taxon is not None and taxon.needs_winter_chill else None
    at = next((at for at, band in enumerate(bands) if band.stage == "bloom"), None)
    if needs is None or at is None or any((today - day).days < 150 for day in blooms):
        return {}
    from fruitwall.service.growth_heat import bloom_window

    window = bloom_window(house, tree.id, needs[0].low, needs[1].low)
    if window is None:
        return {}
    source = needs[1].source
    its = StageExpected(
        stage="bloom",
        first=window.first,
        last=window.last,
        basis="heat",
        status="read",
        sources=[_cited(source.authors, source.year, source.title)],
    )
    return {at: its}


def _in_waves(first: date, last: date) -> bool:
    """Tell whether a kind blooms in so many months that one entered bloom says nothing of the next."""
    return (last - first).days > WAVES_DAYS


def _bloom(first: date, last: date, blooms: Sequence[date]) -> Window:
    return learned_bloom(first, last, () if _in_waves(first, last) else blooms)


@dataclass(frozen=True)
class _Crop:
    """What a tree's harvest is reckoned from."""

    bands: Sequence[Band]
    time: FruitTime | None
    blooms: tuple[date, ...]
    crops: tuple[tuple[date, date], ...]
    hangs: bool
    marks: tuple[Mark, ...]
    today: date
    zone: ZoneInfo

    def harvests(self) -> tuple[HarvestExpected | None, HarvestExpected | None]:
        """Give the harvest of what hangs, else of the next bloom; and of an entered bloom that comes after it."""
        length = learned_time(self.time, [(end - begin).days for begin, end in self.crops])
        if length is None:
            return None, None
        running = self._running(length)
        if running is None:
            foreseen = self._foreseen(length)
            return (self._expect(foreseen, length, entered=False) if foreseen is not None else None), None
        entered = self._expect(Window(running, running, running), length, entered=True)
        if not self.hangs or self._set_since(running):
            return entered, None
        # Fruit hangs of which nobody said that it came of this bloom: it is of an earlier one.
        foreseen = self._foreseen(length)
        if foreseen is None or foreseen.middle >= running:
            return entered, None
        return self._expect(foreseen, length, entered=False), entered

    def _running(self, length: tuple[float, float]) -> date | None:
        """Give the oldest entered bloom whose fruit was not harvested and may still come."""
        done = {bloom for bloom, _ in self.crops}
        picked = max(
            (one.at.astimezone(self.zone).date() for one in self.marks if one.stage == "harvested"), default=None
        )
        for day in self.blooms:
            still = harvest_window(Window(day, day, day), length).last >= self.today
            if day not in done and still and (picked is None or picked < day or self.hangs):
                return day
        return None

    def _set_since(self, bloom: date) -> bool:
        return any(
            one.stage in ("fruit_set", "fruit", "harvest") and one.at.astimezone(self.zone).date() >= bloom
            for one in self.marks
        )

    def _foreseen(self, length: tuple[float, float]) -> Window | None:
        """Give the bloom by months that fruit which hangs came of, else the next one."""
        band = next((one for one in self.bands if one.stage == "bloom"), None)
        if band is None:
            return None
        if not self.hangs:
            return _bloom(*next_time(band, self.today), self.blooms)
        found: Window | None = None
        for back in (730, 365, 0):
            its = _bloom(*next_time(band, self.today - timedelta(days=back)), self.blooms)
            if its.middle > self.today - timedelta(days=30):
                break
            # Older fruit would be over by now; of what is left the oldest hangs ripest.
            if harvest_window(its, length).last >= self.today:
                return its
            found = its
        return found

    def _expect(self, bloom: Window, length: tuple[float, float], *, entered: bool) -> HarvestExpected:
        window = harvest_window(bloom, length)
        rows = self.time.statements if self.time is not None else ()
        return HarvestExpected(
            first=window.first,
            middle=window.middle,
            last=window.last,
            bloom=bloom.middle,
            bloom_entered=entered,
            mean_days=length[0],
            sd_days=length[1],
            kind_mean_days=self.time.mean_days if self.time is not None else None,
            own_years=len(self.crops),
            sources=sorted({_cited(one.source.authors, one.source.year, one.source.title) for one in rows}),
        )
