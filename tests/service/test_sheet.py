"""What the sheet tells a helper who does not know the trees."""

from __future__ import annotations

from fruitwall.service.sheet import Sheet, sheet_of
from tests.web.sample import FAHRENHEIT, calm_plan, sample_plan, sample_tasks, sample_yard, task


def sheet(**changes: object) -> Sheet:
    return sheet_of(sample_plan(**changes), sample_yard())


def stops_of(groups):
    return [stop for group in groups for stop in group.stops]


def test_places_are_numbered_in_the_order_in_which_they_are_walked():
    numbers = [stop.number for stop in stops_of(sheet().evening)]

    # The last thing to do, a look at the heater before bed, is at a place that was numbered before.
    assert numbers == [1, 2, 3, 4, 5, 6, 7, 8, 9, 9]


def test_every_task_of_the_plan_stands_on_the_sheet_once():
    plan, told = sample_plan(), sheet()

    evening = [task.what for stop in stops_of(told.evening) for task in stop.tasks]
    morning = [task.what for stop in stops_of(told.morning) for task in stop.tasks]

    assert evening == [task.what for task in plan.tasks]
    assert morning == [task.what for task in plan.morning]


def test_headings_tell_the_deadline_by_the_yards_clock():
    assert [(group.heading, group.by) for group in sheet().evening] == [
        ("While the sun is still on the ground", "13:54"),
        ("Before sunset", "16:54"),
        ("Before bed", "21:59"),
    ]


def test_a_tree_is_told_by_size_pot_and_place_in_the_households_units():
    yard = sample_yard(display=FAHRENHEIT)
    told = {stop.name: stop for stop in stops_of(sheet_of(sample_plan(yard=yard), yard).evening)}
    metric = {stop.name: stop for stop in stops_of(sheet().evening)}

    assert told["Cacao"].trees == [
        "3\N{NO-BREAK SPACE}ft tall, 2\N{NO-BREAK SPACE}ft across, in a plastic pot of 3.9\N{NO-BREAK SPACE}gal, "
        "weighs 22\N{NO-BREAK SPACE}lb, under Glass lean-to"
    ]
    assert "near Terrace wall" in metric["Sapodilla"].trees[0]
    assert "1.1\N{NO-BREAK SPACE}m tall" in metric["Cacao"].trees[0]


def test_trees_in_one_frame_are_one_place_named_after_it():
    (frame,) = [stop for stop in stops_of(sheet().evening) if stop.number == 9][:1]

    assert frame.name == "Hoop frame"
    assert [words.split(":")[0] for words in frame.trees] == ["Soursop", "Wax jambu", "Carambola"]


def test_a_sheet_over_neighbours_stays_at_the_place_of_the_lamps_under_it():
    tasks = [
        task(1, "Hang the lamps", ["papaya"]),
        task(2, "Cover both", ["papaya", "canistel"]),
        task(3, "Cover the guava", ["guava"]),
    ]

    told = sheet(tasks=tasks, morning=[])
    both, guava = stops_of(told.evening)

    assert [t.what for t in both.tasks] == ["Hang the lamps", "Cover both"]
    assert len(both.trees) == 2
    assert guava.number == 2
    assert told.places == {1: ["papaya", "canistel"], 2: ["guava"]}


def test_a_step_is_written_in_full_once_and_pointed_to_afterwards():
    same = ["Drape it to the ground.", "Stones on the edge."]
    tasks = [
        task(1, "Cover papaya", ["papaya"], steps=["Take the fleece.", *same]),
        task(2, "Cover canistel", ["canistel"], steps=["Take the sheet.", *same]),
        task(3, "Open it", ["papaya"], steps=same),
    ]

    first, second, again = (stop.tasks[0] for stop in stops_of(sheet(tasks=tasks).evening))

    assert (first.steps, first.as_at) == (["Take the fleece.", *same], [])
    assert (second.steps, second.as_at) == (["Take the sheet."], [1])
    assert (again.steps, again.as_at) == ([], [])  # its own place needs no pointing


def test_the_morning_is_told_without_pointing_to_the_evening():
    steps = ["Slowly."]
    evening = [task(1, "Close it", ["papaya"], steps=steps)]
    morning = [task(1, "Open it", ["canistel"], steps=steps, when="morning")]

    (stop,) = stops_of(sheet(tasks=evening, morning=morning).morning)

    assert stop.tasks[0].steps == steps


def test_heavy_lifts_are_marked_and_cautions_numbered():
    told = sheet()
    shed = next(t for stop in stops_of(told.evening) for t in stop.tasks if "shed" in t.what)
    hallway = next(t for stop in stops_of(told.evening) for t in stop.tasks if "hallway" in t.what)

    assert shed.heavy
    assert not hallway.heavy
    assert [told.cautions[number - 1] for number in shed.heed] == sample_tasks()[1].cautions


def test_gear_is_counted_and_what_is_carried_round_is_told_once():
    tasks = [
        task(1, "Cover papaya", ["papaya"], gear=["fleece-small"]),
        task(2, "Cover canistel", ["canistel"], gear=["fleece-small", "lead-long"]),
        task(3, "Bring cacao", ["pot-cacao"], gear=["trolley"]),
        task(4, "Bring mango", ["pot-mango"], gear=["trolley"]),
    ]

    told = sheet(tasks=tasks)

    assert [line.split(",")[0] for line in told.gear] == ["2 × Small fleece", "1 × Long lead", "Sack truck"]
    assert told.gear_lies == "near Tool shed"


def test_what_can_wait_says_from_when():
    plan = sample_plan()
    later = task(3, "Bring Cacao back", ["pot-cacao"], when="when_mild", not_before=plan.sunrise)

    told = sheet(morning=[*plan.morning, later])

    assert told.morning[-1].heading == "When it is mild again"
    assert told.morning[-1].by == ""
    assert told.morning[-1].stops[0].tasks[0].hours == "not before Wed 23 Dec, 06:52"


def test_a_calm_night_says_that_nothing_is_to_be_done():
    told = sheet_of(calm_plan(), sample_yard())

    assert told.summary == "Nothing has to be done this evening."
    assert told.evening == []
    assert told.gear == []
    assert told.places == {}
