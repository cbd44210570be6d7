"""What is said when something dangerous is planned."""

from __future__ import annotations

from fruitwall.plans.cautions import cautions_for, wet_leaf_cautions
from fruitwall.plans.measures import possible_measures, settings_of
from fruitwall.plans.parts import Part, Way
from fruitwall.plans.problem import PlannedTask
from tests.plans.test_measures import FILM, HOOPS, POT, SHED, YOUNG, electric, yard


def task(part: Part, way: Way | None = None, **more) -> PlannedTask:
    return PlannedTask(0, part, way or part.ways[0], False, **more)


def said(its, *tasks: PlannedTask) -> set[str]:
    return {caution.key for caution in cautions_for(its, tasks)}


def part_of(its, key: str, kind: str, at: int = 0) -> Part:
    measure = next(m for m in possible_measures(its, its.trees[at]) if m.key == key)
    return next(part for part in measure.all_parts if part.kind == kind)


def test_nothing_done_needs_no_caution():
    its = yard()
    assert cautions_for(its, []) == []
    wet = part_of(its, "wet", "wet")
    assert "cold_hands" not in said(its, PlannedTask(0, wet, Way((), 0.0), True))


def test_anything_done_says_what_prevails():
    its = yard()
    found = cautions_for(its, [task(part_of(its, "wet", "wet"))])
    last = found[-1]
    assert last.key == "what_prevails"
    assert "local electrical, fire and building codes" in last.text
    assert not last.per_task
    assert "water_and_power" in {caution.key for caution in found}


def test_a_heater_brings_clearance_ground_fault_and_its_lead():
    its = electric()
    heater = part_of(its, "cover:film_polyethylene/frame+heater:fan", "heater")
    found = said(its, task(heater, circuit="house", lead="thick"))
    assert {"ground_fault", "heater", "heater_lead", "leads", "no_fuel"} <= found
    assert "lamps" not in found
    assert "heater_lead" not in said(its, task(heater, circuit="house"))


def test_lamps_must_not_touch():
    its = electric()
    lamps = part_of(its, "cover:fleece_medium+lamps:warm", "lamps")
    assert {"ground_fault", "lamps"} <= said(its, task(lamps, circuit="house"))


def test_lifts_trolleys_and_ladders_have_their_own():
    its = yard([POT], indoor_places=[SHED], gear={"trolleys": [{"id": "t", "name": "T", "max_mass": 90}]})
    carry = part_of(its, "carry:shed", "carry")
    by_hand = next(way for way in carry.ways if way.lifts)
    rolled = next(way for way in carry.ways if way.trolley)
    assert {"lifting", "path", "indoors"} <= said(its, task(carry, by_hand))
    assert "lifting" not in said(its, task(carry, rolled))
    assert "trolley" in said(its, task(carry, rolled))

    tall = yard([YOUNG | {"height": 3.5}], gear={"covers": [FILM | {"width": 12, "length": 12}]})
    cover = part_of(tall, "cover:film_polyethylene/frame", "cover")
    ladder = next(way for way in cover.ways if way.ladder)
    assert "ladder" in said(tall, task(cover, ladder, sheet="film"))
    assert "ladder" not in said(tall, task(cover, sheet="film"))


def test_film_must_be_vented_and_draped_cloth_touches():
    its = electric(trees=[YOUNG], shelters=[HOOPS])
    film = part_of(its, "cover:film_polyethylene/frame", "cover")
    fleece = part_of(its, "cover:fleece_medium", "cover")
    assert "film" in said(its, task(film, sheet="film"))
    assert "touching" not in said(its, task(film, sheet="film"))
    assert "touching" in said(its, task(fleece, sheet="fleece"))
    assert "film" not in said(its, task(fleece, sheet="fleece"))
    (close,) = (s.parts[0] for s in settings_of(its) if s.state == "closed")
    assert "film" in said(its, task(close))


def test_every_caution_names_its_source_or_says_that_it_has_none():
    from fruitwall.plans.cautions import _RULES

    keys = [caution.key for _, caution in _RULES]
    assert len(keys) == len(set(keys))
    assert all(caution.source and len(caution.text) < 400 for _, caution in _RULES)


def wet(**changes) -> dict[str, str]:
    values = {"t_air_c": -1.0, "drop_k": 2.0, "wind_m_s": 2.0, "watering": False} | changes
    return {caution.key: caution.text for caution in wet_leaf_cautions(**values)}


def test_a_dry_wind_near_freezing_warns_of_wet_leaves_and_of_sprinkling():
    found = wet()
    assert list(found) == ["dry_leaves", "no_sprinkling"]
    assert "2.0 K below the air (wet bulb -3.0 °C)" in found["dry_leaves"]
    for words in ("does not plan", "without pause", "above 0 °C", "limbs", "slippery"):
        assert words in found["no_sprinkling"]


def test_mild_calm_or_moist_nights_are_not_warned_of_unless_somebody_waters():
    for quiet in ({"t_air_c": 2.5}, {"wind_m_s": 0.4}, {"drop_k": 0.4}):
        assert wet(**quiet) == {}
        assert wet(**quiet, watering=True)["dry_leaves"].startswith("Water the ground only")


def test_sprinkling_is_not_spoken_of_while_the_wet_bulb_is_above_freezing():
    assert list(wet(t_air_c=1.5, drop_k=1.2)) == ["dry_leaves"]


def test_the_general_cautions_speak_for_no_single_task():
    assert not any(c.per_task for c in wet_leaf_cautions(t_air_c=-1.0, drop_k=2.0, wind_m_s=2.0, watering=True))
