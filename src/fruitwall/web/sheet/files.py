"""The helper's sheet and the calendar as files, for who asks in a terminal."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import FruitwallError
from fruitwall.service.household import Household
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

        Both are written in the language in force and in the units of the yard.

        Parameters
        ----------
        plan : EveningPlan
            As it was made.
        yard : Yard

        Returns
        -------
        list of str
            One line for each file.

        Raises
        ------
        FruitwallError
            If a file cannot be written.
        """
        from fruitwall.service.reader import plan_for_reader

        household = Household(yard.display, ZoneInfo(plan.time_zone))
        plan = plan_for_reader(plan, household, household)
        told = []
        if self.sheet is not None:
            _write(self.sheet, _sheet(plan, yard))
            told.append(say("Wrote the helper's sheet to {file}: open it in a browser and print it.", file=self.sheet))
        if self.ics is not None:
            from fruitwall.service.calendar import calendar_of

            _write(self.ics, calendar_of(plan, yard))
            told.append(say("Wrote the deadlines to {file}: open it with your calendar.", file=self.ics))
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
