"""Hurt trees: what is waited for at their own spot, and what is asked for."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.plants.recovery import UNLIKELY
from fruitwall.service import recovery_ledger
from fruitwall.service.climate import keep_years
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Sighting
from fruitwall.service.recovery_season import recovery_part, tasks
from fruitwall.service.spot_hours import Felt, SpotHours
from fruitwall.speech import speaking
from fruitwall.weather.demo import demo_now
from fruitwall.weather.forcing import HOUR, as_datetime64
from tests.service.past import enter, house_with_past
from tests.service.test_climate import other_year

ZONE = ZoneInfo("America/Los_Angeles")
TODAY = date(2026, 12, 23)


def made_hours(
    tree: str, last_freezes: list[date | None], *, until: datetime, since: datetime, freeze_c: float = -8.0
) -> SpotHours:
    """One course for each last freeze: mild throughout, but so cold at six in the morning after that evening."""
    first = as_datetime64(since).astype("datetime64[h]").astype("datetime64[s]") + HOUR
    times = np.arange(first, as_datetime64(until), HOUR)
    shape = len(last_freezes), times.size
    leaf = np.full(shape, 9.0)
    for member, day in enumerate(last_freezes):
        if day is not None:
            morning = datetime(day.year, day.month, day.day, 6, tzinfo=ZONE) + timedelta(days=1)
            leaf[member, times == as_datetime64(morning)] = freeze_c
    zero = np.zeros(shape)
    felt = Felt(leaf, leaf, leaf, leaf, leaf, leaf)
    known = np.ones(times.size, dtype=bool)
    return SpotHours(tree, times, felt, felt, leaf, leaf, zero, zero, zero, zero, zero, zero, known, 0, 100)


@pytest.fixture
def house(filled_file: Path, tmp_path: Path) -> Iterator[House]:
    shutil.copy(filled_file, tmp_path / "a.db")
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path / "photos", clock=demo_now)


@pytest.fixture
def household(house: House) -> Household:
    return Household(house.yard()[0].display, ZONE)


@pytest.fixture
def freezes(monkeypatch: pytest.MonkeyPatch) -> list[date | None]:
    """Ten courses, without a freeze at first; a test puts last freezes in."""
    courses: list[date | None] = [None] * 10

    def coming(house: House, until: datetime) -> dict[str, SpotHours]:
        return {
            tree.id: made_hours(tree.id, courses, until=until, since=house.clock()) for tree in house.yard()[0].trees
        }

    monkeypatch.setattr("fruitwall.service.spot_hours.coming_hours", coming)
    monkeypatch.setattr(recovery_ledger, "_cold_share", lambda *_: 0.9)
    return courses


def hurt(house: House, grade: int, *signs: str, days_ago: int = 3, tree: str = "lime") -> None:
    enter(house, Sighting(grade=grade, signs=list(signs)), tree, demo_now() - timedelta(days=days_ago))


def test_without_an_injury_nothing_is_asked(house: House, household: Household) -> None:
    part = recovery_part(house, household)
    assert part.verdict == "No tree shows an injury from the cold of this winter or the last."
    assert part.tasks == ()
    assert part.table is None


def test_a_hurt_tree_waits_for_the_last_likely_freeze(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    freezes[:] = [date(2027, 1, 10), date(2027, 2, 1), date(2027, 3, 20), *[None] * 7]
    hurt(house, 5, "brown")
    part = recovery_part(house, household)
    (tree,) = part.document.trees
    assert tree.state == "wait_cold"
    assert tree.chance_now == pytest.approx(0.3)
    # After 1 February one course of ten is left: the limit itself counts as unlikely.
    assert tree.safe_from == date(2027, 2, 2)
    assert tree.prune_from is None
    assert [one.chance for one in tree.chances if one.night in (date(2027, 1, 10), date(2027, 3, 20))] == [0.3, 0.1]
    assert tree.chances[-1].chance == 0.0
    assert UNLIKELY == 0.1
    assert "Do not prune yet: Lime." in part.verdict


def test_a_cut_waits_until_soft_growth_is_safe_and_not_only_the_grown_wood(
    house: House, freezes: list[date | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    # A night of -2.9 °C does nothing to grown leaf that stands -6 °C, and kills the soft growth that a cut starts.
    def coming(house: House, until: datetime) -> dict[str, SpotHours]:
        night = [date(2027, 2, 10)] * 10
        return {
            tree.id: made_hours(tree.id, night, until=until, since=house.clock(), freeze_c=-2.9)
            for tree in house.yard()[0].trees
        }

    monkeypatch.setattr("fruitwall.service.spot_hours.coming_hours", coming)
    monkeypatch.setattr(recovery_ledger, "freezing_level", lambda *_: -6.0)
    hurt(house, 5, "brown")
    hurt(house, 3, tree="mango")
    found = {tree.tree: tree for tree in recovery_ledger.recovery_season(house).trees}
    assert found["lime"].by_new_growth
    assert found["lime"].level_c == -2.8
    assert found["lime"].safe_from == date(2027, 2, 11)
    assert not found["mango"].by_new_growth  # only leaf was burnt: nothing is to be cut
    assert found["mango"].level_c == -6.0
    assert found["mango"].safe_from == TODAY


def test_live_wood_names_the_day_from_which_to_prune(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    freezes[:] = [date(2027, 1, 10), date(2027, 2, 1), date(2027, 2, 1), *[None] * 7]
    hurt(house, 5, days_ago=40)
    enter(house, Sighting(signs=["new_growth"]), "lime", demo_now() - timedelta(days=1))
    part = recovery_part(house, household)
    (task,) = [one for one in part.tasks if one.deed == "pruned"]
    assert task.key == "recovery:prune:lime"
    assert task.not_before == date(2027, 2, 2)
    assert task.due == date(2027, 3, 4)
    assert any("live wood" in step for step in task.steps)
    assert not [one for one in part.tasks if "scratch" in one.key]


def test_cold_over_and_live_wood_allow_the_cut_today(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    hurt(house, 5, days_ago=40)
    enter(house, Sighting(signs=["wood_green"]), "lime", demo_now() - timedelta(days=2))
    part = recovery_part(house, household)
    (tree,) = part.document.trees
    assert (tree.state, tree.prune_from, tree.live_sign) == ("prune", TODAY, "wood_green")
    assert "Prune now: Lime." in part.verdict


def test_pruning_ends_it_and_a_new_injury_begins_anew(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    hurt(house, 5, days_ago=40)
    enter(house, Deed(what="pruned", words="Pruned", trees=["lime"]), None, demo_now() - timedelta(days=5))
    part = recovery_part(house, household)
    assert part.document.trees == []
    assert part.document.pruned == ["Lime"]
    hurt(house, 4, days_ago=1)
    assert [one.worst_grade for one in recovery_part(house, household).document.trees] == [4]


def test_bare_limbs_are_painted_at_once_and_only_once(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    hurt(house, 4, "bare")
    (paint,) = [one for one in recovery_part(house, household).tasks if one.deed == "whitewashed"]
    assert paint.urgent
    assert paint.due == TODAY + timedelta(days=4)  # a week after the look
    assert any("Quicklime" in one for one in paint.cautions)
    enter(house, Deed(what="whitewashed", words="Painted", trees=["lime"]), None, demo_now())
    assert not [one for one in recovery_part(house, household).tasks if one.deed == "whitewashed"]


def test_scratching_is_asked_for_a_month_after_the_injury_and_again(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    hurt(house, 5)
    (look,) = [one for one in recovery_part(house, household).tasks if "scratch" in one.key]
    assert look.due == TODAY - timedelta(days=3) + timedelta(days=28)


def test_an_old_look_is_renewed_before_anything_else(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    hurt(house, 5, "bare", days_ago=61)
    part = recovery_part(house, household)
    assert [(one.key, one.due) for one in part.tasks] == [("recovery:look:lime", TODAY)]
    assert "Look first how it stands with Lime" in part.verdict
    assert "Paint" not in part.verdict
    hurt(house, 5, "bare", days_ago=60)
    assert {one.key for one in recovery_part(house, household).tasks} == {
        "recovery:paint:lime",
        "recovery:scratch:lime",
    }


def test_leaf_alone_needs_a_second_look_and_no_cut(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    hurt(house, 3)
    part = recovery_part(house, household)
    assert [one.state for one in part.document.trees] == ["leaf_only"]
    assert [one.key for one in part.tasks] == ["recovery:look:lime"]


def test_without_a_climate_nobody_can_say(house: House, household: Household, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recovery_ledger, "_cold_share", lambda *_: None)

    def short(house: House, until: datetime) -> dict[str, SpotHours]:
        end = house.clock() + timedelta(days=5)
        return {"lime": made_hours("lime", [None], until=end, since=house.clock())}

    monkeypatch.setattr("fruitwall.service.spot_hours.coming_hours", short)
    hurt(house, 6)
    part = recovery_part(house, household)
    (tree,) = part.document.trees
    assert (tree.state, tree.safe_from, tree.chances) == ("cold_unknown", None, [])
    assert any("fruitwall climate fetch" in notice for notice in part.notices)


def test_few_other_years_are_said(house: House, household: Household, freezes: list[date | None]) -> None:
    keep_years(house, other_year(2020))
    hurt(house, 5)
    assert any("Only 1 other year is known that far" in one for one in recovery_part(house, household).notices)


def test_what_is_put_down_to_something_else_is_named_and_left_out(
    house: House, household: Household, freezes: list[date | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recovery_ledger, "_cold_share", lambda *_: 0.1)
    hurt(house, 5)
    part = recovery_part(house, household)
    assert part.document.trees == []
    assert any("Lime" in one for one in part.notices)


def test_looks_of_winters_before_the_last_are_over(
    house: House, household: Household, freezes: list[date | None]
) -> None:
    hurt(house, 6, days_ago=500)  # August 2025
    assert recovery_part(house, household).document.trees == []
    hurt(house, 6, days_ago=400)  # November 2025
    assert [one.worst_grade for one in recovery_part(house, household).document.trees] == [6]
    hurt(house, 0, days_ago=10)
    assert recovery_part(house, household).document.trees == []


def test_in_summer_the_cold_is_over(house: House, household: Household, freezes: list[date | None]) -> None:
    summer = House(house.journal, None, lambda: datetime(2027, 7, 10, 12, tzinfo=ZONE), house.photos)
    hurt(summer, 5, days_ago=20)
    (tree,) = recovery_part(summer, household).document.trees
    assert (tree.state, tree.safe_from, tree.chances) == ("wait_wood", date(2027, 7, 10), [])


def test_it_is_said_in_spanish(house: House, household: Household, freezes: list[date | None]) -> None:
    hurt(house, 5, "bare")
    with speaking("es"):
        part = recovery_part(house, household)
        assert part.verdict.startswith("El frío dañó 1 árbol")
        assert tasks(part.document, TODAY)[0].what == "Pinte de blanco las ramas desnudas de Lime"


def test_cause_is_weighed_by_the_real_judgement(house: House, household: Household) -> None:
    hurt(house, 5, "black", "sudden", "open_side", days_ago=0)
    (tree,) = recovery_part(house, household).document.trees
    assert tree.cold_share is not None
    assert tree.cold_share > 0.3
