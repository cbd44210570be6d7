"""A backup and its restoration from the terminal."""

from __future__ import annotations

import sys
import zipfile
from pathlib import Path

import pytest

from fruitwall.cli import main
from fruitwall.journal.entries import StoredPhoto
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
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


def test_a_restore_over_what_is_there_has_to_be_asked_for(capsys, monkeypatch, tmp_path: Path, now):
    for name in ("one", "two"):
        with open_journal(tmp_path / f"{name}.db") as journal:
            journal.store_yard(f"{name}: 1\n", name=name, now=now, author="test")
    run(capsys, monkeypatch, "backup", tmp_path / "one.zip", "--database", tmp_path / "one.db")

    refused = run(capsys, monkeypatch, "restore", tmp_path / "one.zip", "--database", tmp_path / "two.db")
    done = run(capsys, monkeypatch, "restore", tmp_path / "one.zip", "--database", tmp_path / "two.db", "--replace")

    assert (refused[0], done[0]) == (2, 0)
    assert "--replace" in refused[2]
    with open_journal(tmp_path / "two.db") as journal:
        assert [one.name for one in journal.yards()] == ["one"]
    (aside,) = tmp_path.glob("two.db.before-*")
    assert str(aside) in done[1]


def test_a_backup_says_that_the_keys_of_the_server_are_not_in_it(capsys, monkeypatch, tmp_path: Path, now):
    with open_journal(tmp_path / "a.db") as journal:
        journal.store_yard("a: 1\n", name="a", now=now, author="test")
    (tmp_path / "a.db.access").mkdir()
    (tmp_path / "a.db.access" / "authority.key").write_text("secret")

    out = run(capsys, monkeypatch, "backup", tmp_path / "b.zip", "--database", tmp_path / "a.db")[1]

    assert "DATABASE.access" in out
    with zipfile.ZipFile(tmp_path / "b.zip") as archive:
        assert [name for name in archive.namelist() if "access" in name or "key" in Path(name).suffix] == []


def test_a_check_finds_a_photo_that_is_gone(capsys, monkeypatch, tmp_path: Path, now):
    photos = PhotoFolder(tmp_path / "a.db.photos")
    with open_journal(tmp_path / "a.db") as journal:
        journal.store_yard("a: 1\n", name="a", now=now, author="test")
        digest = photos.store(b"picture")
        Ledger(journal).add_photo(StoredPhoto(digest, 9, 9, 7, None, now))
    whole = run(capsys, monkeypatch, "check", "--database", tmp_path / "a.db")
    photos.path(digest).unlink()
    lost = run(capsys, monkeypatch, "check", "--database", tmp_path / "a.db")

    assert whole[0] == 0
    assert "is whole: 1 photo, 0 missing" in whole[1]
    assert lost[0] == 2
    assert digest in lost[2]
