"""The ground of what-if: what it holds is what the night's own physics and tolerance say."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from fruitwall.learning.spots import Offset
from fruitwall.physics.body import TISSUES
from fruitwall.plans.rules.ground import Ground
from fruitwall.plants.injury import DURATIONS_H, grade_chances, loss_share
from fruitwall.service.beliefs import NOTHING_LEARNED, Beliefs
from fruitwall.service.winters_ground import STEP_YEARS, WARMEST_LIMIT_C, ground_key, make_ground
from fruitwall.service.winters_replay import YardSize, weeks_before
from fruitwall.service.winters_weather import WinterWeather, winters_from
from fruitwall.weather.climate import Climate
from fruitwall.weather.demo_climate import demo_years
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.model import Yard

TODAY = date(2026, 12, 23)
TREES = ("mango-grafted", "pot-lemon", "peach", "papaya")


@pytest.fixture(scope="module")
def weather() -> WinterWeather:
    """Two winters of the demo's place, of which one knows November to March only."""
    years = demo_years()
    found = winters_from(Climate((years[0], years[-1]), "made of real months"), demo_yard().location)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def yard() -> Yard:
    """Four trees of the demo yard with few measures: a grafted mango, a pot, a stone fruit, a kind that chills."""
    whole = demo_yard()
    covers = [one for one in whole.gear.covers if one.id in ("fleece-large", whole.gear.covers[0].id)]
    gear = whole.gear.model_copy(update={"covers": covers, "heaters": []})
    return whole.model_copy(
        update={"trees": [one for one in whole.trees if one.id in TREES], "shelters": [], "gear": gear}
    )


@pytest.fixture(scope="module")
def ground(yard: Yard, weather: WinterWeather) -> Ground:
    return make_ground(yard, weather, NOTHING_LEARNED, TODAY, (0.0, 6.0))


def test_nights_are_those_told_to_be_cold_or_that_threaten(ground: Ground, weather: WinterWeather) -> None:
    nights = ground.nights
    assert weather.known.sum() > nights.count > 0
    assert weather.known[nights.winter, nights.day].all()
    # Every known night below the warmest limit by more than any forecast is off is among them.
    deep = np.argwhere(weather.known & (nights.whole < WARMEST_LIMIT_C - 6.0))
    listed = set(zip(nights.winter.tolist(), nights.day.tolist(), strict=True))
    assert len(deep) > 0
    assert all((int(row), int(day)) in listed for row, day in deep)
    assert np.array_equal(nights.minimum_c, nights.whole[nights.winter, nights.day])
    assert 0.5 < float(np.std(nights.told_c - nights.minimum_c)) < 2.5  # one evening ahead


def test_a_night_left_alone_is_as_the_replay_and_the_tolerance_have_it(
    ground: Ground, yard: Yard, weather: WinterWeather
) -> None:
    from fruitwall.physics.spot import survey_faces
    from fruitwall.physics.treatment import LEAVE
    from fruitwall.physics.winters import replay
    from fruitwall.service.treatments import body_of, kinds_of, spots_of

    at = [tree.id for tree in yard.trees].index("mango-grafted")
    tree, kind = yard.trees[at], kinds_of(yard)["mango-grafted"]
    home, _ = spots_of(yard, [[] for _ in yard.trees], winter=True)
    alone = replay(
        weather.winters, [home[at]], [body_of(tree, kind)], [[LEAVE]], weather.nights, faces=survey_faces(yard),
        soil=yard.ground.soil, moisture=yard.ground.moisture, single_precision=True,
        clear_night_offset_k=yard.location.clear_night_offset_k,
    )  # fmt: skip
    its = ground.steps[0].trees[at]
    night = int(np.argmin(ground.nights.minimum_c))
    winter, day = ground.nights.winter[night], ground.nights.day[night]
    cold = alone.coldest_c[0, 0, winter, day].astype(np.float64)
    weeks = float(weeks_before(weather)[winter, day])
    size = YardSize(yard, weather, NOTHING_LEARNED, TODAY, 0.0, threads=1, skip=True)
    then = size.stands(tree, its.age_years, 0, weeks)
    chances = grade_chances(then, cold, DURATIONS_H)
    assert chances[2:].sum() > 0.05  # a night that matters
    assert its.harm[0, night] == pytest.approx(chances[2:].sum(), abs=1e-5)
    assert its.loss[0, night] == pytest.approx(
        tree.worth * float(loss_share(chances)) + tree.crop_worth * its.fruit_lost[0, night], rel=1e-5
    )
    hour = cold[TISSUES.index("leaf"), DURATIONS_H.index(1.0)]
    assert its.bare_c[winter, day] == pytest.approx(hour, abs=1e-4)


def test_skipping_by_the_safe_bound_changes_nothing(ground: Ground, yard: Yard, weather: WinterWeather) -> None:
    everything = make_ground(yard, weather, NOTHING_LEARNED, TODAY, (0.0,), skip=False)
    assert ground.skipped_share > 0.1
    assert everything.skipped_share == 0.0
    for some, all_ in zip(ground.steps[0].trees, everything.steps[0].trees, strict=True):
        assert np.abs(some.loss - all_.loss).max() < 1e-4 * max(some.worth + some.crop_worth, 1.0)
        assert np.abs(some.death - all_.death).max() < 1e-4


def test_threads_change_no_bit(ground: Ground, yard: Yard, weather: WinterWeather) -> None:
    single = make_ground(yard, weather, NOTHING_LEARNED, TODAY, (0.0,), threads=1)
    for one, two in zip(single.steps[0].trees, ground.steps[0].trees, strict=True):
        for name in ("loss", "harm", "death", "fruit_lost", "felt_c", "leaf_c", "bare_c"):
            assert np.array_equal(getattr(one, name), getattr(two, name), equal_nan=True), name


def test_trees_grow_from_step_to_step(ground: Ground) -> None:
    now, later = ground.steps
    assert later.years == 6.0
    for young, old in zip(now.trees, later.trees, strict=True):
        assert young.tree == old.tree
        if young.age_years is not None:
            assert old.age_years == pytest.approx(young.age_years + 6.0)
    # A grafted mango of a few years stands no less when it is older.
    at = TREES.index("mango-grafted")
    young, old = (step.trees[[its.tree for its in step.trees].index(TREES[at])] for step in ground.steps)
    wood = [one.stands(one.age_years, 0).threshold_c[2, 7] for one in (young, old)]
    assert wood[1] <= wood[0]


def test_what_a_tree_stands_falls_with_injury_and_rises_with_nothing_learned(ground: Ground) -> None:
    its = next(one for one in ground.steps[0].trees if one.tree == "mango-grafted")
    whole, hurt = its.stands(its.age_years, 0), its.stands(its.age_years, 5)
    assert hurt.threshold_c[2, 7] > whole.threshold_c[2, 7]
    assert np.isnan(whole.pale_level_c)


def test_nights_that_are_not_known_count_for_nothing(weather: WinterWeather) -> None:
    assert weather.names == ("2001/02", "2025/26")
    assert weather.known[0].all()
    assert not weather.known[1, 0]
    assert weather.known[1, 30]
    assert any("count for nothing" in note for note in weather.notes)


def test_steps_must_begin_now(yard: Yard, weather: WinterWeather) -> None:
    with pytest.raises(ValueError, match="steps must begin with 0 and rise"):
        make_ground(yard, weather, NOTHING_LEARNED, TODAY, (2.0, 1.0))


def test_what_passes_in_a_week_does_not_have_the_winters_worked_out_anew(yard: Yard, weather: WinterWeather) -> None:
    def key(beliefs: Beliefs) -> str:
        return ground_key(yard, weather, beliefs, STEP_YEARS, TODAY)

    spot = Offset((-1.0, 0.0), ((0.1, 0.0), (0.0, 0.1)), 9, 0.5)

    assert Beliefs(roots={"papaya": "dry"}).mark != NOTHING_LEARNED.mark  # tonight's plan is another one
    assert key(Beliefs(roots={"papaya": "dry"})) == key(NOTHING_LEARNED)
    assert key(Beliefs(offsets={"papaya": spot})) != key(NOTHING_LEARNED)
