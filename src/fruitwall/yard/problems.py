"""One thing that is wrong, or doubtful, in a yard, and where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fruitwall.speech import say

Location = tuple[str | int, ...]
"""Way through the file: names of fields and numbers in lists, counted from 0."""

Severity = Literal["error", "warning"]


def path_text(loc: Location) -> str:
    """Give a way through the file as text.

    Examples
    --------
    >>> path_text(("trees", 3, "height"))
    'trees[3].height'
    """
    text = ""
    for step in loc:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


@dataclass(frozen=True)
class Problem:
    """What is wrong at one place of a yard.

    Attributes
    ----------
    severity : {"error", "warning"}
        An error means that the yard cannot be used; a warning that somebody should look.
    loc : tuple
        The place; empty for the whole file.
    message : str
        In plain words, with what is right.
    line : int or None
        Line of the file, counted from 1; None if the yard did not come from a file.
    """

    severity: Severity
    loc: Location
    message: str
    line: int | None = None

    @property
    def path(self) -> str:
        """The place as text: ``trees[3].height``."""
        return path_text(self.loc)

    def text(self, name: str) -> str:
        """Give the whole message: file, line, place, what is wrong."""
        where = name if self.line is None else say("{file} line {line}", file=name, line=self.line)
        return f"{where}, {self.path}: {self.message}" if self.loc else f"{where}: {self.message}"
