"""What is said when something dangerous is planned."""

from __future__ import annotations

from fruitwall.plans.cautions import cautions_for
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
