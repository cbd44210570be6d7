"""A backup and its restoration from the terminal."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from fruitwall.cli import main
from fruitwall.journal.opening import open_journal
from fruitwall.yard.demo import demo_yard_text


def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: object) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["fruitwall", *map(str, words)])
    with pytest.raises(SystemExit) as left:
        main()
    printed = capsys.readouterr()
    return int(left.value.code or 0), printed.out, printed.err


def test_a_yard_goes_into_a_backup_and_comes_back_as_it_was(capsys, monkeypatch, tmp_path: Path, now):
    text = demo_yard_text()
    with open_journal(tmp_path / "old.db") as journal:
        journal.store_yard(text, name="Lizard Steps", now=now, author="test")

    saved = run(capsys, monkeypatch, "backup", tmp_path / "b.zip", "--database", tmp_path / "old.db")
    looked = run(capsys, monkeypatch, "restore", tmp_path / "b.zip", "--look")
    back = run(capsys, monkeypatch, "restore", tmp_path / "b.zip", "--database", tmp_path / "new.db")

    assert (saved[0], looked[0], back[0]) == (0, 0, 0)
    assert "1 yard, 0 entries" in saved[1]
    assert "is whole: 1 yard" in looked[1]
    with open_journal(tmp_path / "new.db") as journal:
        assert journal.current_yard().text == text


def test_a_file_that_is_no_backup_is_told_in_one_line(capsys, monkeypatch, tmp_path: Path):
    (tmp_path / "x.zip").write_text("hello")

    status, out, err = run(capsys, monkeypatch, "restore", tmp_path / "x.zip", "--database", tmp_path / "new.db")

    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert "is no backup" in err
