from datetime import date

import pytest

from fruitwall.yard.checks import check_yard
from fruitwall.yard.model import (
    Building,
    Canopy,
    Circuit,
    Container,
    Cover,
    Gear,
    Heater,
    IndoorPlace,
    LampString,
    Person,
    Pond,
    Sensor,
    Shelter,
    Wall,
)
from tests.yard.yards import a_tree, a_yard

SQUARE = [(4, 4), (8, 4), (8, 8), (4, 8)]


def told(severity: str, yard, **how) -> list[str]:
    """Give path and message of all problems of one severity."""
    return [f"{p.path}: {p.message}" for p in check_yard(yard, **how) if p.severity == severity]


def test_a_sound_yard_has_no_problem():
    assert check_yard(a_yard(), today=date(2026, 12, 22)) == []


def test_an_id_is_used_once_in_the_whole_file():
    person = Person(id="mango-1", name="Odalis", minutes_before_dusk=30)
    assert told("error", a_yard(people=[person])) == [
        'people[0].id: the id "mango-1" is already that of trees[0]; each thing needs its own'
    ]


def test_two_trees_of_one_name_are_a_warning():
    trees = [a_tree(), a_tree(id="mango-2", name="mango")]
    assert told("error", a_yard(trees=trees)) == []
    assert told("warning", a_yard(trees=trees)) == [
        'trees[1].name: the name "mango" is also that of trees[0]; tell them apart in the plan'
    ]


@pytest.mark.parametrize(
    ("zone", "hint"),
    [
        ("America/Los_Angelos", "did you mean America/Los_Angeles"),
        ("Pacific Time", "see the list of the IANA time zone database"),
        ("Los Angeles", "did you mean America/Los_Angeles?"),
        ("America", "did you mean America/"),
        ("../../etc/passwd", "see the list"),
    ],
)
def test_an_unknown_time_zone_is_an_error_with_near_names(zone, hint):
    yard = a_yard()
    yard = yard.model_copy(update={"location": yard.location.model_copy(update={"time_zone": zone})})
    (message,) = told("error", yard)
    assert message.startswith("location.time_zone: expected a time zone such as America/Los_Angeles, got")
    assert hint in message


@pytest.mark.parametrize(("longitude", "doubted"), [(-117.22, False), (117.22, True), (-70.0, False), (0.0, True)])
def test_a_forgotten_minus_of_the_longitude_is_doubted(longitude, doubted):
    yard = a_yard()
    yard = yard.model_copy(update={"location": yard.location.model_copy(update={"longitude_deg": longitude})})
    assert bool(told("warning", yard)) == doubted


def test_an_outline_that_crosses_itself_is_an_error():
    yard = a_yard(
        outline=[(0, 0), (20, 20), (20, 0), (0, 20)],
        structures=[Pond(id="p", name="P", outline=[(1, 1), (2, 2), (3, 3)])],
        trees=[a_tree(position=(15, 10))],
    )
    assert told("error", yard) == [
        "outline: the outline crosses itself near [10, 10]; give the corners in order, one way round",
        "structures[0].outline: the outline encloses no area; give the corners in order, one way round",
    ]


def test_a_tree_outside_the_outline_is_an_error():
    assert told("error", a_yard(trees=[a_tree(position=(25, 5))])) == [
        "trees[0].position: [25, 5] lies outside the yard's outline"
    ]
    assert told("error", a_yard(trees=[a_tree(position=(20, 5))])) == []  # on the boundary


@pytest.mark.parametrize(
    "thing",
    [Building(id="house", name="House", outline=SQUARE, height_m=3), Pond(id="pond", name="Pond", outline=SQUARE)],
)
def test_a_tree_in_a_building_or_pond_is_an_error(thing):
    assert told("error", a_yard(structures=[thing])) == [
        f'trees[0].position: [5, 5] lies in the {thing.kind} "{thing.id}"'
    ]
    assert told("error", a_yard(structures=[thing], trees=[a_tree(position=(4, 5))])) == []  # at its foot


def test_a_tree_in_a_wall_is_a_warning():
    wall = Wall(id="wall", name="Wall", line=[(0, 5.1), (9, 5.1)], height_m=2, thickness_m=0.4)
    assert told("warning", a_yard(structures=[wall])) == ['trees[0].position: [5, 5] lies in the wall "wall"']


def test_a_crown_begins_below_its_top():
    canopy = Canopy(id="oak", name="Oak", position=(1, 1), crown_diameter_m=5, height_m=3, base_m=3)
    yard = a_yard(trees=[a_tree(crown_base_m=2)], structures=[canopy])
    assert told("error", yard) == [
        "trees[0].crown_base: must be less than the tree's height (2 m), got 2 m",
        "structures[0].base: must be less than the canopy's height (3 m), got 3 m",
    ]


@pytest.mark.parametrize(
    ("outline", "long"),
    [
        ([(1, 1), (50, 1), (50, 9), (1, 9)], None),
        ([(1, 1), (61, 1), (61, 9), (1, 9)], "60 m"),
        ([(1, 1), (41, 41), (39, 43), (-1, 3)], "56.57 m"),  # along its own side, not along the axes
    ],
)
def test_a_shelter_longer_than_can_be_computed_is_an_error(outline, long):
    tunnel = Shelter(id="tunnel", name="Tunnel", outline=outline, height_m=10, trees=["mango-1"])
    yard = a_yard(shelters=[tunnel], outline=[(-9, -9), (90, -9), (90, 90), (-9, 90)])
    found = [text for text in told("error", yard) if text.startswith("shelters[0].outline")]
    assert found == (
        [
            f'shelters[0].outline: the shelter "tunnel" is {long} long; give one of at most 50 m in length and width, '
            "or enter its bays as shelters of their own"
        ]
        if long
        else []
    )


def test_a_shelter_holds_known_trees_that_stand_in_it():
    hoops = Shelter(id="hoops", name="Hoops", outline=SQUARE, height_m=1.5, trees=["mango-1", "mnago-1"])
    again = Shelter(id="again", name="Again", outline=[(9, 9), (10, 9), (10, 10)], height_m=3, trees=["mango-1"])
    yard = a_yard(shelters=[hoops, again])
    assert told("error", yard) == [
        'shelters[0].trees[1]: no tree has the id "mnago-1"; did you mean mango-1?',
        'shelters[1].trees[0]: the tree "mango-1" is already in the shelter "hoops"',
        'shelters[1].trees[0]: the tree "mango-1" stands outside the outline of the shelter "again"',
    ]
    assert told("warning", yard) == [
        'shelters[0].trees[0]: the tree "mango-1" (2 m) is taller than the shelter (1.5 m)'
    ]


def a_cover(width_m: float, length_m: float) -> Gear:
    return Gear(covers=[Cover(id="c", name="C", material="burlap", width_m=width_m, length_m=length_m)])


def test_a_cover_smaller_than_any_crown_is_an_error():
    assert told("error", a_yard(gear=a_cover(1.4, 9))) == [
        "gear.covers[0]: 1.4 m by 9 m is smaller than any crown here: the smallest, of mango-1, is 1.5 m across"
    ]


def test_a_cover_that_reaches_the_ground_nowhere_is_a_warning():
    assert told("error", a_yard(gear=a_cover(5.4, 9))) == []
    assert told("warning", a_yard(gear=a_cover(5.4, 9))) == [
        "gear.covers[0]: 5.4 m by 9 m reaches over a crown but to the ground for no tree; "
        "mango-1 would need 5.5 m each way"
    ]
    assert told("warning", a_yard(gear=a_cover(5.5, 9))) == []


def test_heaters_and_lamps_without_a_circuit_are_a_warning():
    gear = Gear(heaters=[Heater(id="h", name="H", watts=1500)], lamps=[LampString(id="l", name="L", watts=100)])
    assert [t.split(":")[0] for t in told("warning", a_yard(gear=gear))] == ["gear.heaters", "gear.lamps"]


@pytest.mark.parametrize("protected", [True, False])
def test_a_circuit_without_ground_fault_protection_defers_to_code_and_electrician(protected):
    circuit = Circuit(id="c", name="C", volts=120, amps=20, outlet=(1, 1), ground_fault=protected)
    warnings = told("warning", a_yard(circuits=[circuit]))
    assert len(warnings) == (0 if protected else 1)
    assert all("electrical code of the place and a licensed electrician" in w for w in warnings)


def test_a_potted_tree_too_tall_for_every_door_is_a_warning():
    tree = a_tree(container=Container(volume_l=50), height_m=2.3)
    shed = IndoorPlace(id="shed", name="Shed", position=(1, 1), spaces=2)
    assert told("warning", a_yard(trees=[tree], indoor_places=[shed])) == [
        "trees[0].height: at 2.3 m it goes through no door here (up to 2.2 m); it stays out"
    ]
    assert told("warning", a_yard(trees=[tree])) == []  # there is no door at all
    assert told("warning", a_yard(trees=[a_tree(height_m=2.3)], indoor_places=[shed])) == []  # not potted


def test_a_thermometer_hangs_in_one_place_under_a_name_of_its_own():
    good = Sensor(id="logger-1", name="Logger at the mango", tree="mango-1")
    assert told("error", a_yard(sensors=[good, Sensor(id="post", name="Post", position=(1, 1), station=True)])) == []
    wrong = [
        Sensor(id="a", name="A", station=True),
        Sensor(id="b", name="B", tree="mango-1", position=(1, 1), station=True),
        Sensor(id="c", name="Mango", tree="mango1"),
    ]
    assert told("error", a_yard(sensors=wrong)) == [
        "sensors[0].tree: give either the tree in which it hangs or its position",
        "sensors[1].tree: give either the tree in which it hangs or its position",
        'sensors[1].station: "A" is the station already; there can be one',
        'sensors[2].tree: there is no tree "mango1"; did you mean mango-1?',
        'sensors[2].name: the name "Mango" is also that of a tree or another thermometer; readings could not be told '
        "apart",
    ]


@pytest.mark.parametrize(
    ("planted", "age", "warning"),
    [
        (date(2027, 3, 1), None, "trees[0].planted: 2027-03-01 lies in the future"),
        (date(2016, 12, 22), 2, "trees[0].age: 2 years do not fit planted: 2016-12-22, 10.0 years ago"),
        (date(2016, 12, 22), 12, None),  # bought as a two-year-old
        (date(2016, 12, 22), 9.5, None),  # written down a while ago
        (date(2016, 12, 22), None, None),
        (None, 3, None),
        (None, None, None),
    ],
)
def test_age_and_planting_day_fit_together(planted, age, warning):
    yard = a_yard(trees=[a_tree(planted=planted, age_years=age)])
    assert told("warning", yard, today=date(2026, 12, 22)) == ([warning] if warning else [])
    assert told("warning", yard) == []  # without a calendar nothing can be said
