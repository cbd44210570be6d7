"""The helper's sheet and the calendar as files, for who asks in a terminal."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fruitwall.errors import FruitwallError
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.service.evening_document import EveningPlan
    from fruitwall.yard.model import Yard

SUFFIXES = {"--sheet": (".html", ".htm"), "--ics": (".ics",)}
"""Endings that the files must have: they are overwritten with every new plan, and nothing else should be."""


@dataclass(frozen=True)
class Papers:
    """Files that were asked for; refused before any work is done if they cannot be meant.

    Raises
    ------
    FruitwallError
        If a file has another ending than what is written into it, or lies in no folder that exists.
    """

    sheet: Path | None
    ics: Path | None

    def __post_init__(self) -> None:
        for option, file in (("--sheet", self.sheet), ("--ics", self.ics)):
            if file is None:
                continue
            if file.suffix.lower() not in SUFFIXES[option]:
                raise FruitwallError(
                    say(
                        "{option}: expected a file that ends in {suffix}, got {file}",
                        option=option,
                        suffix=SUFFIXES[option][0],
                        file=file,
                    )
                )
            if not file.parent.is_dir():
                raise FruitwallError(say("{option}: there is no folder {folder}", option=option, folder=file.parent))

    def write(self, plan: EveningPlan, yard: Yard) -> list[str]:
        """Write what was asked for, over what an earlier plan left there; gives what to tell.

        Raises
        ------
        FruitwallError
            If a file cannot be written.
        """
        told = []
        if self.sheet is not None:
            _write(self.sheet, _sheet(plan, yard))
            told.append(f"Wrote the helper's sheet to {self.sheet}: open it in a browser and print it.")
        if self.ics is not None:
            from fruitwall.service.calendar import calendar_of

            _write(self.ics, calendar_of(plan, yard))
            told.append(f"Wrote the deadlines to {self.ics}: open it with your calendar.")
        return told


def _sheet(plan: EveningPlan, yard: Yard) -> bytes:
    """Lay out the sheet with its style in it."""
    from fruitwall.web.assets import Assets
    from fruitwall.web.pages import HERE, Pages
    from fruitwall.web.sheet.page import sheet_file

    return sheet_file(plan, yard, Pages(Assets([])).templates, HERE).encode()


def _write(file: Path, content: bytes) -> None:
    """Write a file, or say why not."""
    try:
        file.write_bytes(content)
    except OSError as error:
        raise FruitwallError(say("cannot write {file}: {reason}", file=file, reason=error.strerror)) from error
