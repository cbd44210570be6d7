"""Long work: kept part by part, stopped, resumed, and never done twice."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import update

from fruitwall.errors import JournalError
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.journal.tables import worked
from fruitwall.service.house import House
from fruitwall.service.work import Progress, Stopped, WorkPart, kept_or_made, share_kept, telling, work
from fruitwall.speech import quantity, say_again, speaking, told

NOW = datetime(2026, 12, 22, 22, tzinfo=UTC)


class Maker:
    """Makes parts, counts what is made, and lets a clock go on by the weight of each."""

    def __init__(self, *weights: float) -> None:
        self.weights = weights
        self.made: list[int] = []
        self.at_s = 0.0

    def parts(self) -> list[WorkPart]:
        def part(number: int, weight: float) -> WorkPart:
            def make() -> dict[str, object]:
                self.made.append(number)
                self.at_s += 10.0 * weight
                drawn = np.random.default_rng(number).normal(size=(2, 3)).astype(np.float32)
                return {"number": number, "drawn": drawn, "pair": (1, np.float64(0.1)), "none": None}

            return WorkPart(f"test/1/{number}", weight, f"part {number}", make)

        return [part(number, weight) for number, weight in enumerate(self.weights)]

    def ticks(self) -> float:
        return self.at_s


def as_bytes(found: list[object]) -> list[object]:
    def plain(one: object) -> object:
        if isinstance(one, np.ndarray):
            return one.dtype.str, one.shape, one.tobytes()
        if isinstance(one, dict):
            return {key: plain(each) for key, each in one.items()}
        return [plain(each) for each in one] if isinstance(one, list) else one

    return [plain(one) for one in found]


@pytest.fixture
def house(database: str, tmp_path: Path):
    with open_journal(database) as journal:
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


@pytest.fixture
def other(filled_file: Path, tmp_path: Path):
    """Another household, which has kept nothing."""
    copy = tmp_path / "other.db"
    copy.write_bytes(filled_file.read_bytes())
    with open_journal(copy) as journal:
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


def test_stopped_and_resumed_gives_the_same_as_in_one_go_and_nothing_is_done_twice(house, other):
    maker, whole = Maker(1, 1, 1, 1), Maker(1, 1, 1, 1)
    with pytest.raises(Stopped):
        work(house, maker.parts(), stop=lambda: len(maker.made) == 2)
    assert maker.made == [0, 1]
    assert share_kept(house, maker.parts()) == 0.5

    resumed = work(house, maker.parts())

    assert maker.made == [0, 1, 2, 3]
    assert as_bytes(resumed) == as_bytes(work(other, whole.parts()))
    assert as_bytes(resumed) == as_bytes(work(house, maker.parts()))
    assert maker.made == [0, 1, 2, 3]
    assert resumed[2]["drawn"].dtype == np.float32
    assert resumed[2]["pair"] == [1, 0.1]


def test_what_is_kept_is_given_even_when_it_is_to_stop(house):
    maker = Maker(1, 1)
    work(house, maker.parts())

    assert len(work(house, maker.parts(), stop=lambda: True)) == 2


def test_a_part_that_fails_is_not_kept_and_those_before_are(house):
    maker = Maker(1, 1)
    first, second = maker.parts()

    def fail() -> None:
        raise JournalError("no")

    with pytest.raises(JournalError):
        work(house, [first, WorkPart(second.key, 1, "fails", fail)])
    work(house, [first, second])

    assert maker.made == [0, 1]


def test_what_is_left_is_told_from_how_long_the_parts_took(house):
    maker, heard = Maker(1, 3, 2), []

    work(house, maker.parts(), heard=heard.append, ticks=maker.ticks)

    assert heard == [
        Progress(0.0, None, "part 0"),
        Progress(1 / 6, pytest.approx(50.0), "part 1"),
        Progress(4 / 6, pytest.approx(20.0), "part 2"),
        Progress(1.0, 0.0, "part 2"),
    ]


def test_what_is_kept_already_takes_no_time(house):
    maker, heard = Maker(1, 1, 1, 1), []
    work(house, maker.parts()[2:])

    work(house, maker.parts(), heard=heard.append, ticks=maker.ticks)

    assert [(one.share, one.left_s) for one in heard] == [(0.0, None), (0.25, pytest.approx(10.0)), (1.0, 0.0)]


def test_what_somebody_else_did_meanwhile_is_taken(house):
    maker, elsewhere = Maker(1, 1), Maker(1, 1)
    first, second = maker.parts()

    def while_they_go_on() -> object:
        work(house, elsewhere.parts()[1:])
        return first.make()

    found = work(house, [WorkPart(first.key, 1, "", while_they_go_on), second])

    assert maker.made == [0]
    assert elsewhere.made == [1]
    assert [one["number"] for one in found] == [0, 1]


@pytest.mark.parametrize("body", [b"", b"nothing", b"x\x9c\x03\x00\x00\x00\x00\x01"])
def test_what_cannot_be_read_any_more_is_done_again(house, body):
    maker = Maker(1)
    work(house, maker.parts())
    with house.journal.writing() as connection:
        connection.execute(update(worked).values(body_zlib=body))

    assert work(house, maker.parts())[0]["number"] == 0
    assert maker.made == [0, 0]
    work(house, maker.parts())
    assert maker.made == [0, 0]


@pytest.mark.parametrize(
    "given", [object(), {1: 2}, {"#mine": "a0"}, np.array([None])], ids=["object", "number", "mark", "objects"]
)
def test_what_cannot_be_kept_is_a_defect_and_is_told(house, given):
    with pytest.raises(ValueError, match="a part of work gave"):
        work(house, [WorkPart("test", 1, "", lambda: given)])


@pytest.mark.parametrize(
    "given",
    [None, 3, 1.5, float("inf"), "ñ", [], {}, [{"a": [True, None]}], np.array(["1990-01-02"], "datetime64[D]")],
    ids=repr,
)
def test_what_a_part_gives_comes_back_the_same(house, given):
    part = WorkPart("test", 1, "", lambda: given)

    for _ in range(2):
        (found,) = work(house, [part])
        assert type(found) is type(given)
        assert np.array_equal(found, given) if isinstance(given, np.ndarray) else found == given


def test_no_parts_are_no_work(house):
    assert work(house, []) == []
    assert share_kept(house, []) == 1.0


def test_a_locked_database_is_told_and_what_was_kept_stays(tmp_path, filled_file):
    place = tmp_path / "house.db"
    place.write_bytes(filled_file.read_bytes())
    maker = Maker(1, 1)
    with open_journal(place, wait_s=0.05) as journal, open_journal(place) as another:
        house = House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))
        work(house, maker.parts()[:1])
        with another.writing() as connection:
            connection.execute(update(worked).values(made_utc=NOW))
            with pytest.raises(JournalError, match="in use by another program"):
                work(house, maker.parts())
        work(house, maker.parts())

    assert maker.made == [0, 1, 1]


def test_a_full_disk_is_told_and_what_was_kept_stays(tmp_path, filled_file):
    place = tmp_path / "house.db"
    place.write_bytes(filled_file.read_bytes())
    maker = Maker(1)
    with open_journal(place) as journal:
        house = House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))
        work(house, maker.parts())
        with journal.engine.connect() as connection:  # the pool gives the same connection to the next one who asks
            connection.exec_driver_sql("PRAGMA max_page_count = 1")
        large = WorkPart("large", 1, "", lambda: np.random.default_rng(1).normal(size=100_000))
        with pytest.raises(JournalError, match="no space is left"):
            work(house, [*maker.parts(), large])
        work(house, maker.parts())

    assert maker.made == [0]


def test_work_in_one_stretch_tells_its_share_with_the_time_left_and_can_be_stopped():
    heard, at_s, stopped = [], [0.0], [False]
    tell = telling(heard.append, lambda: stopped[0], "looking", begin=0.5, ticks=lambda: at_s[0])
    at_s[0] = 10.0
    tell(0.5)
    stopped[0] = True

    with pytest.raises(Stopped):
        tell(0.6)
    assert heard == [Progress(0.5, None, "looking"), Progress(0.75, pytest.approx(10.0), "looking")]


def test_a_single_part_is_made_once(house):
    made = []

    for _ in range(2):
        assert kept_or_made(house, "test", lambda: made.append(1) or {"a": 1}) == {"a": 1}
    assert made == [1]


def test_told_sentences_are_kept_and_said_in_another_language_later(house):
    sentence = told(
        "{warning} ({change})", warning=told("Less than a minute is left."), change=quantity(0.25, "K", ".1f")
    )
    part = WorkPart("test", 1, "", lambda: {"notes": [sentence]})

    for _ in range(2):
        (found,) = work(house, [part])
        assert found == {"notes": [sentence]}
    with speaking("es"):
        assert say_again(found["notes"][0]) == say_again(sentence)
        assert "Falta menos de un minuto." in say_again(found["notes"][0])
