"""The page of the report, its downloads, and the command."""

from __future__ import annotations

import sys

import pytest

from fruitwall.cli import main
from fruitwall.journal.opening import open_journal
from fruitwall.service import season as season_in
from tests.service.past import house_with_past
from tests.web.markup import read_page

PAGE = "/season/report"


@pytest.fixture(autouse=True)
def cold_alone(monkeypatch):
    monkeypatch.setattr(season_in, "MAKERS", {"cold": "cold_season:cold_part"})


@pytest.fixture
def client(client_of, tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield client_of(house=house_with_past(journal, tmp_path))


def test_the_page_tells_every_tree_and_the_place_only_where_it_is_asked_for(client):
    page = read_page(client.get(PAGE).text)
    assert [one.one("h3").text for one in page.all("article")] == ["Mango", "Second mango", "Lime"]
    assert "Small yard" not in page.one("main").text
    assert "<style" not in client.get(PAGE).text
    whole = client.get(PAGE, params={"private": "true"}).text
    assert "Small yard, near 33.92° N" in whole
    assert "look before you share it" in whole
    assert f'href="{PAGE}.html?private=true"' in whole


def test_the_file_is_a_download(client):
    answer = client.get(f"{PAGE}.html")
    assert answer.headers["content-disposition"].startswith('attachment; filename="season-')
    assert "<style>" in answer.text
    assert "Small yard" not in answer.text


def test_without_the_typesetter_the_page_says_what_to_install(client, monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    answer = client.get(f"{PAGE}.pdf")
    assert answer.status_code == 501
    assert "fruitwall[report]" in answer.text


def test_the_command_writes_the_file_and_says_what_is_wrong(tmp_path, monkeypatch, capsys):
    with open_journal(tmp_path / "a.db") as journal:
        house_with_past(journal, tmp_path)

    def run(*arguments: str) -> int:
        command = ["fruitwall", "season", "report", "--database", str(tmp_path / "a.db"), "--now", "2026-12-28T12:00"]
        monkeypatch.setattr(sys, "argv", [*command, *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0)

    assert run("--html", str(tmp_path / "season.html")) == 0
    assert "Second mango" in (tmp_path / "season.html").read_text("utf-8")
    assert run() == 2
    assert "--html FILE" in capsys.readouterr().err
    assert run("--html", str(tmp_path / "no" / "season.html")) == 2
    assert "cannot be written" in capsys.readouterr().err
