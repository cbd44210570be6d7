"""``fruitwall winters``: what it tells, and that long work survives Ctrl-C, being killed, and company."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fruitwall.cli import app
from fruitwall.cli.winters import HELPS, SHOWN, on_terminal
from fruitwall.service import winters as asked
from fruitwall.service.winters import PARTS
from fruitwall.service.winters_weather import AS_THEY_WERE
from fruitwall.service.work import Progress, Stopped
from tests.service.many_winters import winters_file

__all__ = ["winters_file"]

NOW = "2026-12-28T14:30"

MADE_UP = """
import os, sys, time, types
from pathlib import Path
from fruitwall.service import winters
from fruitwall.service.winters_document import WintersTrend
from fruitwall.service.work import WorkPart, work
from fruitwall.speech import told

NOTED, HANGS_AT, TAKES_S = Path(sys.argv.pop(1)), int(sys.argv.pop(1)), float(sys.argv.pop(1))

def document(house, choice, *, heard):
    def make(number):
        with NOTED.open("a") as file:
            print(number, file=file)
        time.sleep(600 if number == HANGS_AT else TAKES_S)
        return number / 7
    parts = [WorkPart(f"made up {number}", 1, "", lambda number=number: make(number)) for number in range(6)]
    found = work(house, parts, heard=lambda one: heard(one.share))
    return WintersTrend(per_decade_k=sum(found), chance=found[5], sure=True)

module = types.ModuleType("fruitwall.service.made_up")
module.document, module.verdict = document, lambda _: told("{count} year", count=1)
module.mark = lambda *_: "made up"
sys.modules["fruitwall.service.made_up"] = module
winters.winter_weather = lambda *_: None
winters.PARTS = (winters.PartOf("years", "Years", "", "made_up:document", "made_up:mark", "made_up:verdict"),)
from fruitwall.cli import main
main()
"""
"""The command with one part made up of six pieces of work; it notes each that it does."""


@pytest.fixture
def database(winters_file: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(winters_file, tmp_path / "house.db"))


def run(*words: str, database: Path) -> Any:
    command = ["winters", *words, "--database", str(database), "--now", NOW]
    return CliRunner().invoke(app, command, catch_exceptions=False)


def made_up(noted: Path, database: Path, *, hangs_at: int = -1, takes_s: float = 0.0) -> list[str]:
    """Give the command line of the made-up part."""
    told = ["winters", "years", "--json", "--database", str(database), "--now", NOW]
    return [sys.executable, "-c", MADE_UP, str(noted), str(hangs_at), str(takes_s), *told]


# ------------------------------------------------------------ what it tells


def test_the_overview_in_words_and_as_a_document(database):
    told = " ".join(run(database=database).output.split())
    document = json.loads(run("--json", database=database).output)

    assert "12 real winters are known, 2010/11 to 2021/22" in told
    assert all(f"fruitwall winters {part.key}" in told for part in PARTS)
    assert document["winters"][0]["name"] == "2010/11"
    assert [one["key"] for one in document["parts"]] == [one.key for one in PARTS]


def test_every_part_has_its_command():
    assert [part.key for part in PARTS] == list(HELPS) == list(SHOWN)


def test_how_the_winters_are_taken_may_stand_before_or_after_the_part(database, monkeypatch):
    choices = []

    def part_document(_house, _key, choice, **_told):
        choices.append(choice)

    monkeypatch.setattr(asked, "part_document", part_document)
    before = ["winters", "--warmer", "1.5", "--winters", "5", "--database", str(database), "--now", NOW, "years"]
    after = [*before[:1], "years", "--weighting", "recent", "--trend-out", "--database", str(database), "--now", NOW]
    for words in (before, after):
        CliRunner().invoke(app, words)

    assert [(one.warmer_k, one.weighting, one.trend_taken_out, one.most) for one in choices] == [
        (1.5, "equal", False, 5),
        (0.0, "recent", True, AS_THEY_WERE.most),
    ]


def test_a_weighting_that_is_not_known_is_refused(database):
    done = CliRunner().invoke(app, ["winters", "--weighting", "some", "--database", str(database), "--now", NOW])

    assert str(done.exception) == '--weighting: expected equal or recent, got "some"'


def test_without_winters_it_says_how_to_get_some(filled_file, tmp_path):
    from fruitwall.journal.opening import open_journal
    from tests.service.past import house_with_past

    place = Path(shutil.copy(filled_file, tmp_path / "bare.db"))
    with open_journal(place) as journal:
        house_with_past(journal, tmp_path / "photos")

    assert "fruitwall climate fetch" in run(database=place).output
    refused = CliRunner().invoke(app, ["winters", "years", "--database", str(place), "--now", NOW])
    assert "fruitwall climate add FILE" in str(refused.exception)


# ------------------------------------------------------------ stopped, killed, and two at once


def test_ctrl_c_stops_after_the_part_and_says_how_to_go_on(capsys):
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(SystemExit) as left:  # noqa: PT012
        try:
            with on_terminal() as (heard, stop):
                heard(Progress(0.41, 10.0, "Years"))
                assert not stop()
                signal.raise_signal(signal.SIGINT)
                assert stop()
                raise Stopped
        except BaseException as error:
            raise SystemExit(getattr(error, "exit_code", 1)) from error

    assert left.value.code == 130
    assert "Stopped at 41 %. What is done is kept: the same command goes on from there." in capsys.readouterr().err
    assert signal.getsignal(signal.SIGINT) is before  # a program that runs behind a terminal has it ignored


def test_ctrl_c_twice_ends_it_at_once():
    with pytest.raises(KeyboardInterrupt), on_terminal():  # noqa: PT012
        signal.raise_signal(signal.SIGINT)
        signal.raise_signal(signal.SIGINT)


def test_killed_in_the_middle_it_goes_on_where_it_was_and_does_nothing_twice(database, tmp_path):
    noted = tmp_path / "noted"
    with subprocess.Popen(made_up(noted, database, hangs_at=3), stdout=subprocess.PIPE, text=True) as killed:
        while not noted.exists() or noted.read_text().splitlines()[-1:] != ["3"]:
            assert killed.poll() is None
            time.sleep(0.02)
        os.kill(killed.pid, signal.SIGKILL)

    resumed = subprocess.run(made_up(noted, database), capture_output=True, text=True, check=True)

    assert killed.returncode == -signal.SIGKILL
    assert noted.read_text().split() == ["0", "1", "2", "3", "3", "4", "5"]
    in_one_go = [number / 7 for number in range(6)]
    assert json.loads(resumed.stdout) == {"per_decade_k": sum(in_one_go), "chance": in_one_go[5], "sure": True}


def test_two_at_once_on_one_database_give_the_same_and_disturb_nobody(database, tmp_path):
    notes = [tmp_path / "one", tmp_path / "two"]
    both = [
        subprocess.Popen(
            made_up(noted, database, takes_s=0.05), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for noted in notes
    ]
    told = [process.communicate(timeout=60) for process in both]

    assert [process.returncode for process in both] == [0, 0], told
    assert told[0][0] == told[1][0]
    done = [set(noted.read_text().split()) if noted.exists() else set() for noted in notes]
    assert done[0] | done[1] == set("012345")
