"""What is foreseen of a yard's trees, from months of their kinds and from what was entered."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.plants.growth import Window, degree_days, fruit_time, learned_time
from fruitwall.service import growth_heat
from fruitwall.service.growth_document import Growth, TreeGrowth
from fruitwall.service.growth_heat import bloom_of_hours, daily, window_of
from fruitwall.service.growth_ledger import blooms_of, growth_of, own_crops, stage_now
from fruitwall.service.growth_season import growth_part, since_words, tasks_of
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Stage
from fruitwall.service.season import season_part
from fruitwall.service.stages import Mark
from fruitwall.speech import speaking
from tests.service.past import LATER, YARD, enter, house_with_past

ZONE = ZoneInfo("America/Los_Angeles")
TODAY = LATER.astimezone(ZONE).date()


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


def noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=ZONE)


def of(house, tree):
    return next(one for one in growth_of(house).trees if one.tree == tree)


def reader(house) -> Household:
    return Household(house.yard()[0].display, ZONE)


def test_the_stage_of_a_day_is_the_files_until_one_was_entered(house) -> None:
    assert stage_now(house, "mango", TODAY) == ("leafy",)
    enter(house, Stage(stage="bloom"), "mango", noon(TODAY - timedelta(days=4)))
    assert stage_now(house, "mango", TODAY) == ("leafy", "flower")
    assert stage_now(house, "mango", TODAY - timedelta(days=5)) == ("leafy",)
    with pytest.raises(KeyError):
        stage_now(house, "palm", TODAY)


@pytest.mark.parametrize(("kind", "word"), [("akee", "deadly"), ("ackee", "deadly"), ("cashew", "burns")])
def test_nobody_is_told_to_taste_fruit_that_hurts(house, kind, word) -> None:
    mango = of(house, "mango")
    assert mango.harvest is not None
    ripe = {"carries": ["leafy", "fruit"], "harvest": mango.harvest.model_copy(update={"first": TODAY})}
    tasted, looked = (
        next(
            task
            for task in tasks_of(_one(mango.model_copy(update=ripe | {"taxon": one})))
            if task.key == "growth:harvest:mango"
        )
        for one in ("mango", kind)
    )
    assert tasted.what.startswith("Taste")
    assert "Do not taste" in looked.what
    assert word in looked.steps[0]
    assert not any("Taste" in step for step in looked.steps)


def _one(tree: TreeGrowth) -> Growth:
    return Growth(yard="", today=TODAY, southern=False, trees=[tree])


def test_without_entries_harvest_follows_the_months_of_the_kind(house) -> None:
    mango = of(house, "mango")
    time = fruit_time("mango")
    assert time is not None
    assert mango.harvest is not None
    assert not mango.harvest.bloom_entered
    assert mango.harvest.mean_days == pytest.approx(time.mean_days)
    assert (mango.harvest.middle - mango.harvest.bloom).days == round(time.mean_days)
    bloom = next(one for one in mango.expected if one.stage == "bloom")
    assert (bloom.first.month, bloom.last.month) == (12, 4)
    assert bloom.status == "read"
    assert any("Popenoe" in one for one in bloom.sources)


def test_an_entered_bloom_narrows_the_harvest(house) -> None:
    before = of(house, "mango").harvest
    bloom = TODAY - timedelta(days=10)
    enter(house, Stage(stage="bloom"), "mango", noon(bloom))
    after = of(house, "mango").harvest
    assert before is not None
    assert after is not None
    assert after.bloom_entered
    assert after.bloom == bloom
    assert after.last - after.first < before.last - before.first


def crop(house, tree: str, bloom: date, days: int) -> None:
    enter(house, Stage(stage="bloom"), tree, noon(bloom))
    enter(house, Deed(what="harvested", words="Harvested"), tree, noon(bloom + timedelta(days=days)))


def test_own_crops_teach_the_trees_own_time(house) -> None:
    for year in (2024, 2025):
        crop(house, "mango", date(year, 2, 1), 140)
    enter(house, Stage(stage="bloom"), "mango", noon(TODAY - timedelta(days=3)))
    mango = of(house, "mango").harvest
    prior = fruit_time("mango")
    assert mango is not None
    assert mango.own_years == 2
    assert (mango.mean_days, mango.sd_days) == pytest.approx(learned_time(prior, [140, 140]))
    assert mango.by_heat is None  # the weather of those years is not known
    told = growth_part(house, reader(house))
    assert told.document is not None
    assert of(house, "twin").harvest.own_years == 0


def test_a_harvest_of_another_crop_is_not_paired_with_a_bloom() -> None:
    time = fruit_time("mango")
    assert time is not None

    def mark(stage: str, day: date) -> Mark:
        return Mark(f"{stage}{day}", noon(day), noon(day), stage)

    bloom = date(2025, 2, 1)
    soon, right = bloom + timedelta(days=20), bloom + timedelta(days=round(time.mean_days))
    marks = [mark("bloom", bloom), mark("harvested", soon), mark("harvest", right), mark("harvested", right)]
    # The harvest of the crop before goes on for a while: what follows within two months is the same.
    assert own_crops(marks[:2], time, ZONE) == []
    assert own_crops([marks[0], *marks[2:]], time, ZONE) == [(bloom, right)]


def test_fruit_that_sets_belongs_to_the_bloom_before_it() -> None:
    def mark(stage: str, day: date) -> Mark:
        return Mark(stage, noon(day), noon(day), stage)

    first = date(2025, 3, 1)
    assert blooms_of([mark("bloom", first), mark("fruit_set", first + timedelta(days=40))], ZONE) == [first]
    assert blooms_of([mark("fruit_set", first)], ZONE) == [first - timedelta(days=14)]


def test_fruit_of_an_earlier_bloom_is_told_before_that_of_the_new_one(house) -> None:
    fruiting = YARD.replace("{id: lime,", "{id: lime, stages: [leafy, fruit], fruit_worth: 30,")
    house.journal.store_yard(fruiting, name="Small yard", now=LATER - timedelta(days=20), author="test")
    assert of(house, "lime").harvest is not None
    enter(house, Stage(stage="bloom"), "lime", noon(TODAY - timedelta(days=2)))
    lime = of(house, "lime")
    assert lime.carries == ["leafy", "flower", "fruit"]
    assert lime.harvest is not None
    assert lime.later is not None
    assert not lime.harvest.bloom_entered
    assert lime.later.bloom_entered
    assert lime.harvest.middle < lime.later.middle


def test_a_harvest_takes_the_fruit_away_and_says_so(house) -> None:
    fruiting = YARD.replace("{id: lime,", "{id: lime, stages: [leafy, fruit], fruit_worth: 30,")
    house.journal.store_yard(fruiting, name="Small yard", now=LATER - timedelta(days=20), author="test")
    assert of(house, "lime").carries == ["leafy", "fruit"]
    enter(house, Deed(what="harvested", words="Harvested"), "lime", noon(TODAY - timedelta(days=1)))
    lime = of(house, "lime")
    assert lime.carries == ["leafy"]
    assert lime.gone == {"fruit": TODAY - timedelta(days=1)}
    assert since_words(lime)[0].startswith("no fruit any more since")


def test_south_of_the_equator_all_comes_half_a_year_later(house) -> None:
    north = next(one for one in of(house, "mango").expected if one.stage == "bloom")
    there = YARD.replace("latitude: 33.92", "latitude: -33.92")
    house.journal.store_yard(there, name="Small yard", now=LATER - timedelta(days=1), author="test")
    south = next(one for one in of(house, "mango").expected if one.stage == "bloom")
    assert (south.first.month - north.first.month) % 12 == 6
    assert "south of the equator" in " ".join(growth_part(house, reader(house)).notices)


def test_the_part_tells_every_tree_and_asks_for_what_is_due(house) -> None:
    part = season_part("growth", house, reader(house))
    assert part.table is not None
    assert part.table.trees == ("mango", "twin", "lime")
    assert "0 trees carry fruit, 0 are in bloom." in part.verdict
    (task,) = [one for one in part.tasks if one.key.startswith("growth:bloom:")]
    assert "mango" in task.trees
    enter(house, Stage(stage="bloom"), "mango", noon(TODAY))
    after = season_part("growth", house, reader(house))
    assert "1 is in bloom" in after.verdict
    assert all("mango" not in one.trees for one in after.tasks if one.key.startswith("growth:bloom:"))
    assert any("Mango" in line and "worth" in line for line in after.notices)


def test_ripe_fruit_is_a_task_with_its_deed(house) -> None:
    ripe = YARD.replace("{id: mango,", "{id: mango, fruit_worth: 30,")
    house.journal.store_yard(ripe, name="Small yard", now=LATER - timedelta(days=20), author="test")
    time = fruit_time("mango")
    assert time is not None
    enter(house, Stage(stage="bloom"), "mango", noon(TODAY - timedelta(days=round(time.mean_days))))
    enter(house, Stage(stage="fruit_set"), "mango", noon(TODAY - timedelta(days=40)))
    (task,) = [one for one in growth_part(house, reader(house)).tasks if one.key == "growth:harvest:mango"]
    assert task.deed == "harvested"
    assert task.due == TODAY
    assert any("may be picked" in step for step in task.steps)
    with speaking("es"):
        said = growth_part(house, reader(house))
    assert said.title == "Crecimiento"
    assert any("Pruebe la fruta de Mango" in one.what for one in said.tasks)


# ---------------------------------------------------------------- by warmth


def days_from(first: date, count: int) -> list[date]:
    return [first + timedelta(days=step) for step in range(count)]


def test_warmth_of_own_years_gives_the_day_by_hand() -> None:
    past = days_from(date(2024, 1, 1), 800), np.full((1, 800), 5.0)
    crops = [(date(2024, 2, 1), date(2024, 5, 11)), (date(2025, 2, 1), date(2025, 5, 21))]  # 100 and 109 days
    bloom = date(2026, 2, 1)
    last = past[0][-1]
    coming = days_from(last + timedelta(days=1), 200), np.stack([np.full(200, 5.0), np.full(200, 10.0)])
    found = window_of(past, coming, crops, bloom, 10.0)
    assert found is not None
    assert found.need_k_d == pytest.approx(5.0 * (100 + 109) / 2)
    so_far = 5.0 * ((last - bloom).days + 1)
    assert found.so_far_k_d == pytest.approx(so_far)
    # Fastest: 500 K d at 10 a day; slowest: 545 K d at 5 a day.
    assert found.first == last + timedelta(days=int(np.ceil((500 - so_far) / 10)))
    assert found.last == last + timedelta(days=int(np.ceil((545 - so_far) / 5)))
    assert found.first <= found.middle <= found.last


def test_warmth_is_not_reckoned_with_from_one_year_or_with_holes() -> None:
    days = days_from(date(2024, 1, 1), 800)
    heat = np.full((1, 800), 5.0)
    coming = days_from(days[-1] + timedelta(days=1), 200), np.full((2, 200), 5.0)
    crops = [(date(2024, 2, 1), date(2024, 5, 11)), (date(2025, 2, 1), date(2025, 5, 21))]
    bloom = date(2026, 2, 1)
    assert window_of((days, heat), coming, crops[:1], bloom, 10.0) is None
    holes = heat.copy()
    holes[0, 400:480] = np.nan
    assert window_of((days, holes), coming, crops, bloom, 10.0) is None
    short = days_from(days[-1] + timedelta(days=1), 10), np.full((2, 10), 5.0)
    assert window_of((days, heat), short, crops, bloom, 10.0) is None


def hours_of(air_c, first: str) -> SimpleNamespace:
    air = np.atleast_2d(np.asarray(air_c, float))
    time = np.datetime64(first) + np.arange(air.shape[1]) * np.timedelta64(3600, "s")
    return SimpleNamespace(time_utc=time.astype("datetime64[s]"), done=SimpleNamespace(air_c=air))


def test_days_without_their_hours_are_not_reckoned_with() -> None:
    air = np.tile(np.concatenate([np.full(12, 8.0), np.full(12, 20.0)]), 3)
    air[24:30] = np.nan
    days, heat = daily(hours_of(air, "2026-01-01T08:30:00"), 10.0, ZONE)  # midnight there, and the hour ends half past
    assert days == [date(2026, 1, 1), date(2026, 1, 2), date(2026, 1, 3)]
    assert np.isnan(heat[0]).tolist() == [False, True, False]
    assert heat[0, 0] == pytest.approx(degree_days(8.0, 20.0, 10.0))


def test_bloom_follows_chill_and_then_warmth_in_each_course_of_the_weather() -> None:
    # 6 °C is one Utah unit an hour; 25 °C is 21 growing degree hours; an unknown hour gives nothing.
    past = hours_of([6.0] * 100 + [np.nan] * 20, "2026-12-01T08:00:00")
    warm, cold = [25.0] * 400, [6.0] * 50 + [25.0] * 350
    coming = hours_of([warm, cold, [0.0] * 400], "2026-12-06T08:00:00")
    found = bloom_of_hours(past, coming, 100.0, 210.0, ZONE)
    assert found is not None
    # 210 / 21 = 10 warm hours: the same day in the first course, two days later in the second; the third never blooms.
    assert (found.first, found.last) == (date(2026, 12, 6), date(2026, 12, 8))
    assert bloom_of_hours(past, coming, 5000.0, 210.0, ZONE) is None


def test_a_cultivar_whose_chill_and_warmth_are_published_blooms_by_them(house, monkeypatch) -> None:
    window = Window(date(2027, 3, 2), date(2027, 3, 9), date(2027, 3, 20))
    asked = []
    monkeypatch.setattr(growth_heat, "bloom_window", lambda *given: asked.append(given[1:]) or window)
    peach = YARD.replace("taxon: lime,", "taxon: peach, cultivar: Springcrest, stages: [dormant],")
    house.journal.store_yard(peach, name="Small yard", now=LATER - timedelta(days=20), author="test")
    bloom = next(one for one in of(house, "lime").expected if one.stage == "bloom")
    assert asked == [("lime", 940.0, 3670.0)]
    assert (bloom.basis, bloom.first, bloom.last) == ("heat", window.first, window.last)
    enter(house, Stage(stage="bloom"), "lime", noon(TODAY))
    bloom = next(one for one in of(house, "lime").expected if one.stage == "bloom")
    assert bloom.basis == "own"
    assert bloom.first > TODAY + timedelta(days=200)


def test_a_kind_that_blooms_in_waves_keeps_its_months(house) -> None:
    lemon = YARD.replace("taxon: lime,", "taxon: lemon,")
    house.journal.store_yard(lemon, name="Small yard", now=LATER - timedelta(days=20), author="test")
    enter(house, Stage(stage="bloom"), "lime", noon(TODAY))
    bloom = next(one for one in of(house, "lime").expected if one.stage == "bloom")
    assert (bloom.basis, bloom.first.month, bloom.last.month) == ("months", 3, 10)
