"""What is possible for a tree, and what is not and why."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, get_args

import numpy as np
import pytest

from fruitwall.plans.evening import check_feasible, solve
from fruitwall.plans.feeds import Load, feeds_for
from fruitwall.plans.measures import SetUpTimes, possible_measures, refused_measures, settings_of, supplies_of
from fruitwall.plans.parts import MORNING_ORDER, ORDER_OF_WORK, Lift, PartKind, order_of_work
from fruitwall.plans.problem import Costs, EveningProblem, Option
from fruitwall.plans.programme import build
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.model import Yard

YOUNG = {"id": "young", "name": "Young mango", "taxon": "mango", "position": [5, 5], "height": 1.5, "crown_diameter": 1}
POT = {
    "id": "pot",
    "name": "Potted lime",
    "taxon": "lime",
    "position": [6, 5],
    "height": 1.2,
    "crown_diameter": 0.8,
    "container": {"volume": 14.9, "mass": 10, "handles": True},
}
ANA = {"id": "ana", "name": "Ana", "minutes_before_dusk": 60}
BEN = {"id": "ben", "name": "Ben", "minutes_before_dusk": 45, "uses_ladder": True}
FLEECE = {"id": "fleece", "name": "Fleece", "material": "fleece_medium", "width": 4, "length": 4}
FILM = {"id": "film", "name": "Film", "material": "film_polyethylene", "width": 6, "length": 7, "on_frame": True}
LAMPS = {"id": "warm", "name": "Warm lamps", "watts": 175}
HEATER = {"id": "fan", "name": "Fan heater", "watts": 1500, "thermostat": 3}
CIRCUIT = {"id": "house", "name": "House outlet", "volts": 120, "amps": 20, "outlet": [0, 0], "ground_fault": True}
LEAD = {"id": "thick", "name": "Thick lead", "length": 15, "conductor": 3.3}
SHED = {"id": "shed", "name": "Shed", "position": [6, 12], "spaces": 2}


def yard(trees=(YOUNG,), *, gear: dict[str, Any] | None = None, people=(ANA, BEN), **more: Any) -> Yard:
    return Yard.model_validate(
        {
            "name": "Small yard",
            "location": {"latitude": 34, "longitude": -117, "elevation": 100, "time_zone": "America/Los_Angeles"},
            "outline": [[0, 0], [30, 0], [30, 30], [0, 30]],
            "gear_store": [0, 0],
            "trees": list(trees),
            "people": list(people),
            "gear": gear or {},
            **more,
        }
    )


def keys(its: Yard, at: int = 0, **more: Any) -> list[str]:
    return [measure.key for measure in possible_measures(its, its.trees[at], **more)]


def why(its: Yard, key: str, at: int = 0, **more: Any) -> str:
    found = [refusal.why for refusal in refused_measures(its, its.trees[at], **more) if refusal.key == key]
    assert len(found) == 1, (key, refused_measures(its, its.trees[at], **more))
    return found[0]


def named(its: Yard, key: str, at: int = 0):
    return next(measure for measure in possible_measures(its, its.trees[at]) if measure.key == key)


# ---------------------------------------------------------------- covers


def test_leaving_it_comes_first_and_takes_nothing():
    first = possible_measures(yard(), yard().trees[0])[0]
    assert (first.key, first.minutes, first.watts, first.lifts, first.parts) == ("leave", 0, 0, 0, ())


def test_only_sheets_that_reach_the_ground_cover_a_tree():
    assert "cover:fleece_medium" in keys(yard(gear={"covers": [FLEECE]}))  # 1 + 2 x 1.5 = 4 m
    short = yard(gear={"covers": [FLEECE | {"width": 3.9}]})
    assert "cover:fleece_medium" not in keys(short)
    assert "all round takes 4.0 m both ways" in why(short, "cover:fleece_medium")


def test_sheets_of_one_cloth_are_one_measure_with_all_that_fit_smallest_first():
    covers = [FLEECE | {"id": "big", "width": 8, "length": 8}, FLEECE, FLEECE | {"id": "tiny", "width": 2}]
    measure = named(yard(gear={"covers": covers}), "cover:fleece_medium")
    assert measure.parts[0].sheets == ("fleece", "big")
    assert (measure.cover, measure.on_frame, measure.to_ground) == ("fleece_medium", False, True)


def test_cloth_on_a_frame_is_another_measure():
    covers = [FLEECE, FLEECE | {"id": "framed", "on_frame": True}]
    its = yard(gear={"covers": covers})
    assert keys(its) == ["leave", "wet", "cover:fleece_medium", "cover:fleece_medium/frame"]
    assert named(its, "cover:fleece_medium/frame").minutes > named(its, "cover:fleece_medium").minutes


def test_film_is_opened_every_morning_and_fleece_may_stay():
    its = yard(gear={"covers": [FLEECE, FILM, FLEECE | {"id": "sheet", "material": "bed_sheet"}]})
    film = named(its, "cover:film_polyethylene/frame").parts[0]
    fleece = named(its, "cover:fleece_medium").parts[0]
    sheet = named(its, "cover:bed_sheet").parts[0]
    assert film.minutes_again > 0
    assert film.minutes_morning > 0
    assert (fleece.minutes_again, fleece.minutes_morning) == (0, 0)
    assert sheet.minutes_morning > 0  # opaque: pulled aside, so that the soil gets the sun


@pytest.mark.parametrize(
    ("height", "people", "crews"),
    [
        (2.2, (ANA,), [("ana",)]),
        (2.8, (ANA,), [("ana",)]),
        (2.8, (ANA, BEN), [("ana",), ("ben",), ("ana", "ben"), ("ben",)]),
        (3.5, (ANA, BEN), [("ana", "ben"), ("ben",)]),
    ],
)
def test_a_tall_crown_takes_a_pole_a_second_person_or_a_ladder(height: float, people, crews):
    big = FLEECE | {"width": 12, "length": 12}
    its = yard([YOUNG | {"height": height}], gear={"covers": [big]}, people=people)
    part = named(its, "cover:fleece_medium").parts[0]
    assert [way.people for way in part.ways] == crews
    assert [way.ladder for way in part.ways] == [
        len(crew) == 1 and height > 2.2 and crew == ("ben",) and at == len(crews) - 1 for at, crew in enumerate(crews)
    ]


def test_nobody_alone_covers_what_takes_two_and_nobody_covers_what_is_too_high():
    big = FLEECE | {"width": 20, "length": 20}
    alone = yard([YOUNG | {"height": 3.5}], gear={"covers": [big]}, people=[ANA])
    assert "takes two people or somebody who uses a ladder" in why(alone, "cover:fleece_medium")
    high = yard([YOUNG | {"height": 5}], gear={"covers": [big]})
    assert "above 4.5 m nothing is covered in the dark" in why(high, "cover:fleece_medium")
    nobody = yard(gear={"covers": [FLEECE]}, people=[ANA | {"minutes_before_dusk": 0}])
    assert why(nobody, "cover:fleece_medium") == "nobody has time this evening"
    assert keys(nobody) == ["leave"]


# ---------------------------------------------------------------- lamps and heaters


def electric(**more: Any) -> Yard:
    gear = {"covers": [FLEECE, FILM], "lamps": [LAMPS], "heaters": [HEATER], "leads": [LEAD]}
    gear |= more.pop("gear", {})
    return yard(gear=gear, **({"circuits": [CIRCUIT]} | more))


def test_lamps_go_below_covers_within_reach_and_never_alone():
    found = keys(electric())
    assert "cover:fleece_medium+lamps:warm" in found
    assert "cover:film_polyethylene/frame+lamps:warm" in found
    assert not any(key.startswith("lamps") for key in found)
    assert [p.kind for p in named(electric(), "cover:fleece_medium+lamps:warm").parts] == ["lamps", "cover"]


def test_a_heater_stands_only_under_a_frame_with_clearance():
    found = keys(electric())
    assert "cover:film_polyethylene/frame+heater:fan" in found  # 1 + 2.12 + 3 = 6.12 m one way, 5.12 m the other
    assert not any(key.startswith("cover:fleece_medium+heater") for key in found)
    narrow = electric(gear={"covers": [FILM | {"length": 6.1}]})
    assert "large enough to leave 0.91 m free round a heater" in why(narrow, "cover:film_polyethylene/frame+heater:fan")
    assert "cover:film_polyethylene/frame" in keys(narrow)


def test_a_thermostat_is_counted_as_on_all_night_unless_somebody_knows_better():
    its, key = electric(), "cover:film_polyethylene/frame+heater:fan"
    always = {key: value for key, value in HEATER.items() if key != "thermostat"}
    without = named(electric(gear={"heaters": [always]}), key)
    assert named(its, key).kwh == without.kwh == pytest.approx(1.5 * 14)

    half = SetUpTimes(thermostat_share=0.5)
    (known,) = (m for m in possible_measures(its, its.trees[0], times=half) if m.key == key)
    assert known.kwh == pytest.approx(without.kwh / 2)
    assert known.watts == without.watts == 1500  # no less of the circuit
    with pytest.raises(ValueError, match=r"thermostat_share must be 0 or more and at most 1, got 1\.5"):
        SetUpTimes(thermostat_share=1.5)


@pytest.mark.parametrize("hours", [7.5, 14.0])
def test_lamps_and_heaters_are_counted_for_the_hours_of_the_night(hours: float):
    its = electric(trees=[YOUNG], shelters=[HOOPS])
    measures = possible_measures(its, its.trees[0], night_hours=hours)
    inside = [part for setting in settings_of(its, night_hours=hours) for part in setting.parts]
    powered = [part for part in (*(p for m in measures for p in m.parts), *inside) if part.device]
    assert len(powered) >= 5
    for part in powered:
        assert part.kwh == pytest.approx(part.watts * hours / 1000)


@pytest.mark.parametrize(
    ("circuit", "lead", "words"),
    [
        (CIRCUIT | {"ground_fault": False}, LEAD, "no outdoor circuit has ground-fault protection"),
        (CIRCUIT | {"amps": 15}, LEAD, "it takes 1500 W, and no circuit may carry more than 1440 W all night"),
        (CIRCUIT, LEAD | {"length": 5}, "no lead, thick enough for a heater, reaches it: 8 m from House outlet"),
        (CIRCUIT, LEAD | {"conductor": 1.3}, "no lead, thick enough for a heater, reaches it"),
        (None, LEAD, "there is no outdoor circuit"),
    ],
)
def test_why_a_heater_gets_no_power_is_said(circuit, lead, words: str):
    its = electric(gear={"leads": [lead]}, circuits=[circuit] if circuit else [])
    assert words in why(its, "cover:film_polyethylene/frame+heater:fan")


def test_a_230_v_circuit_without_the_rule_may_carry_all_its_rating():
    circuit = CIRCUIT | {"volts": 230, "amps": 16, "continuous_rule": False}
    its = electric(circuits=[circuit])
    assert supplies_of(its).find("circuit/house").available == 3680
    assert supplies_of(electric()).find("circuit/house").available == 1920


def test_leads_are_listed_shortest_first_and_none_is_used_beside_the_socket():
    leads = [LEAD | {"id": "long", "length": 30}, LEAD, LEAD | {"id": "short", "length": 3}]
    its = electric(gear={"leads": leads})
    (feed,) = feeds_for(its, Load(175, False, (5.0, 5.0)), SetUpTimes())
    assert feed.leads == ("thick", "long")
    (beside,) = feeds_for(its, Load(175, False, (0.3, 0.3)), SetUpTimes())
    assert beside.leads == ()


# ---------------------------------------------------------------- wetting


def test_open_ground_is_wetted_while_the_sun_is_on_it_unless_rain_is_coming():
    measure = named(yard(), "wet")
    assert measure.wet_ground
    assert measure.deadline == "before_sun_leaves"
    assert not measure.parts[0].stays  # watered for the night that follows, not days ahead
    assert "rain is expected" in why(yard(), "wet", rain_expected=True)


def test_ground_is_not_wetted_if_the_sun_leaves_it_before_that_is_done():
    minutes = named(yard(), "wet").minutes
    assert "wet" in keys(yard(), sun_minutes=minutes)
    assert "wet" not in keys(yard(), sun_minutes=minutes - 1.0)
    assert f"takes {minutes:.0f} min, and the sun leaves" in why(yard(), "wet", sun_minutes=minutes - 1.0)


def test_nobody_waters_longer_than_the_sun_stays_however_the_work_is_shared():
    trees = [YOUNG | {"id": name, "position": [x, 5]} for name, x in (("a", 4), ("b", 6), ("c", 8))]
    its = yard(trees)
    wets = [named(its, "wet", at) for at in range(3)]
    longest = max(m.minutes for m in wets)

    def watered(sun_minutes: float) -> list[tuple[str, ...]]:
        options = tuple(
            (Option(named(its, "leave", at), np.array([20.0])), Option(wets[at], np.array([0.0]))) for at in range(3)
        )
        problem = EveningProblem(
            ("a", "b", "c"), options, supplies_of(its), its.prices, settings_of(its), sun_minutes=sun_minutes
        )
        solution = solve(problem)
        assert check_feasible(problem, solution) == []
        return [task.way.people for task in solution.tasks]

    assert len(watered(math.inf)) == 3
    assert sorted(watered(1.1 * longest)) == [("ana",), ("ben",)]  # one each
    assert len(watered(2.1 * longest)) == 3
    assert watered(0.5 * longest) == []


def test_a_plan_that_waters_after_the_sun_has_left_is_found():
    its = yard()
    options = (Option(named(its, "leave"), np.array([20.0])), Option(named(its, "wet"), np.array([0.0])))
    problem = EveningProblem(("young",), (options,), supplies_of(its), its.prices)
    solution = solve(problem)
    (wrong,) = check_feasible(replace(problem, sun_minutes=1.0), solution)
    assert "before the sun leaves in 1 min" in wrong


def test_pots_and_paving_are_not_wetted():
    paving = {"kind": "paving", "id": "patio", "name": "Patio", "outline": [[4, 4], [7, 4], [7, 7], [4, 7]]}
    paved = yard([YOUNG, POT], structures=[paving])
    assert "it stands in Patio" in why(paved, "wet")
    assert "wet" not in keys(paved, at=1)


# ---------------------------------------------------------------- wear


def test_wear_is_that_of_the_smallest_sheet_that_fits_and_of_what_warms_below_it():
    large = FLEECE | {"id": "large", "width": 9, "length": 9, "wear": 4}
    its = yard(
        gear={"covers": [large, FLEECE | {"wear": 0.5}], "lamps": [LAMPS | {"wear": 0.3}], "leads": [LEAD]},
        circuits=[CIRCUIT],
    )
    assert named(its, "cover:fleece_medium").wear == 0.5
    assert named(its, "cover:fleece_medium+lamps:warm").wear == pytest.approx(0.8)
    assert named(its, "wet").wear == 0.0


def test_wear_counts_on_every_night_of_use_and_keeps_a_dear_sheet_in_its_chest():
    def costs(wear: float, saves: float) -> Costs:
        its = yard(gear={"covers": [FLEECE | {"wear": wear}]})
        options = tuple(
            Option(m, np.full(2, 0.0 if m.key.startswith("cover") else saves))
            for m in possible_measures(its, its.trees[0])
        )
        problem = EveningProblem(("young",), (options,), supplies_of(its), its.prices)
        solution = solve(problem)
        assert check_feasible(problem, solution) == []
        return solution.costs

    assert costs(0.5, 20.0).wear == pytest.approx(2 * 0.5)
    assert costs(0.5, 20.0).effort == pytest.approx(costs(0.0, 20.0).effort + 1.0)
    assert costs(30.0, 20.0).wear == 0.0
    assert costs(30.0, 20.0).loss == pytest.approx(40.0)


# ---------------------------------------------------------------- containers


def test_a_light_pot_is_carried_by_hand_by_those_who_may():
    people = [ANA | {"max_lift": 9}, BEN, {"id": "cy", "name": "Cy", "minutes_before_dusk": 9, "lifts": False}]
    its = yard([POT], people=people, indoor_places=[SHED])
    part = named(its, "carry:shed").parts[0]
    assert [way.people for way in part.ways] == [("ben",)]  # 10 kg is above Ana's own limit, Cy lifts nothing
    assert part.ways[0].lift is not None
    assert part.ways[0].lift.index <= 1
    assert part.room == "place:shed"


def test_no_way_ever_asks_for_a_lift_with_an_index_above_one():
    for its in (demo_yard(), yard([POT | {"container": {"volume": 55}}], indoor_places=[SHED])):
        for tree in its.trees:
            for measure in possible_measures(its, tree):
                for part in measure.parts:
                    for way in part.ways:
                        assert way.lift is None or way.lift.index <= 1.0


def test_a_heavy_pot_goes_on_a_trolley_that_bears_it_or_stays():
    heavy = POT | {"container": {"volume": 34, "mass": 40}}
    trolley = {"id": "truck", "name": "Sack truck", "max_mass": 90}
    alone = yard([heavy], indoor_places=[SHED])
    assert "carry:shed" not in keys(alone)
    assert "index 4." in why(alone, "carry:shed")
    assert "there is no trolley" in why(alone, "carry:shed")

    rolled = named(yard([heavy], indoor_places=[SHED], gear={"trolleys": [trolley]}), "carry:shed")
    assert {way.trolley for way in rolled.parts[0].ways} == {"truck"}
    assert rolled.lifts == 0
    weak = yard([heavy], indoor_places=[SHED], gear={"trolleys": [trolley | {"max_mass": 30}]})
    assert "no trolley bears it" in why(weak, "carry:shed")


def test_a_tub_too_heavy_to_push_on_soft_ground_stays():
    tub = POT | {"container": {"volume": 100, "mass": 120}}
    its = yard([tub], indoor_places=[SHED], gear={"trolleys": [{"id": "t", "name": "T", "max_mass": 300}]})
    assert "on soft ground it takes 126 N of push, more than the 70 N advised" in why(its, "carry:shed")


def test_whoever_lifts_little_takes_somebody_along_to_tilt_a_heavy_tub():
    tub = POT | {"container": {"volume": 40, "mass": 58}}
    truck = {"trolleys": [{"id": "truck", "name": "Sack truck", "max_mass": 90}]}
    cy = {"id": "cy", "name": "Cy", "minutes_before_dusk": 30, "max_lift": 11}

    def crews(*people, mass: float = 58) -> list[tuple[str, ...]]:
        its = yard([tub | {"container": {"volume": 40, "mass": mass}}], people=people, indoor_places=[SHED], gear=truck)
        found = [m for m in possible_measures(its, its.trees[0]) if m.place]
        return [way.people for m in found for way in m.parts[0].ways]

    assert crews(ANA, cy) == [("ana",)]  # 58 kg is more than 5 x 11 kg, and Ana needs nobody
    assert crews(cy, cy | {"id": "di", "name": "Di"}) == [("cy", "di")]
    assert crews(cy, mass=54) == [("cy",)]
    assert crews(ANA, BEN, mass=61) == [("ana", "ben")]  # nobody alone above 60 kg
    assert crews(ANA, BEN, mass=64) == []  # the push on soft ground is more than the 70 N advised
    assert crews(ANA, BEN | {"pushes_trolley": False}, mass=61) == []
    alone = yard([tub], people=[cy], indoor_places=[SHED], gear=truck)
    assert "tilting it onto the trolley takes somebody stronger, or two people" in why(alone, "carry:shed")


def test_a_pot_too_wide_to_be_held_is_never_lifted_by_hand():
    wide = POT | {"container": {"volume": 300, "mass": 20}}
    truck = {"trolleys": [{"id": "truck", "name": "Sack truck", "max_mass": 90}]}
    its = yard([wide], indoor_places=[SHED])
    assert "too wide to be held close enough to lift" in why(its, "carry:shed")
    rolled = named(yard([wide], indoor_places=[SHED], gear=truck), "carry:shed")
    assert {way.trolley for way in rolled.parts[0].ways} == {"truck"}
    assert Lift(20.0, 0.0).index == math.inf


def test_a_mass_nobody_weighed_is_estimated_wet():
    light, unknown = (yard([POT | {"container": c}], indoor_places=[SHED]) for c in ({"volume": 3}, {"volume": 15}))
    assert "carry:shed" in keys(light)
    assert "it weighs about 16 kg" in why(unknown, "carry:shed")


def test_a_longer_way_takes_longer_and_is_rested_on():
    near, far = (named(yard([POT], indoor_places=[SHED | {"position": [6, y]}]), "carry:shed") for y in (8, 28))
    assert far.minutes > near.minutes
    assert near.lifts == 1
    assert far.lifts == 3  # 23 x 1.2 = 27.6 m: set down twice on the way
    assert "set down every 10 m" in far.parts[0].ways[0].note


def test_a_tree_higher_than_the_door_stays_out():
    its = yard([POT | {"height": 2.4}], indoor_places=[SHED])
    assert why(its, "carry:shed") == "it is 2.4 m high, Shed takes 2.2 m"


ROOF = {
    "kind": "roof",
    "id": "porch",
    "name": "Porch",
    "outline": [[10, 10], [14, 10], [14, 13], [10, 13]],
    "height": 2.5,
    "material": "glass",
}


def test_a_pot_is_brought_under_a_roof_to_a_place_inside_it():
    its = yard([POT], structures=[ROOF])
    measure = named(its, "roof:porch")
    assert measure.roof == "porch"
    assert measure.moved_to is not None
    x, y = measure.moved_to
    assert 10 < x < 14
    assert 10 < y < 13
    assert supplies_of(its).find("room/roof:porch").available == 10  # half of 12 m2, 0.6 m2 a pot


def test_a_pot_under_a_roof_stays_there_and_takes_its_space():
    its = yard([POT | {"position": [11, 11]}], structures=[ROOF])
    assert "roof:porch" not in keys(its)
    assert supplies_of(its).find("room/roof:porch").available == 9
    low = yard([POT | {"height": 2.42}], structures=[ROOF])
    assert why(low, "roof:porch") == "it is 2.4 m high, Porch 2.5 m"


# ---------------------------------------------------------------- shelters

HOOPS = {"id": "hoops", "name": "Hoops", "outline": [[3, 3], [9, 3], [9, 7], [3, 7]], "height": 2, "trees": ["young"]}


def test_what_is_done_together_has_one_group_and_an_order():
    its = electric(trees=[YOUNG], shelters=[HOOPS])
    for setting in settings_of(its):
        assert {part.group for part in setting.parts} <= {"shelter:hoops"}
    closed = settings_of(its)[3]
    assert [part.kind for part in order_of_work(reversed(closed.parts))] == ["heater", "close"]
    potted = yard([POT], gear={"covers": [FLEECE]}, structures=[ROOF], indoor_places=[SHED])
    for measure in (*possible_measures(its, its.trees[0]), *possible_measures(potted, potted.trees[0])):
        assert {part.group for part in measure.parts} <= {measure.tree}
    assert set(ORDER_OF_WORK) == set(get_args(PartKind))
    assert MORNING_ORDER.index("lamps") < MORNING_ORDER.index("cover")


def test_the_states_of_a_shelter_begin_with_open():
    its = electric(trees=[YOUNG], shelters=[HOOPS])
    states = settings_of(its)
    assert [s.state for s in states] == ["open", "closed", "closed+lamps:warm", "closed+heater:fan"]
    assert states[0].parts == ()
    assert [part.kind for part in states[3].parts] == ["heater", "close"]


def test_barrels_in_a_shelter_are_said_to_stay_there():
    def steps(**more: Any) -> tuple[str, ...]:
        (part,) = settings_of(yard(shelters=[HOOPS | more]))[1].parts
        return part.steps

    assert not any("barrels" in step for step in steps())
    assert any("barrels" in step for step in steps(water=400))


def test_trees_of_a_shelter_can_be_sheltered_or_treated_on_their_own_in_the_open_shelter():
    its = electric(trees=[YOUNG], shelters=[HOOPS])
    found = {measure.key: measure for measure in possible_measures(its, its.trees[0])}
    assert found["shelter:hoops"].requires[0].state == "closed"
    assert found["shelter:hoops+heater:fan"].heater == "fan"
    assert found["shelter:hoops+lamps:warm"].lamp == "warm"
    assert found["leave"].requires[0].state == "open"
    assert found["cover:fleece_medium"].requires[0].state == "open"
    assert found["shelter:hoops"].minutes > 0
    assert found["shelter:hoops"].parts == ()  # the work is the shelter's, not the tree's


def test_a_crowded_shelter_has_no_place_for_a_heater():
    small = HOOPS | {"outline": [[4, 4], [6, 4], [6, 6], [4, 6]]}
    its = electric(trees=[YOUNG], shelters=[small])
    assert [s.state for s in settings_of(its)] == ["open", "closed", "closed+lamps:warm"]
    assert "0.91 m from its sides and all leaves" in why(its, "shelter:hoops+heater:fan")


def test_a_frame_without_cloth_is_no_shelter():
    its = yard(shelters=[HOOPS | {"sides": "open", "top": "open"}])
    assert [s.state for s in settings_of(its)] == ["open"]
    assert keys(its) == ["leave", "wet"]
    assert possible_measures(its, its.trees[0])[0].requires == ()


# ---------------------------------------------------------------- the whole


def test_the_demo_yard_makes_a_problem_that_can_be_built():
    its = demo_yard()
    options = tuple(
        tuple(Option(measure, np.ones(2)) for measure in possible_measures(its, tree)) for tree in its.trees
    )
    problem = EveningProblem(
        tuple(tree.id for tree in its.trees), options, supplies_of(its), its.prices, settings_of(its)
    )
    assert len(build(problem).cost) > 500
    for row in options:
        names = [option.measure.key for option in row]
        assert names[0] == "leave"
        assert len(names) == len(set(names))


def test_slower_hands_take_longer():
    slow = SetUpTimes(cover=30.0)
    its = yard(gear={"covers": [FLEECE]})
    quick = named(its, "cover:fleece_medium").minutes
    taken = next(m for m in possible_measures(its, its.trees[0], times=slow) if m.cover).minutes
    assert taken == pytest.approx(quick + 27.0)


def test_settings_outside_their_range_are_refused():
    with pytest.raises(ValueError, match="night_hours must be greater than 0 and at most 24, got 0"):
        possible_measures(yard(), yard().trees[0], night_hours=0)
    with pytest.raises(ValueError, match="cover must be 0 or more and at most 1000, got -1"):
        SetUpTimes(cover=-1)
