"""The yard from above: signs, letters, scale."""

from __future__ import annotations

from itertools import combinations
from math import dist
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.service.household import Household
from fruitwall.web.evening import marks
from fruitwall.web.evening.drawing import MARK_RADIUS, drawing_of
from fruitwall.web.evening.page import tree_numbers
from fruitwall.web.evening.spacing import roomiest, spread
from fruitwall.web.svg import tag
from fruitwall.yard.model import Canopy
from tests.web.markup import Element, read_page
from tests.web.sample import CELSIUS, FAHRENHEIT, large_evening, sample_plan, sample_yard


def draw(display=CELSIUS, evening=None) -> tuple[Element, object]:
    """Draw an evening; gives the picture as elements and the drawing."""
    yard, plan = evening or (sample_yard(display=display), sample_plan())
    drawing = drawing_of(plan, yard, Household(yard.display, ZoneInfo(plan.time_zone)), tree_numbers(plan, yard))
    return read_page(str(drawing.picture)).one("svg"), drawing


def test_every_tree_has_its_number_in_the_order_of_the_yard_and_links_to_its_entry():
    picture, _ = draw()

    links = [(link.one("text").text, link.attributes["href"]) for link in picture.all("a")]

    assert links == [(str(n), f"#tree-{tree.id}") for n, tree in enumerate(sample_yard().trees, start=1)]


def test_numbers_stay_the_same_whatever_the_order_of_the_plan():
    plan = sample_plan()
    turned = plan.model_copy(update={"trees": plan.trees[::-1]})

    assert tree_numbers(turned, sample_yard()) == tree_numbers(plan, sample_yard())


def test_each_sign_tells_tree_measure_and_verdict_in_words():
    picture, _ = draw()

    papaya = next(link for link in picture.all("a") if link.attributes["href"] == "#tree-papaya")

    assert papaya.attributes["aria-label"] == "11 Papaya: cover with a small fleece; watch with the plan"


def test_everything_that_stands_has_a_letter_and_its_name_beside_it():
    picture, drawing = draw()
    yard = sample_yard()
    names = [entry.name for entry in drawing.key]

    for thing in [*yard.structures, *yard.shelters, *yard.indoor_places, *yard.circuits]:
        assert thing.name in names
    assert [entry.letter for entry in drawing.key] == list("ABCDEFGHIJKLMNO")
    assert {text.text for text in picture.all("text", cls="letter")} == {entry.letter for entry in drawing.key}


def test_signs_do_not_cover_each_other():
    picture, _ = draw()
    spots = []
    for link in picture.all("a"):
        touch = link.one("circle", cls="touch")
        spots.append((float(touch.attributes["cx"]), float(touch.attributes["cy"])))

    assert min(dist(one, other) for one, other in combinations(spots, 2)) > 2 * MARK_RADIUS


def test_north_is_up_and_east_is_right():
    picture, _ = draw()
    spots = {}
    for link in picture.all("a"):
        touch = link.one("circle", cls="touch")
        spots[link.attributes["href"]] = (float(touch.attributes["cx"]), float(touch.attributes["cy"]))

    assert spots["#tree-avocado-old"][1] < spots["#tree-plum"][1]  # 33.5 m and 3.2 m to the north
    assert spots["#tree-peach"][0] < spots["#tree-lime-hollow"][0]  # 5 m and 26.4 m to the east


@pytest.mark.parametrize(("display", "label", "metres"), [(CELSIUS, "10 m", 10.0), (FAHRENHEIT, "20 ft", 6.096)])
def test_the_scale_bar_is_as_long_as_it_says(display, label, metres):
    picture, _ = draw(display)
    ground = picture.one("polygon", cls="ground").attributes["points"].split()
    (west, _), (east, _) = ([float(number) for number in corner.split(",")] for corner in ground[:2])
    per_metre = (east - west) / 32  # the demo yard is 32 m wide
    bar = picture.one("path", cls="scale-bar").attributes["d"]

    assert label in [text.text for text in picture.all("text", cls="scale")]
    assert float(bar.split("h")[1].split("v")[0]) == pytest.approx(metres * per_metre, abs=0.02)


def test_a_yard_of_many_trees_is_drawn_larger():
    assert draw()[1].size == "small"
    assert draw(evening=large_evening(60))[1].size == "medium"
    assert draw(evening=large_evening(150))[1].size == "large"


def test_a_crown_that_reaches_over_the_boundary_does_not_widen_the_drawing():
    yard = sample_yard()
    wide = Canopy(id="oak", name="Neighbour's oak", position=(33, 20), crown_diameter=14, height=15)
    grown = yard.model_copy(update={"structures": [*yard.structures, wide]})

    assert draw()[0].attributes["viewbox"] == draw(evening=(grown, sample_plan()))[0].attributes["viewbox"]


@pytest.mark.parametrize(
    ("key", "family"),
    [
        ("leave", marks.LEAVE),
        ("wet", marks.GROUND),
        ("cover:fleece_medium", marks.COVER),
        ("cover:film_infrared/frame", marks.COVER),
        ("cover:frost_blanket/frame+lamps:lamps-large", marks.WARM),
        ("cover:bed_sheet+heater:heater", marks.WARM),
        ("shelter:hoops", marks.SHELTER),
        ("shelter:hoops+heater:heater", marks.WARM),
        ("carry:wet-room", marks.MOVE),
        ("roof:lean-to", marks.MOVE),
        ("sprinkle:crown", marks.OTHER),
    ],
)
def test_measures_have_the_shape_of_their_family(key, family):
    assert marks.family_of(key) is family


def test_all_families_have_shapes_of_their_own():
    shapes = {str(marks.outline(family, 0, 0, 10, class_="mark")) for family in marks.FAMILIES}

    assert len(shapes) == len(marks.FAMILIES)


spots = st.tuples(st.floats(20, 300), st.floats(20, 300))


@given(st.lists(spots, max_size=25))
def test_spread_signs_stay_in_the_drawing_and_do_not_move_without_need(places):
    shown = spread(places, apart=20, fixed=[], low=(0, 0), high=(320, 320))

    assert len(shown) == len(places)
    for x, y in shown:
        assert 0 <= x <= 320
        assert 0 <= y <= 320
    if all(dist(one, other) >= 20 for one, other in combinations(places, 2)):
        assert shown == [pytest.approx(place) for place in places]


@given(st.lists(spots, min_size=2, max_size=6))
def test_a_few_signs_never_end_on_top_of_each_other(places):
    shown = spread(places, apart=20, fixed=[], low=(0, 0), high=(320, 320))

    assert min(dist(one, other) for one, other in combinations(shown, 2)) > 19


def test_signs_on_the_same_spot_are_parted():
    shown = spread([(50, 50)] * 5, apart=20, fixed=[], low=(0, 0), high=(100, 100))

    assert min(dist(one, other) for one, other in combinations(shown, 2)) > 19


def test_a_sign_makes_room_for_a_letter():
    (shown,) = spread([(50, 50)], apart=20, fixed=[(52, 50)], low=(0, 0), high=(100, 100))

    assert dist(shown, (52, 50)) == pytest.approx(15, abs=0.1)


def test_the_roomiest_place_is_the_one_farthest_from_what_is_there():
    assert roomiest([(0, 0), (10, 0), (4, 0)], [(1, 0), (5, 0)]) == (10, 0)
    assert roomiest([(3, 3), (0, 0)], []) == (3, 3)


def test_svg_is_escaped_and_numbers_are_short():
    assert tag("text", "<&", x=1.2345, aria_label='"', class_="a", y=-0.001, r=None) == (
        '<text x="1.23" aria-label="&#34;" class="a" y="0">&lt;&amp;</text>'
    )
    assert tag("g", tag("path", d="M0 0")) == '<g><path d="M0 0"/></g>'
