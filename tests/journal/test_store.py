"""What goes into the journal comes out again, and nothing that was stored is lost."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, exc, text, update

from fruitwall.errors import JournalError
from fruitwall.journal.entries import PlanMark
from fruitwall.journal.opening import open_journal
from fruitwall.journal.store import Journal, YardMoved
from fruitwall.journal.tables import forecasts, plans, yard_versions

NIGHT = date(2026, 12, 22)
DAMP_LINE_ENDS = "# a comment\r\nname: Hügel\n\n  trees: []\t\r"


def store_yard(journal: Journal, now: datetime, content: str = "name: hill\n", name: str = "hill"):
    return journal.store_yard(content, name=name, now=now, author="Ana")


def store_forecast(journal: Journal, now: datetime, body: bytes = b'{"t": -3}', **options):
    return journal.store_forecast(
        body, source="service", issued=now, fetched=now, media_type="application/json", **options
    )


# ---------------------------------------------------------------- yards


def test_a_yard_comes_back_character_for_character(journal, now):
    store_yard(journal, now, DAMP_LINE_ENDS)

    assert journal.current_yard().text == DAMP_LINE_ENDS


@given(content=st.text(alphabet=st.characters(exclude_categories=["Cs"], exclude_characters="\0")))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
def test_any_text_comes_back_as_it_was(journal, now, content):
    stored = store_yard(journal, now, content, name="any")

    assert stored.text == content
    assert journal.current_yard("any") == stored


def test_a_yard_survives_closing_and_opening(place, now):
    with open_journal(place) as journal:
        stored = store_yard(journal, now)

    with open_journal(place) as journal:
        assert journal.current_yard() == stored


def test_every_version_is_kept_and_numbered(journal, now, later):
    store_yard(journal, now, "one")
    store_yard(journal, later, "two")
    store_yard(journal, later, "one")

    assert [(version.number, version.text) for version in journal.history()] == [(1, "one"), (2, "two"), (3, "one")]


def test_versions_are_found_by_number_and_told_without_their_texts(journal, now, later):
    store_yard(journal, now)
    store_yard(journal, later, "name: hill\nb: 1\n")
    back = journal.store_yard("name: hill\n", name="hill", now=later, author="Ben", restores=1, after=2)

    assert back.number == 3
    found = journal.yard_version(2)
    assert found is not None
    assert found.text == "name: hill\nb: 1\n"
    assert journal.yard_version(4) is None
    steps = journal.yard_steps()
    assert [(one.number, one.restores, one.author) for one in steps] == [
        (1, None, "Ana"),
        (2, None, "Ana"),
        (3, 1, "Ben"),
    ]
    assert [one.created for one in steps] == [now, later, later]


def test_a_version_made_from_one_that_is_no_longer_the_newest_is_not_stored(journal, now, later):
    store_yard(journal, now)
    store_yard(journal, later, "name: hill\nb: 1\n")

    with pytest.raises(YardMoved, match="changed meanwhile"):
        journal.store_yard("name: hill\nb: 2\n", name="hill", now=later, author="Ben", after=1)
    with pytest.raises(YardMoved):
        journal.store_yard("name: new\n", name="new", now=later, author="Ben", after=1)
    assert [one.number for one in journal.yard_steps("hill")] == [1, 2]
    assert [one.name for one in journal.yards()] == ["hill"]


def test_the_same_text_again_makes_no_version(journal, now, later):
    first = store_yard(journal, now)

    assert store_yard(journal, later) == first
    assert len(journal.history()) == 1


def test_yards_are_listed_with_their_first_and_last_change(journal, now, later):
    store_yard(journal, now, "a", name="orchard")
    store_yard(journal, later, "b", name="orchard")
    store_yard(journal, now, "c", name="balcony")

    summaries = [(each.name, each.created, each.changed, each.versions) for each in journal.yards()]
    assert summaries == [("balcony", now, now, 1), ("orchard", now, later, 2)]


def test_histories_of_two_yards_do_not_mix(journal, now):
    store_yard(journal, now, "a", name="orchard")
    store_yard(journal, now, "b", name="balcony")

    assert [version.text for version in journal.history("orchard")] == ["a"]
    assert journal.current_yard("balcony").number == 1


def test_an_empty_journal_says_how_to_store_a_yard(journal):
    assert journal.yards() == []
    with pytest.raises(JournalError, match=re.escape(journal.place) + " holds no yard yet.*fruitwall yard import FILE"):
        journal.current_yard()


def test_several_yards_want_a_name(journal, now):
    store_yard(journal, now, name="orchard")
    store_yard(journal, now, name="balcony")

    with pytest.raises(JournalError, match='holds several yards: "balcony", "orchard"; choose one with --yard NAME'):
        journal.current_yard()


def test_an_unknown_yard_is_answered_with_the_known_ones(journal, now):
    store_yard(journal, now, name="orchard")

    with pytest.raises(JournalError, match='no yard named "orchid"; it has "orchard"'):
        journal.history("orchid")


def test_the_database_itself_refuses_to_change_or_remove_a_version(journal, now):
    store_yard(journal, now, "one")

    for statement in (update(yard_versions).values(text="two"), delete(yard_versions)):
        with pytest.raises(exc.DBAPIError, match="never changed"), journal.engine.begin() as connection:
            connection.execute(statement)
    assert journal.current_yard().text == "one"


def test_times_come_back_in_utc_whatever_zone_they_came_in(journal, now):
    pacific = now.astimezone(timezone(timedelta(hours=-8)))

    created = store_yard(journal, pacific).created

    assert created == now
    assert created.tzinfo is UTC


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"now": datetime(2026, 12, 22, 14)}, "now must carry its time zone, got 2026-12-22T14:00:00 without one"),
        ({"name": ""}, "name must be 1 to 200 characters, got 0"),
        ({"author": "x" * 201}, "author must be 1 to 200 characters, got 201"),
        ({"text": "tree\0s"}, "text must hold no NUL character, got one at position 4"),
        ({"text": "half \ud800"}, "text must be text that UTF-8 can hold"),
    ],
)
def test_an_impossible_argument_is_named_and_nothing_is_stored(journal, now, change, message):
    arguments = {"text": "name: hill", "name": "hill", "now": now, "author": "Ana"} | change

    with pytest.raises(ValueError, match=message):
        journal.store_yard(**arguments)
    assert journal.yards() == []


# ---------------------------------------------------------------- forecasts


@given(body=st.binary(max_size=2000))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
def test_any_answer_of_a_source_comes_back_byte_for_byte(journal, now, body):
    store_yard(journal, now)

    stored = store_forecast(journal, now, body)

    assert journal.forecast(stored.id) == stored
    assert stored.body == body


def test_the_same_answer_again_is_stored_once(journal, now, later):
    store_yard(journal, now)
    first = store_forecast(journal, now)

    assert store_forecast(journal, later) == first


def test_the_latest_forecast_is_the_one_fetched_last_even_if_it_was_there_before(journal, now, later):
    store_yard(journal, now)
    assert journal.latest_forecast() is None
    store_forecast(journal, now, b"this")
    store_forecast(journal, later, b"that")

    again = store_forecast(journal, later + timedelta(hours=1), b"this")

    assert journal.latest_forecast("hill") == again
    assert again.body == b"this"


def test_a_forecast_wants_its_yard(journal, now):
    store_yard(journal, now)

    with pytest.raises(JournalError, match='no yard named "hole"'):
        store_forecast(journal, now, yard="hole")


def test_an_unknown_forecast_number_is_named(journal):
    with pytest.raises(JournalError, match="holds no forecast number 7"):
        journal.forecast(7)


# ---------------------------------------------------------------- plans


def test_the_latest_plan_of_a_night_is_the_one_made_last(journal, now, later):
    version = store_yard(journal, now)
    forecast = store_forecast(journal, now)
    journal.store_plan(NIGHT, '{"plan": 2}', version=version, made=later, forecast=forecast.id)
    journal.store_plan(NIGHT, '{"plan": 1}', version=version, made=now)
    journal.store_plan(NIGHT + timedelta(days=1), '{"plan": 3}', version=version, made=later)

    latest = journal.latest_plan(NIGHT)

    assert latest is not None
    assert json.loads(latest.document) == {"plan": 2}
    assert (latest.yard, latest.yard_version, latest.forecast, latest.made) == ("hill", version.id, forecast.id, later)


def test_of_plans_made_at_the_same_moment_the_one_stored_last_counts(journal, now):
    version = store_yard(journal, now)
    journal.store_plan(NIGHT, "1", version=version, made=now)
    journal.store_plan(NIGHT, "2", version=version, made=now)

    assert journal.latest_plan(NIGHT).document == "2"


def test_the_plan_before_a_night_is_the_last_one_of_the_latest_night_before(journal, now, later):
    version = store_yard(journal, now)
    journal.store_plan(NIGHT - timedelta(days=3), "1", version=version, made=later)
    journal.store_plan(NIGHT - timedelta(days=2), "3", version=version, made=later)
    journal.store_plan(NIGHT - timedelta(days=2), "2", version=version, made=now)
    journal.store_plan(NIGHT, "4", version=version, made=later)

    assert journal.plan_before(NIGHT).document == "3"
    assert journal.plan_before(NIGHT - timedelta(days=3)) is None


def test_a_plan_is_named_without_reading_its_document(journal, now, later):
    version = store_yard(journal, now)
    stored = [
        journal.store_plan(NIGHT + timedelta(days=day), f"[{number}]", version=version, made=made)
        for number, (day, made) in enumerate([(-3, later), (-2, later), (-2, now), (0, now), (0, now), (1, now)])
    ]

    latest, before = journal.plan_marks(NIGHT)
    assert (latest, before) == (
        PlanMark(stored[4].id, NIGHT, stored[4].sha256),
        PlanMark(stored[1].id, NIGHT - timedelta(days=2), stored[1].sha256),
    )
    assert journal.plan(latest.id) == journal.latest_plan(NIGHT)
    assert journal.plan_marks(NIGHT - timedelta(days=3))[1] is None
    with pytest.raises(JournalError, match="no plan number 7"):
        journal.plan(7)


def test_a_night_without_plan_gives_none(journal, now):
    store_yard(journal, now)

    assert journal.latest_plan(NIGHT) is None
    assert journal.plan_marks(NIGHT) == (None, None)


def test_a_plan_keeps_pointing_to_the_yard_it_was_made_for(journal, now, later):
    version = store_yard(journal, now, "one")
    store_yard(journal, later, "two")

    journal.store_plan(NIGHT, "{}", version=version, made=later)

    assert journal.latest_plan(NIGHT).yard_version == version.id


def test_a_plan_is_refused_without_its_yard_its_forecast_or_json(journal, tmp_path, now):
    version = store_yard(journal, now)
    with open_journal(tmp_path / "other.db") as other:
        stranger = store_yard(other, now, "another yard")

    with pytest.raises(JournalError, match='has no version 1 of the yard "hill"'):
        journal.store_plan(NIGHT, "{}", version=stranger, made=now)
    with pytest.raises(JournalError, match="no forecast number 3"):
        journal.store_plan(NIGHT, "{}", version=version, made=now, forecast=3)
    with pytest.raises(ValueError, match="document must be JSON"):
        journal.store_plan(NIGHT, "{'a': 1}", version=version, made=now)
    assert journal.latest_plan(NIGHT) is None


# ---------------------------------------------------------------- content that changed on the disk


def test_content_that_is_no_longer_what_was_stored_is_not_given_out(journal, now):
    version = store_yard(journal, now)
    forecast = store_forecast(journal, now)
    journal.store_plan(NIGHT, "{}", version=version, made=now)
    with journal.engine.begin() as connection:
        sqlite = connection.dialect.name == "sqlite"
        connection.execute(
            text(f"DROP TRIGGER {'yard_versions_no_update' if sqlite else 'yard_versions_keep ON yard_versions'}")
        )
        connection.execute(update(yard_versions).values(text="name: hell\n"))
        connection.execute(update(forecasts).values(body_zlib=b"not zlib"))
        connection.execute(update(plans).values(document="[]"))

    with pytest.raises(JournalError, match='version 1 of "hill" is no longer what was stored; restore a backup'):
        journal.current_yard()
    with pytest.raises(JournalError, match="forecast 1 is no longer what was stored"):
        journal.forecast(forecast.id)
    with pytest.raises(JournalError, match="plan 1 is no longer what was stored"):
        journal.latest_plan(NIGHT)


def test_a_closed_journal_leaves_one_file(file: Path, now):
    with open_journal(file) as journal:
        store_yard(journal, now)

    assert [path.name for path in file.parent.iterdir()] == ["yard.db"]
