"""Many winters at once: the same as one by one, on the right dates, and nothing lost by leaving nights out."""

from dataclasses import replace
from datetime import date, datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bench.made_winters import made_winter, season
from fruitwall.physics import bound_march, kernel_lanes, winters
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.faces import Face, Layer
from fruitwall.physics.night import _March, simulate
from fruitwall.physics.night_bound import NO_PROMISE
from fruitwall.physics.rooms import Room
from fruitwall.physics.treatment import Treatment
from fruitwall.physics.winters import lay_out, replay
from tests.physics.nights import open_spot

WALL = Face("w/1/right", "w", 180.0, (0.0, 0.0), (6.0, 0.0), 3.0, (Layer(0.4, 1.5, 2100.0, 1000.0),), "earth")
CLOTH = Treatment("cloth", cover="fleece_medium")
MEASURES = [
    Treatment("leave"),
    Treatment("water", wet_ground=True),
    Treatment("lamps", lamp_w=100.0),
    Treatment("in", room=Room("shed", warmer_k=1.0)),
    CLOTH,
]
TREES = {
    "spots": [open_spot(), open_spot(sky=0.5, ground="turf"), open_spot(colder_k=2.0, ground="mulch")],
    "bodies": [Body(), Body(fruit_diameter_m=0.07, pot_volume_l=20.0), Body(leaf_area_index=0.0)],
    "treatments": [MEASURES, MEASURES[3:], [Treatment("leave")]],
}
JANUARY = season(date(2007, 1, 1), 20)


def january(seed, year, **more):
    """Weather that reaches from ten days before JANUARY to its end, in a year."""
    return made_winter(seed, start=f"{year - 1}-12-20T00", days=36, **({"mean": 6.0} | more))


# ---------------------------------------------------------------- the calendar


def test_a_winter_of_the_calendars_year_is_what_simulate_says():
    weather = [january(1, 2007), january(2, 2007, mean=0.0)]
    together = replay(weather, nights=JANUARY, **TREES)
    for winter, forcing in enumerate(weather):
        laid, _ = lay_out([forcing], JANUARY)
        alone = simulate(laid, nights=JANUARY, step_minutes=60, **TREES)
        for name in ("coldest_c", "minimum_c", "air_minimum_c"):
            expected = getattr(alone, name)[:, :, 0].astype(np.float32)
            assert np.array_equal(getattr(together, name)[:, :, winter], expected, equal_nan=True)


@pytest.mark.parametrize("year", [1996, 1997, 1999, 2000, 2020])
def test_the_sun_of_another_year_changes_a_night_by_little(year):
    # At most a day of difference: light, and how far the night has come, a minute later or earlier.
    forcing = january(3, year)
    ours = replay([forcing], nights=JANUARY, **TREES)
    own = simulate(
        forcing.select(datetime.fromisoformat(f"{year - 1}-12-22T20:00Z"), forcing.end_utc),
        nights=season(date(year, 1, 1), 20),
        step_minutes=60,
        **TREES,
    )
    off = np.abs(ours.minimum_c[:, :, 0] - own.minimum_c[:, :, 0])
    assert np.nanmax(off) < 0.02  # 0.004 K when written


def test_a_leap_day_is_a_night_like_any_other():
    nights = season(date(2007, 2, 20), 20)
    ordinary, leap = (made_winter(seed, start=f"{year}-02-05T00", days=40) for seed, year in ((4, 1999), (5, 2000)))
    result = replay([ordinary, leap], nights=nights, **TREES)
    assert list(result.evenings[0]) == [np.datetime64("1999-02-20") + day for day in range(20)]
    assert list(result.evenings[1]) == [np.datetime64("2000-02-20") + day for day in range(20)]
    assert np.datetime64("2000-02-29") in result.evenings[1]
    for winter, forcing in enumerate((ordinary, leap)):
        for night, evening in enumerate(result.evenings[winter]):
            noon = evening.astype("datetime64[s]") + np.timedelta64(20, "h")
            inside = (forcing.time_utc > noon) & (forcing.time_utc <= noon + np.timedelta64(24, "h"))
            assert result.yard_minimum_c[winter, night] == pytest.approx(forcing.t_air_c[0, inside].min(), abs=1e-5)


def test_a_southern_winter_runs_from_may_to_september():
    nights = season(date(2011, 5, 1), 153, local_h=10)
    weather = [
        made_winter(seed, start=f"{2000 + seed}-04-15T00", days=175, local_h=10, latitude=-34.0, mean=7.0)
        for seed in (1, 2)
    ]
    result = replay(weather, [open_spot()], [Body()], [[Treatment("leave"), CLOTH]], nights, level_c=-2.0)
    assert result.evenings[1, 0] == np.datetime64("2002-05-01")
    assert result.evenings[1, -1] == np.datetime64("2002-09-30")
    laid, _ = lay_out(weather[1:], nights)
    alone = simulate(laid, [open_spot()], [Body()], [[Treatment("leave"), CLOTH]], nights, step_minutes=60)
    kept = result.kept[0, 1]
    assert 0 < kept.sum() < 153
    assert np.array_equal(result.minimum_c[:, :, 1, kept], alone.minimum_c[:, :, 0, kept].astype(np.float32), True)


# ---------------------------------------------------------------- what is refused


def refused(weather, match, **more):
    arguments = {"nights": JANUARY, **TREES} | more
    with pytest.raises(ValueError, match=match):
        replay(weather, **arguments)


def test_a_winter_that_lacks_hours_is_named_with_the_hour():
    whole, late = january(1, 2007), january(2, 1998)
    begin = datetime.fromisoformat("1997-12-24T07:00Z")
    refused(
        [whole, late.select(begin, late.end_utc)],
        r"winters\[1\] \(made-up winter 2\) lacks the hour 1997-12-22 20:00 UTC: its weather runs from "
        "1997-12-24 07:00 UTC",
    )
    end = datetime.fromisoformat("1998-01-15T04:00Z")
    refused([whole, late.select(late.start_utc, end)], r"winters\[1\] .* lacks the hour 1998-01-15 05:00 UTC")


def test_several_seasons_ensembles_and_other_places_are_refused():
    refused([made_winter(1, start="2005-12-01T00", days=500)], r"winters\[0\] must hold one season, got 2")
    two = january(1, 2007)
    names = ("t_air_c", "t_dew_c", "wind_m_s", "cloud", "shortwave_w_m2", "rain_mm")
    two = replace(two, **{name: np.repeat(getattr(two, name), 2, axis=0) for name in names})
    refused([january(1, 2007), two], r"winters\[1\] must have 1 member, got 2")
    refused([january(1, 2007), january(2, 2006, latitude=40.0)], "one place, got latitude_deg 40 in winters")
    refused([], "at least one winter")


def test_levels_out_of_shape_or_range_are_refused():
    refused([january(1, 2007)], "level_c must be at least -90 and at most 10 °C, got 11", level_c=11.0)
    refused([january(1, 2007)], r"level_c must broadcast to \(3, 5\)", level_c=np.zeros((2, 5)))
    refused([january(1, 2007)], "before_days must be at least 1", before_days=0)


# ---------------------------------------------------------------- nights left out


def some_winters():
    return [january(seed, 1990 + seed, mean=mean) for seed, mean in enumerate((2.0, 9.0, 16.0, 24.0, 7.0))]


LEVELS = np.array([[0.0, -1.0, -2.0, -1.0, np.nan], [-1.0, -3.0, -5.0, -2.0, -4.0], [np.nan, -3.0, -9.0, 0.0, np.nan]])


@pytest.fixture(scope="module")
def everything():
    return replay(some_winters(), nights=JANUARY, **TREES)


def test_what_is_kept_is_the_same_to_the_last_bit(everything):
    result = replay(some_winters(), nights=JANUARY, level_c=LEVELS, **TREES)
    assert 0.1 < result.left_out_share < 0.9
    assert result.marched_share < 0.9
    for name in ("coldest_c", "minimum_c", "air_minimum_c"):
        ours, full = getattr(result, name), getattr(everything, name)
        for tree in range(3):
            assert np.array_equal(ours[tree][:, result.kept[tree]], full[tree][:, result.kept[tree]], equal_nan=True)
            assert np.isnan(ours[tree][:, ~result.kept[tree]]).all()
    assert np.array_equal(result.yard_minimum_c, everything.yard_minimum_c)


def test_single_precision_keeps_to_the_same_bits_too(everything):
    full = replay(some_winters(), nights=JANUARY, single_precision=True, **TREES)
    result = replay(some_winters(), nights=JANUARY, level_c=LEVELS, single_precision=True, **TREES)
    for tree in range(3):
        kept = result.kept[tree]
        assert np.array_equal(result.coldest_c[tree][:, kept], full.coldest_c[tree][:, kept], equal_nan=True)
    assert full.minimum_c == pytest.approx(everything.minimum_c, abs=0.02, nan_ok=True)


def test_on_nights_left_out_nothing_uncovered_falls_below_its_level(everything):
    result = replay(some_winters(), nights=JANUARY, level_c=LEVELS, **TREES)
    left_out = 0
    for tree, treatments in enumerate(TREES["treatments"]):
        for place, treatment in enumerate(treatments):
            lowest = everything.minimum_c[tree, place][~result.kept[tree]]
            left_out += lowest.shape[0]
            if not treatment.covered:
                assert not (lowest < LEVELS[tree]).any()
    assert left_out > 100


def test_the_result_does_not_hang_on_threads_or_on_how_trees_are_put_together(monkeypatch):
    one = replay(some_winters(), nights=JANUARY, level_c=LEVELS, threads=1, **TREES)
    monkeypatch.setattr(winters, "PART_BYTES", 1)
    two = replay(some_winters(), nights=JANUARY, level_c=LEVELS, threads=2, **TREES)
    for name in ("coldest_c", "minimum_c", "air_minimum_c", "kept", "bound_c"):
        assert np.array_equal(getattr(one, name), getattr(two, name), equal_nan=True)


def test_more_winters_than_one_block_holds_are_each_themselves():
    weather = [january(seed, 1900 + seed, mean=10.0 + seed / 20) for seed in range(70)]
    nights, tree = (
        JANUARY[:4],
        ([open_spot(wall=0.1, wall_ids=(WALL.id,), wall_shares=(0.1,), wall_below_shares=(0.0,))], [Body()]),
    )
    result = replay(weather, *tree, [MEASURES], nights, level_c=-1.0, faces=[WALL])
    assert 0 < result.left_out_share < 1
    for winter in (0, 33, 69):
        alone = replay(weather[winter : winter + 1], *tree, [MEASURES], nights, level_c=-1.0, faces=[WALL])
        assert np.array_equal(result.minimum_c[:, :, winter], alone.minimum_c[:, :, 0], equal_nan=True)
        assert np.array_equal(result.bound_c[:, winter], alone.bound_c[:, 0])


def test_a_tree_that_no_night_can_harm_is_not_marched():
    result = replay(some_winters(), nights=JANUARY, level_c=-80.0, **TREES)
    assert result.left_out_share == 1.0
    assert result.marched_share == 0.0
    assert np.isnan(result.coldest_c).all()


def test_a_tree_that_is_always_covered_is_never_left_out():
    result = replay(some_winters(), [open_spot()], [Body()], [[CLOTH]], JANUARY, level_c=-80.0)
    assert result.kept.all()
    assert (result.bound_c == np.float32(NO_PROMISE)).all()
    assert np.isfinite(result.minimum_c[..., 0]).all()


def test_nothing_is_promised_where_the_air_falls_too_fast():
    smooth = january(1, 2007, mean=20.0)
    air = smooth.t_air_c.copy()
    hour = int(np.flatnonzero(smooth.time_utc == np.datetime64("2007-01-08T08:00"))[0])
    air[0, hour] -= 9.0
    jagged = replace(smooth, t_air_c=air, t_dew_c=np.minimum(smooth.t_dew_c, air))
    tree = ([open_spot()], [Body()], [[Treatment("leave")]])
    kept = replay([jagged], *tree, JANUARY, level_c=-10.0).kept[0, 0]
    assert list(np.flatnonzero(kept)) == [
        6,
        7,
    ]  # the night of the 7th, and the next one, which begins less than a day on
    assert not replay([smooth], *tree, JANUARY, level_c=-10.0).kept.any()


# ---------------------------------------------------------------- the bound


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_no_uncovered_plant_gets_colder_than_the_bound(data):
    def number(low, high):
        return data.draw(st.floats(low, high))

    def one_of(*choices):
        return data.draw(st.sampled_from(choices))

    def spot():
        sky = number(0.05, 1.0)
        roof = one_of(0.0, 0.3) * (1.0 - sky)
        wall = one_of(0.0, 0.8) * (1.0 - sky - roof)
        return open_spot(
            sky=sky,
            roof=roof,
            wall=wall,
            wall_ids=(WALL.id,) if wall else (),
            wall_shares=(wall,) if wall else (),
            wall_below=0.3 if wall else 0.0,
            wall_below_shares=(0.3,) if wall else (),
            ground=one_of("bare", "turf", "mulch"),
            paving_share=one_of(0.0, 0.3, 1.0),
            height_m=number(0.2, 8.0),
            wind_share=number(0.29, 1.0),
            colder_k=one_of(0.0, 4.0),
            stillness=number(0.0, 1.0),
            learned_k=one_of(0.0, -2.0, 1.5),
            learned_clear_k=one_of(0.0, -1.5, 2.0),
        )

    bodies = [
        Body(
            leaf_width_m=one_of(0.005, 0.08, 0.4),
            leaf_area_index=one_of(0.0, 0.5, 2.5, 6.0),
            twig_diameter_m=one_of(0.003, 0.01),
            wood_diameter_m=one_of(0.02, 0.1, 0.8),
            fruit_diameter_m=one_of(0.02, 0.07),
            pot_volume_l=one_of(float("nan"), 5.0, 60.0),
        )
        for _ in range(3)
    ]
    uncovered = [*MEASURES[:-1], Treatment("move", spot=spot())]
    weather = [
        january(
            data.draw(st.integers(0, 10_000)),
            1990 + winter,
            mean=number(-8.0, 14.0),
            swing=number(1.0, 10.0),
            spread=number(0.0, 6.0),
            windy=number(0.0, 5.0),
        )
        for winter in range(3)
    ]
    result = replay(
        weather,
        [spot() for _ in bodies],
        bodies,
        [uncovered, uncovered[:1], uncovered[:2]],
        JANUARY[:12],
        level_c=10.0,
        faces=[WALL],
        soil=one_of("sand", "clay"),
        moisture=one_of("dry", "moist", "wet"),
        step_minutes=one_of(30, 60),
        clear_night_offset_k=number(-3.0, 3.0),
    )
    known = result.bound_c > NO_PROMISE / 2
    slack = result.minimum_c - result.bound_c[:, None]
    assert not (slack[np.broadcast_to(known[:, None], slack.shape)] < 0.0).any()


@pytest.mark.parametrize("moisture", ["dry", "wet"])
def test_ground_that_begins_in_frost_is_bounded_as_ground_that_holds_no_water(moisture):
    # The kernel takes ground that starts below zero for frozen hard; its surface and roots go on falling. (The test
    # above found a bound of -0.3 °C for roots that got -3.5 °C.)
    weather = [january(0, 1990, mean=-1.0, swing=1.0, spread=0.0, windy=0.0)]
    result = replay(
        weather,
        [open_spot(sky=1.0)],
        [Body(leaf_area_index=0.0)],
        [[Treatment("leave")]],
        JANUARY[:6],
        level_c=10.0,
        soil="sand",
        moisture=moisture,
        step_minutes=30,
    )
    roots = TISSUES.index("root")
    assert np.nanmin(result.minimum_c[..., roots]) < -1.0
    assert np.all(result.minimum_c[..., roots] >= result.bound_c[:, None][..., roots])


def test_the_bound_is_near_enough_to_be_of_use(everything):
    result = replay(some_winters(), nights=JANUARY, level_c=LEVELS, **TREES)
    slack = (everything.minimum_c[0, 0] - result.bound_c[0])[..., TISSUES.index("leaf")]
    assert np.median(slack) < 3.0  # 1.3 K when written


def test_the_bound_and_the_kernel_share_their_constants():
    for ours, theirs in (("EPS", "EPS"), ("SIGMA", "SIGMA"), ("ZERO", "ZERO"), ("STABLE", "STABLE")):
        assert getattr(bound_march, ours) == getattr(kernel_lanes, theirs)
    assert bound_march.STABLE_WIND == kernel_lanes.STABLE_WIND
    assert pytest.approx(kernel_lanes.SMALL2**0.125) == bound_march.LEAST_ROOT


def test_every_array_of_a_march_that_holds_winters_is_known():
    laid, _ = lay_out([january(1, 2007)], JANUARY)
    march = _March(laid, TREES["spots"], TREES["bodies"], TREES["treatments"], JANUARY, (), "loam", "moist", 60, 0.0)
    holding = {
        name
        for name, value in vars(march).items()
        if isinstance(value, np.ndarray) and value.shape[-1] in (k.LANES, k.FORCING_SIZE)
    }
    assert holding == set(winters.LANES_AXIS)
