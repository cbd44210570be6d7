"""YAML text into plain data that remembers its lines.

A yard file is plain YAML 1.2: groups, lists, texts, numbers. Anchors, aliases and tags of one's own are refused, since
a yard needs none of them and they are how a small text becomes an endless one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from ruamel.yaml.reader import ReaderError

from fruitwall.speech import marked, say
from fruitwall.yard.problems import Location, Problem

_CORE = "tag:yaml.org,2002:"
_SCALARS = ("null", "bool", "int", "float", "str", "timestamp")

GLUED = r"""([A-Za-z_][A-Za-z0-9_-]*):(?=[^\s:/\\])"""
"""The name of a field with something right after its colon; not an address or a path."""

_INDENT = marked("often the indentation here or a missing quote on the line above")
_QUOTE = marked("often a missing quote or bracket just before")
_STUMBLES = (
    ("'\\t'", marked("a tab stands here"), marked("indent with blanks, not with tabs")),
    ("mapping values are not allowed", marked("a colon stands where none can"), _INDENT),
    ("expected <block end>", marked("this does not fit what stands above"), _INDENT),
    ("could not find expected", marked("the name of a field lacks its colon"), marked("write it as name: value")),
    ("cannot start any token", marked("no text can begin with this sign"), marked("put the text in quotes")),
    ("unexpected end of stream", marked("a quote that was opened is not closed"), _QUOTE),
    ("expected ',' or", marked("a comma or a closing bracket is missing"), _QUOTE),
    (
        "alias",
        marked("this means an alias in YAML"),
        marked("anchors and aliases (& and *) are not used in yard files; put texts with these signs in quotes"),
    ),
    (
        "anchor",
        marked("this means an anchor in YAML"),
        marked("anchors and aliases (& and *) are not used in yard files; put texts with these signs in quotes"),
    ),
    (
        "another document",
        marked("a second document begins here"),
        marked("a yard file holds one yard, without '---' in between"),
    ),
)
"""What the YAML reader's own words contain, what they mean to a grower, and the usual cause or mend."""

MAX_DEPTH = 100
"""A yard needs six levels; the YAML reader's time grows with the square of the depth."""


@dataclass
class PlainDocument:
    """Plain data of a YAML text.

    Attributes
    ----------
    data : dict, list, str, int, float, bool or None
        Dates stay texts. A field left empty is left out.
    lines : dict
        Line of every place, counted from 1.
    problems : list of Problem
        What YAML allows but a yard file does not: a field given twice, anchors, tags.
    """

    data: Any = None
    lines: dict[Location, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def line(self, loc: Location) -> int | None:
        """Give the line of a place, or of the nearest one around it."""
        while loc and loc not in self.lines:
            loc = loc[:-1]
        return self.lines.get(loc)


class BrokenYaml(ValueError):
    """The text is not YAML; `line` says where, counted from 1, if it is known."""

    def __init__(self, message: str, line: int | None = None) -> None:
        self.line = line
        super().__init__(message)


@lru_cache(maxsize=4)
def composed(text: str) -> Node | None:
    """Give the nodes of a YAML text, each with its place.

    Parameters
    ----------
    text : str
        One document.

    Returns
    -------
    Node or None
        None if the text holds nothing. Kept, since it takes a quarter of a second for a yard: not to be changed.

    Raises
    ------
    BrokenYaml
        If it cannot be read as YAML at all.
    """
    if _bracket_depth(text) > MAX_DEPTH:
        raise BrokenYaml(say("is nested too deeply: more than {most} brackets are open at once", most=MAX_DEPTH))
    try:
        root: Node | None = YAML(typ="rt", pure=True).compose(text)
    except ReaderError as problem:
        line = text[: problem.position].count("\n") + 1 if isinstance(problem.position, int) else None
        raise BrokenYaml(say("contains a character that no text file has; is this a yard file?"), line) from problem
    except MarkedYAMLError as problem:
        raise _broken(problem, text) from problem
    except (YAMLError, RecursionError, ValueError) as problem:
        raise BrokenYaml(
            say("cannot be read as YAML: it is nested too deeply or in a way that has no meaning")
        ) from problem
    return root


def plain_document(text: str) -> PlainDocument:
    """Take YAML text apart.

    Parameters
    ----------
    text : str
        One document.

    Returns
    -------
    PlainDocument
        With ``data`` None if the text holds nothing.

    Raises
    ------
    BrokenYaml
        If it cannot be read as YAML at all.
    """
    root = composed(text)
    document = PlainDocument()
    if root is not None:
        document.lines[()] = root.start_mark.line + 1
        try:
            document.data = _plain(root, (), document, set())
        except RecursionError as problem:
            raise BrokenYaml(say("is nested too deeply")) from problem
    return document


def _bracket_depth(text: str) -> int:
    """Give how many brackets are open at once at most, wherever they stand."""
    depth = deepest = 0
    for bracket in re.findall(r"[\[\]{}]", text):
        depth = depth + 1 if bracket in "[{" else max(0, depth - 1)
        deepest = max(deepest, depth)
    return deepest


def glued_hint(written: object) -> str:
    """Give the tail of a message for a text that is a field without the blank after its colon, or nothing.

    Parameters
    ----------
    written : object
        What stands where a group of fields, or the name of a field, was expected.
    """
    found = re.fullmatch(rf"\s*{GLUED}(.*)", written, flags=re.DOTALL) if isinstance(written, str) else None
    return say('; write a blank after the colon: "{field}: {value}"', field=found[1], value=found[2]) if found else ""


def _glued(text: str, line: int) -> BrokenYaml | None:
    """Tell of a sign with no blank after it, on a line or the few before it: the reader stumbles only later."""
    lines = text.splitlines()
    for at in range(min(line, len(lines) - 1), max(-1, line - 4), -1):
        if found := re.match(rf"\s*(?:- +)*{GLUED}", lines[at]):
            return BrokenYaml(say('cannot be read as YAML; write a blank after "{start}:"', start=found[1]), at + 1)
        if re.match(r"\s*-[A-Za-z_]+\s*:", lines[at]):
            return BrokenYaml(say('cannot be read as YAML; write a blank after the "-" that begins an entry'), at + 1)
    return None


def _broken(problem: MarkedYAMLError, text: str) -> BrokenYaml:
    """Say what the YAML reader stumbled over, with a word on the usual cause."""
    mark = problem.problem_mark or problem.context_mark
    found = str(problem.problem or problem.context or "")
    if mark and ("mapping values" in found or "could not find expected" in found):
        glued = _glued(text, mark.line)
        if glued is not None:
            return glued
    if "could not find expected" in found and problem.context_mark:
        mark = problem.context_mark
    what, hint = next(
        ((say(what), say(hint)) for part, what, hint in _STUMBLES if part in found),
        (re.sub(r"\s+", " ", found).strip(), say(_QUOTE)),
    )
    column = say(", column {number}", number=mark.column + 1) if mark else ""
    return BrokenYaml(
        say("cannot be read as YAML{column}: {what}; {hint}", column=column, what=what, hint=hint),
        mark.line + 1 if mark else None,
    )


def _plain(node: Node, loc: Location, document: PlainDocument, seen: set[int]) -> Any:
    """Give the plain data of a node, noting lines and problems."""
    if id(node) in seen:  # an alias: told where its anchor stands
        return None
    seen.add(id(node))
    if node.anchor:
        _note(document, loc, node, say("anchors and aliases (& and *) are not used in yard files; write it out"))
        return None
    tag = str(node.tag)
    if isinstance(node, MappingNode) and tag == f"{_CORE}map":
        return _plain_mapping(node, loc, document, seen)
    if isinstance(node, SequenceNode) and tag == f"{_CORE}seq":
        items = []
        for number, item in enumerate(node.value):
            document.lines[(*loc, number)] = item.start_mark.line + 1
            items.append(_plain(item, (*loc, number), document, seen))
        return items
    if isinstance(node, ScalarNode) and tag.removeprefix(_CORE) in _SCALARS:
        return plain_scalar(node)
    _note(document, loc, node, say('tags are not used in yard files, got "{tag}"', tag=tag))
    return None


def _plain_mapping(node: MappingNode, loc: Location, document: PlainDocument, seen: set[int]) -> dict[str, Any]:
    """Give the plain data of a group of fields; tell every field that is given twice."""
    data: dict[str, Any] = {}
    met: dict[str, int] = {}
    for key, value in node.value:
        line = key.start_mark.line + 1
        if not isinstance(key, ScalarNode):
            _note(document, loc, key, say("expected the name of a field before ':', got a list or group"))
            continue
        name = key.value
        if name in met:
            message = say("given twice: first on line {line}, again here; keep one", line=met[name])
            document.problems.append(Problem("error", (*loc, name), message, line))
            continue
        met[name] = line
        document.lines[(*loc, name)] = line
        plain = _plain(value, (*loc, name), document, seen)
        if plain is not None:
            data[name] = plain
    return data


def _note(document: PlainDocument, loc: Location, node: Node, message: str) -> None:
    document.problems.append(Problem("error", loc, message, node.start_mark.line + 1))


def plain_scalar(node: ScalarNode) -> Any:
    """Give number, text, true/false or None; what is no number after all stays text."""
    text, tag = str(node.value), str(node.tag).removeprefix(_CORE)
    if tag == "null":
        return None
    if tag == "bool":
        return text.lower() == "true"
    try:
        if tag == "int":
            return int(text.replace("_", ""), 0 if re.match(r"[+-]?0[xob]", text) else 10)
        if tag == "float":
            return float(text.replace("_", "").lower().replace(".inf", "inf").replace(".nan", "nan"))
    except ValueError:
        return text
    return text
