"""Taking a cold leaf apart: the parts sum to the whole, and each points the way it must."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.contributions import PARTS, coldest_mean, contributions, stages_of
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.physics.faces import Face, Layer
from fruitwall.physics.night import simulate
from fruitwall.physics.rooms import Room
from fruitwall.physics.treatment import LEAVE, Treatment
from tests.physics.nights import LAST, frost_weather, open_spot

WEATHER = frost_weather(members=4)
STONE_WALL = Face(
    "wall/1/right", "wall", 180.0, (0.0, 0.0), (6.0, 0.0), 3.0, (Layer(0.4, 1.5, 2100.0, 1000.0),), "earth"
)
TREATMENTS = {
    "leave": LEAVE,
    "water": Treatment("water", wet_ground=True, wet_from_utc=datetime(2026, 12, 21, 20, tzinfo=UTC)),
    "cloth": Treatment("cloth", cover="fleece_medium", lamp_w=100.0),
    "film": Treatment("film", cover="film_polyethylene", on_frame=True, heater_w=500.0, wet_ground=True),
    "lamps": Treatment("lamps", lamp_w=150.0),
    "barrels": Treatment("barrels", cover="film_polyethylene", on_frame=True, water_l=200.0),
    "moved": Treatment("moved", spot=open_spot(sky=0.2, roof=0.8, id="roof")),
    "indoors": Treatment("indoors", room=Room("shed")),
}


def rich_spot(**changes):
    """A spot at which every part exists."""
    values = {"sky": 0.4, "roof": 0.2, "wall": 0.3, "wall_ids": ("wall/1/right", "fence/back")}
    values |= {"wall_shares": (0.2, 0.1), "wall_below": 0.2, "wall_below_shares": (0.15, 0.05), "ground": "turf"}
    values |= {"paving_share": 0.3, "colder_k": 1.5, "wind_share": 0.5, "stillness": 0.3, "diffuse_share": 0.5}
    values |= {"learned_k": 0.4, "learned_clear_k": -0.6}
    return open_spot(**values | changes)


def apart(spot, treatment=LEAVE, *, tissue="leaf", hours=0.5, body=None, offset=1.0, weather=WEATHER, faces=None):
    """Take one tree apart."""
    return contributions(
        weather, [spot], [body or Body()], [treatment], LAST, tissues=[tissue], durations_h=[hours],
        faces=[STONE_WALL] if faces is None else faces, clear_night_offset_k=offset, threads=1,
    )[0]  # fmt: skip


def part(chain, key):
    """What one part adds in the member in the middle."""
    start, after = chain.middle()
    return float(np.diff([start, *after])[chain.keys.index(key)])


shares = st.floats(0.0, 1.0)


@st.composite
def spots(draw):
    """A spot of any surroundings."""
    weights = np.array([draw(st.floats(0.05, 1.0)), *(draw(st.sampled_from([0.0, 0.3, 1.0])) for _ in range(3))])
    sky, roof, wall, canopy = weights / weights.sum()
    stone = draw(shares)
    has_wall = wall > 0.0
    below = draw(st.floats(0.0, 0.4)) if has_wall else 0.0
    return open_spot(
        sky=sky, roof=roof, wall=wall, canopy=canopy,
        wall_ids=("wall/1/right", "fence/back") if has_wall else (),
        wall_shares=(wall * stone, wall * (1 - stone)) if has_wall else (),
        wall_below=below, wall_below_shares=(below * stone, below * (1 - stone)) if has_wall else (),
        ground=draw(st.sampled_from(["bare", "turf", "mulch"])), paving_share=draw(st.sampled_from([0.0, 0.4, 1.0])),
        height_m=draw(st.floats(0.3, 4.0)), wind_share=draw(shares), stillness=draw(shares),
        colder_k=draw(st.sampled_from([0.0, 2.0])), side_sky=draw(st.floats(0.0, 0.5)), diffuse_share=draw(shares),
        learned_k=draw(st.sampled_from([0.0, -0.8])), learned_clear_k=draw(st.sampled_from([0.0, 1.4])),
    )  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(
    spot=spots(),
    treatment=st.sampled_from(list(TREATMENTS.values())),
    tissue=st.sampled_from(TISSUES),
    hours=st.sampled_from(DURATIONS_H),
    offset=st.floats(-3.0, 3.0),
)
def test_the_parts_sum_to_what_the_simulation_gives(spot, treatment, tissue, hours, offset):
    body = Body(pot_volume_l=40.0, fruit_diameter_m=0.05)
    chain = apart(spot, treatment, tissue=tissue, hours=hours, body=body, offset=offset)

    result = simulate(WEATHER, [spot], [body], [[treatment]], [LAST], faces=[STONE_WALL], clear_night_offset_k=offset)
    truth = result.coldest_c[0, 0, :, 0, TISSUES.index(tissue), DURATIONS_H.index(hours)]
    assert chain.start_c + chain.parts_k.sum(axis=0) == pytest.approx(truth, abs=1e-9)
    start, after = chain.middle()
    assert start + np.diff([start, *after]).sum() == pytest.approx(after[-1], abs=1e-9)
    assert truth.min() - 1e-9 <= after[-1] <= truth.max() + 1e-9


def test_several_trees_are_taken_apart_as_each_alone():
    trees = [(rich_spot(), TREATMENTS["cloth"]), (open_spot(), LEAVE), (rich_spot(roof=0.0), TREATMENTS["moved"])]
    bodies = [Body(), Body(leaf_width_m=0.2), Body()]

    together = contributions(
        WEATHER, [s for s, _ in trees], bodies, [t for _, t in trees], LAST, tissues=["leaf", "twig", "leaf"],
        durations_h=[1.0, 0.5, 8.0], faces=[STONE_WALL], clear_night_offset_k=1.0,
    )  # fmt: skip

    for (spot, treatment), body, tissue, hours, chain in zip(
        trees, bodies, ["leaf", "twig", "leaf"], [1.0, 0.5, 8.0], together, strict=True
    ):
        alone = apart(spot, treatment, tissue=tissue, hours=hours, body=body)
        assert chain.keys == alone.keys
        assert chain.after_c == pytest.approx(alone.after_c, abs=1e-12)


def test_every_part_appears_in_its_place_where_it_exists():
    everything = Treatment("all", cover="fleece_medium", lamp_w=50.0, heater_w=200.0, water_l=100.0, wet_ground=True)
    chain = apart(rich_spot(), everything)
    assert chain.keys == tuple(key for key in PARTS if key not in ("place", "room"))
    moved = apart(rich_spot(), TREATMENTS["moved"])
    assert moved.keys[-1] == "place"
    assert apart(rich_spot(), TREATMENTS["indoors"]).keys[-1] == "room"


def test_what_does_not_exist_is_left_out():
    bare = open_spot(sky=1.0, ground="mulch", wind_share=1.0, stillness=0.0, height_m=2.0)
    assert apart(bare, offset=0.0).keys == ("sky",)
    fenced = open_spot(sky=0.8, wall=0.2, wall_ids=("fence/back",), wall_shares=(0.2,), wall_below_shares=(0.0,))
    assert "wall_warmth" not in apart(fenced).keys


def test_the_air_parts_are_the_air_s_own_differences():
    # A clear night without wind cools in full, so that each part is what the yard file says, nearly in full.
    chain = apart(rich_spot(height_m=2.0), offset=2.0)
    assert "height" not in chain.keys
    assert 1.2 < part(chain, "offset") <= 2.0
    assert -1.5 <= part(chain, "hollow") < -0.9
    assert -0.2 < part(chain, "learned") < 0.05  # 0.4 at all hours, -0.6 on top of it when it is clear
    overcast = apart(rich_spot(), offset=2.0, weather=frost_weather(members=4, cloud=1.0, wind=6.0))
    assert abs(part(overcast, "offset")) < 0.2
    assert 0.3 < part(overcast, "learned") <= 0.4


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        ("sky", -7.0, -1.0),
        ("wind", -3.0, -0.05),  # a still corner brings less warmth to a radiating leaf
        ("canopy", 0.05, 2.0),
        ("roof", 0.1, 3.0),
        ("walls", 0.1, 3.0),
        ("wall_warmth", 0.05, 2.0),
        ("ground", 0.02, 2.0),
        ("shade", -2.0, -0.001),
    ],
)
def test_on_a_clear_still_night_each_part_points_the_way_it_must(key, low, high):
    assert low < part(apart(rich_spot(ground="bare")), key) < high


def test_cover_lamps_and_heater_warm_and_a_dry_ground_gains_from_water():
    everything = Treatment("all", cover="fleece_medium", lamp_w=50.0, heater_w=200.0, water_l=300.0)
    chain = apart(rich_spot(), everything)
    assert all(part(chain, key) > 0.2 for key in ("cover", "barrels", "lamps", "heater"))
    dry = contributions(
        WEATHER, [open_spot()], [Body()], [TREATMENTS["water"]], LAST, tissues=["leaf"], durations_h=[1.0],
        moisture="dry",
    )[0]  # fmt: skip
    assert part(dry, "watering") > 0.1


def test_a_potted_root_starts_from_the_warmth_it_holds():
    chain = apart(rich_spot(), tissue="root", body=Body(pot_volume_l=60.0))
    assert part(chain, "sky") > 1.0  # in the middle of the night it is still warmer than the air


def test_under_cloud_and_wind_the_sky_takes_next_to_nothing():
    weather = frost_weather(members=4, cloud=1.0, wind=6.0)
    clear, overcast = part(apart(rich_spot()), "sky"), part(apart(rich_spot(), weather=weather), "sky")
    assert abs(overcast) < 0.5 < abs(clear)


def test_the_last_surroundings_are_the_spot_itself():
    spot = rich_spot()
    stages = stages_of(spot, LEAVE, {"wall/1/right"})
    assert stages[-1].spot is spot
    assert all(
        stage.spot.sky + stage.spot.roof + stage.spot.wall + stage.spot.canopy == pytest.approx(1.0) for stage in stages
    )


def test_the_middle_member_is_that_of_the_tree_left_alone():
    chain = apart(open_spot(), TREATMENTS["indoors"])
    alone = contributions(WEATHER, [open_spot()], [Body()], [LEAVE], LAST, tissues=["leaf"], durations_h=[0.5],
                          clear_night_offset_k=1.0)[0]  # fmt: skip
    assert chain.keys[-1] == "room"
    assert chain.middle()[1][-2] == pytest.approx(np.median(alone.after_c[-1]), abs=1e-9)


def test_the_middle_of_an_even_number_is_the_mean_of_two():
    chain = apart(open_spot(), weather=frost_weather(members=2))
    start, after = chain.middle()
    assert start == pytest.approx(chain.start_c.mean())
    assert after == pytest.approx(chain.after_c.mean(axis=1))


def test_a_tissue_that_is_missing_gives_nan():
    chain = apart(open_spot(), body=Body(leaf_area_index=0.0))
    assert np.isnan(chain.after_c[-1]).all()
    assert not np.isnan(chain.start_c).any()


def test_the_coldest_mean_of_steps_in_a_row():
    assert coldest_mean(np.array([[4.0, 1.0, 3.0, 0.0]]), 2) == pytest.approx([1.5])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"tissues": ["bark"]}, "tissues must be of"),
        ({"durations_h": [3.0]}, "durations_h must be of"),
        ({"tissues": []}, "one entry for each tree"),
    ],
)
def test_what_does_not_fit_is_refused(changes, words):
    values = {"tissues": ["leaf"], "durations_h": [1.0]} | changes
    with pytest.raises(ValueError, match=words):
        contributions(WEATHER, [open_spot()], [Body()], [LEAVE], LAST, **values)


def test_a_spot_made_wholly_of_the_open_sky_still_tells_its_own_ground():
    chain = apart(replace(open_spot(sky=1.0, wind_share=1.0, stillness=0.0), height_m=2.0), offset=0.0)
    assert chain.keys == ("sky", "ground")
