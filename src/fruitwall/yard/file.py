"""The yard file: reading it with all its problems told at once, and writing it without loss.

The format is described in ``docs/yard-file.md`` and by `yard.schema`.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fruitwall.errors import YardFileError
from fruitwall.speech import say
from fruitwall.yard.checks import check_yard
from fruitwall.yard.complaints import problems_of
from fruitwall.yard.model import Yard
from fruitwall.yard.problems import Problem
from fruitwall.yard.units import show_input
from fruitwall.yard.yaml_text import BrokenYaml, PlainDocument, glued_hint, plain_document

FORMAT_VERSION = 1

MAX_BYTES = 500_000
"""Largest file that is read: more than a thousand trees, and still seconds for YAML read in Python."""

MAX_PROBLEMS = 100
"""So many problems are told; more help nobody."""


@dataclass(frozen=True)
class ExaminedYard:
    """What reading a yard file gave.

    Attributes
    ----------
    yard : Yard or None
        None if there is an error.
    problems : tuple of Problem
        Errors and warnings with their lines, in the order of the file.
    name : str
        Of the file, for messages.
    """

    yard: Yard | None
    problems: tuple[Problem, ...]
    name: str

    @property
    def errors(self) -> list[str]:
        """Messages of all errors."""
        return [p.text(self.name) for p in self.problems if p.severity == "error"]

    @property
    def warnings(self) -> list[str]:
        """Messages of all warnings."""
        return [p.text(self.name) for p in self.problems if p.severity == "warning"]


def examine_yard(
    text: str,
    name: str = "yard.yaml",
    *,
    today: date | None = None,
    also: Callable[[Yard], list[Problem]] = lambda _: [],
) -> ExaminedYard:
    """Read the text of a yard file and tell all that is wrong or doubtful in it.

    Parameters
    ----------
    text : str
        At most `MAX_BYTES` long.
    name : str
        Name of the file, for messages.
    today : date, optional
        For what depends on it (a planting day in the future); left out, this is not checked.
    also : callable
        A further check of a yard whose form is right, by a layer that knows more (whether a kind is in the
        catalogue); what it finds gets its line like everything else.

    Returns
    -------
    ExaminedYard
        Never raises for what stands in the text.
    """
    problems, document = _read_document(text)
    yard = None
    if not problems:
        try:
            yard = Yard.model_validate(document.data, by_alias=True, by_name=False)
            problems = [*check_yard(yard, today=today), *also(yard)]
        except ValidationError as error:
            problems = problems_of(error, document.data)
    located = [p if p.line is not None else replace(p, line=document.line(p.loc)) for p in problems]
    located.sort(key=lambda p: (p.line or 0, p.loc == ()))
    failed = any(p.severity == "error" for p in located)
    return ExaminedYard(None if failed else yard, tuple(located), name)


def _read_document(text: str) -> tuple[list[Problem], PlainDocument]:
    """Take the text apart; problems here mean that looking at the fields is of no use."""
    document = PlainDocument()
    if len(text) > MAX_BYTES:
        return [
            Problem(
                "error",
                (),
                say("too large: {count} characters, at most {most} are read", count=len(text), most=MAX_BYTES),
            )
        ], document
    try:
        document = plain_document(text)
    except BrokenYaml as problem:
        return [Problem("error", (), str(problem), problem.line)], document
    start = say('a yard file begins with "fruitwall: 1"')
    if document.data is None and not document.problems:
        return [Problem("error", (), say("is empty; {start}", start=start))], document
    if document.problems:
        return document.problems, document
    if not isinstance(document.data, dict):
        given, hint = show_input(document.data), glued_hint(document.data)
        return [
            Problem(
                "error",
                (),
                say("does not look like a yard file; {start}, got {given}{hint}", start=start, given=given, hint=hint),
            )
        ], document
    version = document.data.get("fruitwall")
    if version is None:
        return [
            Problem("error", (), say("does not say which version of the format it has; {start}", start=start))
        ], document
    if type(version) is not int or version != FORMAT_VERSION:
        message = say(
            "this program reads version {known} of the yard file, got {version}",
            known=FORMAT_VERSION,
            version=show_input(version),
        )
        return [Problem("error", ("fruitwall",), message)], document
    return [], document


def parse_yard(text: str, name: str = "yard.yaml", *, today: date | None = None) -> Yard:
    """Give the yard that a text describes.

    Parameters
    ----------
    text, name, today
        As for `examine_yard`.

    Returns
    -------
    Yard
        In SI.

    Raises
    ------
    YardFileError
        With all problems: file, line, place, what is wrong, what is right.
    """
    examined = examine_yard(text, name, today=today)
    if examined.yard is None:
        errors = examined.errors
        more = (
            [say("{name}: and {count} more", name=name, count=len(errors) - MAX_PROBLEMS)]
            if len(errors) > MAX_PROBLEMS
            else []
        )
        raise YardFileError(errors[:MAX_PROBLEMS] + more)
    return examined.yard


def read_yard_text(path: str | os.PathLike[str]) -> str:
    """Give the text of a yard file.

    Parameters
    ----------
    path : str or path
        The file, in UTF-8.

    Returns
    -------
    str
        The text, its line ends as they are, without a byte order mark.

    Raises
    ------
    YardFileError
        If there is no such file, it cannot be opened, is too large or is not text.
    """
    path = Path(path)
    try:
        with path.open("rb") as stream:
            content = stream.read(MAX_BYTES + 1)
    except FileNotFoundError as problem:
        raise YardFileError([say("{path}: there is no such file", path=path)]) from problem
    except IsADirectoryError as problem:
        raise YardFileError([say("{path}: this is a folder; name the yard file in it", path=path)]) from problem
    except (OSError, ValueError) as problem:  # ValueError: a NUL in the name
        raise YardFileError(
            [
                say(
                    "{path}: cannot be opened ({reason})",
                    path=path,
                    reason=getattr(problem, "strerror", None) or problem,
                )
            ]
        ) from problem
    if len(content) > MAX_BYTES:
        raise YardFileError(
            [
                say(
                    "{path}: too large: more than {most} bytes; is this a yard file?",
                    path=path,
                    most=MAX_BYTES,
                )
            ]
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        raise YardFileError(
            [say("{path} line {line}: not a text file in UTF-8; is this a yard file?", path=path, line=line)]
        ) from problem
    if "\0" in text:
        raise YardFileError([say("{path}: this is not a text file", path=path)])
    return text


def read_yard(path: str | os.PathLike[str], *, today: date | None = None) -> Yard:
    """Read a yard file.

    Parameters
    ----------
    path : path
        A YAML file in UTF-8, at most `MAX_BYTES` long.
    today : date, optional
        As for `examine_yard`.

    Returns
    -------
    Yard
        In SI.

    Raises
    ------
    YardFileError
        With all problems.
    """
    return parse_yard(read_yard_text(path), Path(path).name, today=today)


def write_yard(yard: Yard) -> str:
    """Give the text of a yard file.

    Parameters
    ----------
    yard : Yard
        Any.

    Returns
    -------
    str
        YAML in SI with exact numbers, defaults written out: ``parse_yard(write_yard(yard)) == yard``. Comments of a
        file that was read before are not kept.
    """
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt", pure=True)
    yaml.width = 120
    yaml.indent(mapping=2, sequence=4, offset=2)
    yaml.allow_unicode = True
    # A day or list that two trees share would else be written once and pointed to, which no yard file may do.
    yaml.representer.ignore_aliases = lambda _: True
    stream = StringIO()
    stream.write(
        "# A yard of fruitwall. Numbers are metres, kilograms, litres, watts, minutes, degrees Celsius and kelvins.\n"
    )
    yaml.dump(_for_yaml(yard.model_dump(by_alias=True, exclude_none=True)), stream)
    return stream.getvalue()


def _for_yaml(value: Any) -> Any:
    """Give data the looks of a file written by hand: points in brackets, 3 for 3.0, texts of several lines as such."""
    from ruamel.yaml.comments import CommentedSeq
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString, LiteralScalarString

    if isinstance(value, dict):
        return {name: _for_yaml(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        items = CommentedSeq(_for_yaml(item) for item in value)
        if not any(isinstance(item, dict) for item in value):
            items.fa.set_flow_style()
        return items
    if (
        isinstance(value, float)
        and value.is_integer()
        and abs(value) < 1e15
        and (value != 0 or math.copysign(1, value) > 0)
    ):
        return int(value)
    if (
        isinstance(value, str)
        and "\n" in value
        and all(s and s == s.strip() and s.isprintable() for s in value.split("\n"))
    ):
        return LiteralScalarString(value)
    if isinstance(value, str) and value.startswith("?"):
        return DoubleQuotedScalarString(value)  # in brackets a reader may take it for the key of a group
    return value
