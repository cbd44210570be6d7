"""The deadlines as another reader of RFC 5545 reads them."""

from __future__ import annotations

from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

from icalendar import Calendar

from fruitwall.service.calendar import SHORTEST, calendar_of
from fruitwall.service.earlier import Earlier, following
from fruitwall.service.evening_document import EveningPlan
from tests.web.sample import SUNSET, calm_plan, sample_plan, sample_yard, task


def events(plan=None):
    """Give the events of a plan, as read back."""
    return list(Calendar.from_ical(calendar_of(plan or sample_plan(), sample_yard())).walk("VEVENT"))


def test_there_is_one_event_for_each_deadline():
    assert [str(event["summary"]) for event in events()] == [
        "While the sun is still on the ground: 1 thing to do for the trees",
        "Before sunset: 8 things to do for the trees",
        "Before bed: 1 thing to do for the trees",
        "In the morning: 2 things to do for the trees",
    ]


def test_an_event_ends_at_its_deadline_and_begins_early_enough_for_who_has_most_to_do():
    plan = sample_plan()
    sunset = events()[1]
    wendell = sum(t.minutes for t in plan.tasks if t.when == "before_dusk" and t.person == "Wendell")

    assert sunset.end == SUNSET + timedelta(minutes=10)
    assert sunset.end - sunset.start == timedelta(minutes=wendell)
    assert sunset.end.astimezone(ZoneInfo(plan.time_zone)).strftime("%H:%M") == "16:54"
    assert all(event.end - event.start >= SHORTEST for event in events())


def test_the_morning_tells_by_when_and_how_hot_it_would_get():
    morning = events()[-1]

    assert "1. Open the hoop frame (by 08:32" in str(morning["description"])
    assert "41 °C in the sun" in str(morning["description"])


def test_every_event_rings_twice():
    for event in events():
        triggers = [alarm["trigger"].dt for alarm in event.walk("VALARM")]
        assert triggers == [timedelta(minutes=-30), timedelta(0)]


def test_a_new_plan_replaces_the_events_of_the_old_one():
    old = events()
    new = events(sample_plan(made=sample_plan().made + timedelta(minutes=20)))

    assert [event["uid"] for event in new] == [event["uid"] for event in old]
    assert len({event["uid"] for event in old}) == len(old)
    assert all(after["sequence"] > before["sequence"] for before, after in zip(old, new, strict=True))


def replanned(before, **changes):
    """Give a plan that is made half an hour after another one and knows it."""
    plan = sample_plan(made=before.made + timedelta(minutes=30), **changes)
    return following(plan, Earlier(before))


def by_uid(plan):
    """Give the events of a plan by their identifier."""
    return {str(event["uid"]): event for event in events(plan)}


def test_an_occasion_that_a_new_plan_drops_is_cancelled_at_its_hour_and_rings_no_more():
    before = sample_plan()
    after = replanned(before, tasks=[t for t in before.tasks if t.when != "before_bed"], morning=[])
    old, new = by_uid(before), by_uid(after)

    assert old.keys() == new.keys()
    cancelled = [uid for uid, event in new.items() if event["status"] == "CANCELLED"]
    assert [str(old[uid]["summary"]).split(":")[0] for uid in cancelled] == ["Before bed", "In the morning"]
    for uid in cancelled:
        assert (new[uid].start, new[uid].end) == (old[uid].start, old[uid].end)
        assert new[uid]["sequence"] > old[uid]["sequence"]
        assert not new[uid].walk("VALARM")
    assert all(new[uid]["status"] == "CONFIRMED" for uid in new.keys() - set(cancelled))


def test_a_calendar_that_missed_a_plan_still_learns_what_was_dropped_and_what_came_back():
    first = sample_plan()
    second = replanned(first, tasks=[])
    third = replanned(second, tasks=[])
    fourth = replanned(third)

    assert {w.when for w in third.withdrawn} == {w.when for w in second.withdrawn} >= {"before_dusk", "before_bed"}
    assert [w.when for w in fourth.withdrawn] == []
    assert all(event["status"] == "CONFIRMED" for event in events(fourth))
    sequences = [next(e["sequence"] for u, e in by_uid(p).items() if "before_bed" in u) for p in (first, third, fourth)]
    assert sequences == sorted(set(sequences))


def test_what_is_over_is_not_cancelled_and_a_first_plan_cancels_nothing():
    before = sample_plan()
    late = following(sample_plan(made=SUNSET + timedelta(hours=2), tasks=[]), Earlier(before))

    assert "before_dusk" not in {w.when for w in late.withdrawn}
    assert "before_bed" in {w.when for w in late.withdrawn}
    assert following(before, Earlier()).withdrawn == []


def test_a_plan_keeps_what_it_took_back_when_it_is_written_down():
    after = replanned(sample_plan(), tasks=[])

    assert EveningPlan.model_validate_json(after.model_dump_json()).withdrawn == after.withdrawn != []


def test_an_event_begins_no_later_than_its_first_task_must():
    start_by = SUNSET - timedelta(hours=4)
    watering = task(1, "Water", [], when="before_sun_leaves", deadline=SUNSET - timedelta(hours=1), start_by=start_by)

    (event,) = events(sample_plan(tasks=[watering], morning=[], made=SUNSET - timedelta(hours=6)))

    assert event.start == start_by


def test_a_calendar_that_subscribes_is_told_how_often_to_ask():
    calendar = Calendar.from_ical(calendar_of(sample_plan(), sample_yard()))

    assert calendar["refresh-interval"].dt == timedelta(minutes=30)
    assert calendar["method"] == "PUBLISH"


def test_nights_and_yards_do_not_share_events():
    mine = {event["uid"] for event in events()}
    next_night = {event["uid"] for event in events(sample_plan(night=sample_plan().night + timedelta(days=1)))}
    elsewhere = {event["uid"] for event in events(sample_plan().model_copy(update={"yard": "Another yard"}))}

    assert not mine & next_night
    assert not mine & elsewhere


def test_what_can_wait_begins_when_it_may():
    plan = sample_plan()
    later = task(1, "Bring Cacao back", ["pot-cacao"], when="when_mild", not_before=plan.sunrise)

    (event,) = [e for e in events(sample_plan(morning=[later])) if "mild" in str(e["summary"])]

    assert event.start == plan.sunrise


def test_what_is_planned_late_does_not_begin_before_it_was_planned():
    made = SUNSET - timedelta(minutes=10)

    sunset = events(sample_plan(made=made))[1]

    assert made - timedelta(minutes=5) <= sunset.start < sunset.end


def test_lines_are_folded_and_ended_as_the_standard_asks():
    # RFC 5545, section 3.1: lines end with CRLF and hold no more than 75 octets.
    lines = calendar_of(sample_plan(), sample_yard()).split(b"\r\n")

    assert lines[-1] == b""
    assert max(map(len, lines)) <= 75
    assert not any(b"\n" in line for line in lines)


def test_every_time_is_given_in_utc():
    for event in events():
        for moment in (event["dtstart"], event["dtend"], event["dtstamp"]):
            assert moment.dt.utcoffset() == timedelta(0)
        assert event["dtstamp"].dt == sample_plan().made.astimezone(UTC)


def test_a_calm_night_gives_an_empty_calendar():
    assert events(calm_plan()) == []
