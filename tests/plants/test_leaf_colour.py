"""Leaf colour from photos: against chlorophyll readings, under lights of all colours, and where nothing can be told."""

from __future__ import annotations

import csv
from functools import cache
from math import isnan

import numpy as np
import pytest
from PIL import Image
from scipy.stats import spearmanr

from fruitwall.plants.colour import lab, linear
from fruitwall.plants.leaf_colour import TONES, LeafColour, leaf_colour, leaf_mask
from tests.plants.leaf_scenes import CARD, HEIGHT, LEAVES, WIDTH, photo

LAMP, SHADE, WARM = (1.3, 1.0, 0.55), (0.9, 1.0, 1.3), (1.15, 1.0, 0.75)


@cache
def on_paper(number: int) -> LeafColour:
    """What is to be found: the leaf on white in white light."""
    return leaf_colour(photo(number, "paper")[0])


@pytest.fixture(scope="module")
def scans() -> list[tuple[float, float, LeafColour]]:
    """SPAD, chlorotic share and what is measured of each leaf."""
    with (LEAVES / "leaves.csv").open() as file:
        rows = list(csv.DictReader(file))
    found = []
    for row in rows:
        with Image.open(LEAVES / row["file"]) as image:
            measured = leaf_colour(np.asarray(image.convert("RGB")))
        found.append((float(row["spad"]), float(row["chlorotic_fraction"]), measured))
    return found


def test_the_index_ranks_leaves_as_a_chlorophyll_meter_does(scans):
    # Ten leaves in chance order reach 0.9 once in 2500 times. Measured when written: 0.976.
    assert len(scans) == 10
    assert spearmanr([one[0] for one in scans], [one[2].index for one in scans]).statistic > 0.9


def test_yellow_and_brown_rank_leaves_as_their_chlorotic_share_does(scans):
    # Nine leaves in chance order reach 0.8 less than once in a hundred times; half of them have no chlorotic area at
    # all. Measured when written: 0.89 (all that is not green: 0.77). Leaf 2, above 1 in the source, is left out.
    known = [(share, one.yellow + one.brown) for _, share, one in scans if share <= 1]
    assert len(known) == 9
    assert spearmanr(*zip(*known, strict=True)).statistic > 0.8
    # Of the two whose chlorotic area is plainly yellow and brown, the area itself agrees.
    for leaf in (0, 4):
        _, share, one = scans[leaf]
        assert one.yellow + one.brown == pytest.approx(share, abs=0.03)


def test_tones_of_single_leaves_are_what_the_eye_sees(scans):
    yellow, _, sound, *_ = (one for _, _, one in scans)
    burnt = scans[4][2]
    assert yellow.yellow > 0.65
    assert sound.green > 0.97
    assert sound.brown + sound.grey < 0.01
    assert 0.1 < burnt.brown < 0.25  # the lower left of leaf 7, and its tip
    for _, _, one in scans:
        assert sum(getattr(one, tone) for tone in TONES) == pytest.approx(1)
        assert one.comparable
        assert one.light == "seen"


@pytest.mark.parametrize("kind", ["soil", "stone", "busy"])
@pytest.mark.parametrize("number", [1, 4, 8, 10])
def test_the_leaf_is_found_on_any_ground(kind, number):
    rgb, where = photo(number, kind)
    found = leaf_mask(linear(rgb), lab(linear(rgb)))
    assert (found & where).sum() / (found | where).sum() > 0.9


def test_brown_that_hangs_on_a_leaf_is_leaf_but_not_on_brown_soil():
    burnt = {kind: leaf_colour(photo(7, kind)[0]).brown for kind in ("paper", "stone", "soil")}
    assert burnt["paper"] > 0.1
    assert burnt["stone"] > 0.1
    assert burnt["soil"] < 0.05  # a limit, told in docs/leaf-colour.md


@pytest.mark.parametrize("light", [LAMP, SHADE, WARM])
@pytest.mark.parametrize(("number", "grey"), [(4, 0.45), (8, 0.75), (10, 0.18)])
def test_a_card_brings_the_colours_back(light, number, grey):
    plain = on_paper(number)
    cast = leaf_colour(photo(number, "soil", card=grey, light=light)[0])
    assert cast.light == "patch"
    assert cast.comparable
    assert cast.cast > 8
    assert cast.index == pytest.approx(plain.index, abs=0.015)
    assert cast.green == pytest.approx(plain.green, abs=0.06)
    assert cast.patch is not None
    left, top = (CARD[0] - CARD[2] / 2) / WIDTH, (CARD[1] - CARD[3] / 2) / HEIGHT
    assert cast.patch.left == pytest.approx(left, abs=0.04)
    assert cast.patch.top == pytest.approx(top, abs=0.05)


@pytest.mark.parametrize("light", [LAMP, WARM, (0.85, 1.0, 1.45), (0.85, 1.15, 0.85)])
def test_the_same_cast_without_a_card_cannot_be_compared(light):
    assert on_paper(8).comparable
    cast = leaf_colour(photo(8, "stone", light=light)[0])
    assert "cast" in cast.problems
    assert not cast.comparable


@pytest.mark.parametrize("light", [(1.7, 1.0, 0.3), (0.7, 1.0, 2.2)])
def test_a_light_beyond_all_usual_ones_is_seen_on_white_paper(light):
    found = leaf_colour(photo(4, "paper", light=light, stops=-1.0)[0])
    assert "cast" in found.problems


@pytest.mark.parametrize(
    ("card", "shape"),
    [
        ((0.55, 0.1, 0.08), "card"),  # red
        ((0.35, 0.2, 0.1), "card"),  # terracotta
        ((0.15, 0.4, 0.1), "card"),  # green
        (0.5, "disc"),
        (0.5, "cut"),
    ],
)
def test_what_is_no_grey_card_is_not_taken_for_one(card, shape):
    assert leaf_colour(photo(4, "soil", card=card, card_shape=shape)[0]).patch is None


def test_a_cream_card_is_taken_for_white_unless_something_whiter_lies_beside_it():
    # A limit, told in docs/leaf-colour.md: nobody can tell cream in white light from white under a lamp.
    cream = (0.62, 0.5, 0.33)
    assert leaf_colour(photo(4, "soil", card=cream)[0]).patch is not None
    assert leaf_colour(photo(4, "paper", card=cream)[0]).patch is None


@pytest.mark.parametrize(
    ("how", "problem"),
    [
        ({"stops": -4.0}, "dark"),
        ({"number": 1, "stops": 2.0}, "blown"),
        ({"blur": 4.0}, "blur"),
        ({"side": 40}, "little_leaf"),
        ({"number": 6, "kind": "soil", "dim": 0.03, "stops": 0.9}, "flash"),
    ],
)
def test_what_cannot_be_compared_says_why(how, problem):
    rgb, _ = photo(**{"number": 8, "kind": "stone", **how})
    assert problem in leaf_colour(rgb).problems


def test_a_doubtful_light_makes_a_doubtful_index():
    by_card = leaf_colour(photo(4, "soil", card=0.45)[0])
    by_guess = leaf_colour(photo(4, "stone")[0])
    by_nothing = leaf_colour(photo(4, "soil")[0])
    assert [one.light for one in (by_card, by_guess, by_nothing)] == ["patch", "seen", "unknown"]
    assert by_card.doubt < by_guess.doubt < by_nothing.doubt
    assert isnan(by_nothing.cast)


def test_a_photo_turned_or_mirrored_tells_the_same():
    rgb, _ = photo(8, "busy", card=0.45)
    plain = leaf_colour(rgb)
    for other in (rgb[::-1], rgb[:, ::-1], rgb.transpose(1, 0, 2)):
        turned = leaf_colour(np.ascontiguousarray(other))
        assert turned.index == pytest.approx(plain.index, abs=0.003)
        assert turned.light == plain.light


@pytest.mark.parametrize("what", ["black", "white", "grey", "noise", "blue"])
def test_a_photo_without_leaves_tells_nothing(what):
    shape = (60, 80, 3)
    rgb = {
        "black": np.zeros(shape),
        "white": np.full(shape, 255),
        "grey": np.full(shape, 120),
        "noise": np.random.default_rng(2).integers(0, 256, shape),
        "blue": np.full(shape, (40, 60, 200)),
    }[what].astype(np.uint8)
    found = leaf_colour(rgb)
    assert {"black": "dark", "white": "blown"}.get(what, "little_leaf") in found.problems
    assert found.leaf < 0.02


@pytest.mark.parametrize("shape", [(60, 80), (60, 80, 4), (8, 80, 3)])
def test_what_is_no_photo_is_refused(shape):
    with pytest.raises(ValueError, match="a photo is an array"):
        leaf_colour(np.zeros(shape, dtype=np.uint8))
