"""What many winters say of a yard: on made winters, against the functions that were checked by themselves."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from fruitwall.physics.treatment import Night
from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.years import fit_minima
from fruitwall.plans.years_danger import danger_of
from fruitwall.plants.tolerance import LEAF, TWIG, WOOD
from fruitwall.service.winters_weather import WinterWeather
from fruitwall.service.winters_years import CHANCES, DEATH, HARM, document_of
from fruitwall.service.winters_years_document import YearsDocument, YearsTree
from fruitwall.weather.demo_climate import TYPICAL
from tests.plans.rules_made import made_ground
from tests.weather.builders import some_forcing

FIRST = date(2001, 12, 20)


def made_weather(ground: Ground, *, typical: int = 0) -> WinterWeather:
    """Give weather that belongs to a made ground: its nights, and hours that hold nothing but the year."""
    winters, days = ground.nights.whole.shape
    nights = []
    for place in range(days):
        noon = datetime(FIRST.year, FIRST.month, FIRST.day, 20, tzinfo=UTC) + timedelta(days=place)
        hours = (noon, noon + timedelta(hours=4), noon + timedelta(hours=18), noon + timedelta(hours=24))
        nights.append(Night(FIRST + timedelta(days=place), hours[0], hours[3], hours[1], hours[2], hours[1], hours[2]))
    forcings = tuple(
        replace(
            some_forcing(24, start=np.datetime64(f"{1990 + at}-12-10T20:00:00"), n_history=0),
            source=TYPICAL if at < typical else "a station",
        )
        for at in range(winters)
    )
    return WinterWeather(
        winters=forcings,
        names=ground.nights.winters,
        weights=ground.nights.weights,
        nights=tuple(nights),
        known=np.ones((winters, days), dtype=bool),
        source="a station",
        notes=("a note",),
        mark="m",
    )


@pytest.fixture(scope="module")
def ground() -> Ground:
    return made_ground(3, winters=24, seed=3, days=8)


@pytest.fixture(scope="module")
def document(ground: Ground) -> YearsDocument:
    return document_of("Yard", made_weather(ground), ground)


def numbers(values: list[float | None]) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def tree_of(document: YearsDocument, name: str) -> YearsTree:
    return next(tree for tree in document.trees if tree.id == name)


def test_levels_are_those_of_the_fit(document: YearsDocument, ground: Ground) -> None:
    coldest = ground.nights.whole.min(axis=1)
    np.testing.assert_allclose(numbers(document.air.coldest_c), coldest)
    fitted = fit_minima(coldest).level([level.years for level in document.air.levels])
    np.testing.assert_allclose(numbers([level.level_c for level in document.air.levels]), fitted, atol=1e-6)
    for level in document.air.levels:
        assert level.cold_c is not None
        assert level.level_c is not None
        assert level.mild_c is not None
        assert level.cold_c < level.level_c < level.mild_c
    assert document.air.levels[-1].seen_c is None, "24 winters say nothing of 50 by themselves"
    assert [point.seen_c for point in document.air.points] == sorted(coldest)


def test_a_spot_is_its_own_record(document: YearsDocument, ground: Ground) -> None:
    for tree in ground.steps[0].trees:
        np.testing.assert_allclose(
            numbers(tree_of(document, tree.tree).spot.coldest_c), tree.bare_c.min(axis=1), rtol=1e-6
        )


def test_danger_is_the_larger_of_two_reckonings(document: YearsDocument, ground: Ground) -> None:
    for tree in ground.steps[0].trees:
        told = tree_of(document, tree.tree)
        stands = tree.stands(tree.age_years, 0)
        fitted = fit_minima(tree.bare_c.min(axis=1).astype(float))
        for danger, grade, chances in ((told.harm, HARM, tree.harm), (told.death, DEATH, tree.death)):
            rows = stands.threshold_c[[LEAF, TWIG, WOOD], grade:]
            assert danger.level_c == pytest.approx(np.nanmax(rows))
            assert danger.level_c is not None and danger.sd_k is not None  # noqa: PT018 - for the type checker
            by_level = danger_of(danger.level_c, danger.sd_k, fitted, 10)
            assert danger.by_level == pytest.approx(by_level.yearly, abs=1e-6)
            worst = chances[0].reshape(24, -1).max(axis=1)
            assert danger.by_replay == pytest.approx(float(worst.mean()), rel=1e-5)
            assert danger.yearly == max(danger.by_level or 0.0, danger.by_replay)
            assert danger.by == ("fit" if danger.yearly == danger.by_level else "replay")
            if danger.by == "fit":
                assert danger.over[0].chance == pytest.approx(by_level.over_years, abs=1e-6)
            assert danger.yearly <= danger.over[0].chance <= danger.over[1].chance <= 1.0


def test_what_a_tree_stood_it_stands_again(document: YearsDocument) -> None:
    told = [tree.harm for tree in document.trees] + [tree.death for tree in document.trees]
    some = [danger for danger in told if 0.05 < danger.yearly < 0.95]
    assert some
    assert all(danger.over[0].chance < 1.0 - (1.0 - danger.yearly) ** 10 for danger in some)


def test_those_in_most_danger_stand_first(document: YearsDocument) -> None:
    deaths = [tree.death.yearly for tree in document.trees]
    assert deaths == sorted(deaths, reverse=True)


def test_freezes_are_counted_night_by_night(document: YearsDocument, ground: Ground) -> None:
    for freeze in document.freezes:
        below = ground.nights.whole <= freeze.level_c
        assert freeze.chance == pytest.approx(below.any(axis=1).mean())
        for row, (first, last) in enumerate(zip(freeze.first.day, freeze.last.day, strict=True)):
            places = np.flatnonzero(below[row])
            if places.size:
                assert first == f"{FIRST + timedelta(days=int(places[0])):%m-%d}"
                assert last == f"{FIRST + timedelta(days=int(places[-1])):%m-%d}"
            else:
                assert first is None
                assert last is None
        assert freeze.first.chance == list(CHANCES)


def test_the_zone_is_of_the_mean(document: YearsDocument, ground: Ground) -> None:
    assert document.zone.mean_c == pytest.approx(ground.nights.whole.min(axis=1).mean())
    assert not document.zone.enough


def test_few_winters_give_no_distribution_but_say_so() -> None:
    few = made_ground(2, winters=4, seed=1, days=8)
    document = document_of("Yard", made_weather(few, typical=2), few)
    assert not document.air.fitted
    assert all(level.level_c is None for level in document.air.levels)
    assert {danger.by for tree in document.trees for danger in (tree.harm, tree.death)} == {"replay"}
    assert [winter.real for winter in document.winters] == [False, False, True, True]
    assert any("only 4 winters" in limit for limit in document.limits)
    assert any("2 of the winters are typical years" in limit for limit in document.limits)
    assert document.trend is None


def test_a_record_that_warms_says_that_the_old_cold_is_not_to_be_expected(ground: Ground) -> None:
    warming = np.linspace(0.0, 6.0, 24)[:, None]
    nights = replace(ground.nights, whole=ground.nights.whole + warming)
    document = document_of(
        "Yard", made_weather(ground), replace(ground, nights=nights, steps=(replace(ground.steps[0], trees=()),))
    )
    assert document.trend is not None
    assert document.trend.sure
    assert document.trend.per_decade_k == pytest.approx(10 * 6 / 23, rel=0.4)
    assert any("milder" in limit for limit in document.limits)


def test_weights_count(ground: Ground) -> None:
    weights = np.where(np.arange(24) < 12, 1.0, 3.0)
    weights /= weights.sum()
    weighted = replace(ground, nights=replace(ground.nights, weights=weights))
    document = document_of("Yard", replace(made_weather(ground), weights=weights), weighted)
    fitted = fit_minima(ground.nights.whole.min(axis=1), weights=weights)
    assert document.air.levels[2].level_c == pytest.approx(float(fitted.level(10.0)), abs=1e-6)
    worst = weighted.steps[0].trees[0].harm[0].reshape(24, -1).max(axis=1)
    told = tree_of(document, weighted.steps[0].trees[0].tree)
    assert told.harm.by_replay == pytest.approx(float(weights @ worst), rel=1e-5)
    assert any("say as much as" in limit for limit in document.limits)


def test_nights_that_are_not_known_count_for_nothing(ground: Ground) -> None:
    whole = ground.nights.whole.copy()
    whole[0, :] = np.nan
    whole[1, whole[1].argmin()] = np.nan
    no_trees = (replace(ground.steps[0], trees=()),)
    document = document_of(
        "Yard", made_weather(ground), replace(ground, nights=replace(ground.nights, whole=whole), steps=no_trees)
    )
    assert document.air.coldest_c[0] is None
    assert document.air.coldest_c[1] == pytest.approx(np.nanmin(whole[1]))
    assert document.zone.winters == 23


def test_a_yard_without_trees_has_its_air() -> None:
    few = made_ground(1, winters=3, seed=1, days=8)
    weather = made_weather(few)
    forcings = []
    for at, _forcing in enumerate(weather.winters):
        hours = 24 * 31
        start = np.datetime64(f"{2001 + at}-12-10T20:00:00")
        forcings.append(replace(some_forcing(hours, start=start, n_history=0), t_air_c=np.full((1, hours), 5.0 - at)))
    document = document_of("Yard", replace(weather, winters=tuple(forcings)), None)
    assert document.trees == []
    np.testing.assert_allclose(numbers(document.air.coldest_c), [5.0, 4.0, 3.0])
    assert document.freezes[0].chance == 0.0


def test_the_document_is_json_and_back(document: YearsDocument) -> None:
    again = YearsDocument.model_validate_json(document.model_dump_json())
    assert again == document
