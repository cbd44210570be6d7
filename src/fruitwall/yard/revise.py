"""Changing a yard file's text and nothing but what was meant.

A program that reads a file and writes it anew loses what its owner put into it: comments, order, blank lines, 6 ft
where it says 1.83. Here the text is taken apart into nodes that know where they stand, the nodes are compared with
the wanted data, and only the places that differ are cut out or written over. What comes out is read again and must
hold exactly the wanted data, or it is refused.

A field that is taken out takes the comment on its lines with it. A comment above an entry of a list stays: it may
head several entries.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher
from typing import Any

from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from fruitwall.yard.yaml_text import BrokenYaml, composed, plain_document, plain_scalar

_PLAIN = re.compile(r"[^\W\d_][\w ()./×'-]*(?<! )")
"""Texts that need no quotes: a letter first, nothing that means something to YAML."""

_MEASURED = re.compile(r"-?[0-9]+(?:\.[0-9]+)? (?:ft|in|yd|m|cm|mm|lb|kg|gal|L|F|C|K|W|kW|years|months|h|min)")
"""A number with its unit."""

_WORDS_OF_YAML = {"true", "false", "yes", "no", "on", "off", "null", "y", "n"}

_GONE = object()
"""Stands for an item that is taken out."""

Wanted = Mapping[str, Any]


class CannotRevise(ValueError):
    """The text is written in a way in which this change cannot be made to it."""


class _Awkward(Exception):
    """Not to be done in place here; the whole value is to be written over."""


def revise(text: str, wanted: Wanted) -> str:
    """Change a yard file's text so that it holds the wanted data.

    Parameters
    ----------
    text : str
        A yard file that can be read.
    wanted : mapping
        What `yaml_text.plain_document` of the new text shall give; a field that is None is left out.

    Returns
    -------
    str
        The text itself if it holds that already.

    Raises
    ------
    CannotRevise
        If the change cannot be made without losing something.
    BrokenYaml
        If the text is not YAML.
    """
    root = composed(text)
    if not isinstance(root, MappingNode):
        raise CannotRevise("the text is no group of fields")
    knife = _Knife(text)
    try:
        if not same(_plain(root), wanted):
            knife.mapping(root, wanted)
    except _Awkward as problem:
        raise CannotRevise("the file is written in a way in which this cannot be changed here") from problem
    changed = knife.cut()
    try:
        document = plain_document(changed)
    except BrokenYaml as problem:
        raise CannotRevise("the file is written in a way in which this cannot be changed here") from problem
    if document.problems or not same(document.data, wanted):
        raise CannotRevise("the file is written in a way in which this cannot be changed here")
    return changed


def same(one: Any, other: Any) -> bool:
    """Tell whether two plain values are the same; an empty field is one that is not there, and true is not 1."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        a = {key: value for key, value in one.items() if value is not None}
        b = {key: value for key, value in other.items() if value is not None}
        return a.keys() == b.keys() and all(same(value, b[key]) for key, value in a.items())
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(isinstance(one, bool) == isinstance(other, bool) and one == other)


def _plain(node: Node) -> Any:
    """Give the plain data of a node, as `plain_document` would."""
    if isinstance(node, MappingNode):
        pairs = ((key.value, _plain(value)) for key, value in node.value)
        return {key: value for key, value in pairs if value is not None}
    if isinstance(node, SequenceNode):
        return [_plain(item) for item in node.value]
    return plain_scalar(node) if isinstance(node, ScalarNode) else None


def _is_block(node: Node) -> bool:
    """Tell whether a value is written over lines rather than in brackets or quotes."""
    if isinstance(node, ScalarNode):
        return node.style in ("|", ">")
    return not getattr(node, "flow_style", False)


def _is_empty(node: Node) -> bool:
    """Tell whether nothing is written where the value would stand."""
    return isinstance(node, ScalarNode) and node.start_mark.index == node.end_mark.index and not node.style


class _Knife:
    """Collects cuts in a text; makes them all at once."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.line_break = "\r\n" if "\r\n" in text else "\n"
        self.cuts: list[tuple[int, int, str]] = []

    def cut(self) -> str:
        """Give the text with all cuts made."""
        parts, at = [], 0
        for start, end, new in sorted(self.cuts, key=lambda one: one[:2]):
            if start < at:
                raise CannotRevise("two changes of one place")
            parts += [self.text[at:start], new]
            at = end
        return "".join([*parts, self.text[at:]])

    # ------------------------------------------------------------ where things stand

    def line_start(self, at: int) -> int:
        return self.text.rfind("\n", 0, at) + 1

    def line_end(self, at: int) -> int:
        """Give where a line ends, before its break."""
        end = self.text.find("\n", at)
        end = len(self.text) if end < 0 else end
        return end - 1 if end > at and self.text[end - 1] == "\r" else end

    def next_line(self, at: int) -> int:
        end = self.text.find("\n", at)
        return len(self.text) if end < 0 else end + 1

    def colon(self, key: Node) -> int:
        """Give the place after the colon of a field."""
        return int(self.text.index(":", key.end_mark.index)) + 1

    def pair_end(self, key: Node, value: Node) -> int:
        return self.colon(key) if _is_empty(value) else self.end(value)

    def end(self, node: Node) -> int:
        """Give where what is written of a value ends, without comments and blank lines after it."""
        if _is_empty(node):
            raise _Awkward
        if isinstance(node, ScalarNode):
            start, end = node.start_mark.index, node.end_mark.index
            return start + len(self.text[start:end].rstrip()) if _is_block(node) else int(end)
        if not isinstance(node, MappingNode | SequenceNode) or node.flow_style or not node.value:
            return int(node.end_mark.index)
        last = node.value[-1]
        return self.pair_end(*last) if isinstance(node, MappingNode) else self.end(last)

    # ------------------------------------------------------------ what is to be done

    def make(self, node: Node, wanted: Any, key: Node | None = None, *, lines: bool = False) -> None:
        """Make a value the wanted one: inside it if that can be, else as a whole."""
        if same(_plain(node), wanted):
            return
        made = len(self.cuts)
        try:
            if isinstance(node, MappingNode) and isinstance(wanted, Mapping) and node.value and wanted:
                return self.mapping(node, wanted)
            if isinstance(node, SequenceNode) and isinstance(wanted, list | tuple) and node.value and wanted:
                return self.sequence(node, list(wanted))
        except _Awkward:
            del self.cuts[made:]
        self.replace(node, wanted, key, lines=lines)

    def replace(self, node: Node, wanted: Any, key: Node | None, *, lines: bool) -> None:
        """Write a value over."""
        if key is None:
            self.cuts.append((node.start_mark.index, self.end(node), flow_text(wanted)))
            return
        colon = self.colon(key)
        if _is_empty(node):
            self.cuts.append((colon, colon, f" {flow_text(wanted)}"))
            return
        end = self.end(node)
        if lines and not _is_block(node) and _is_list_of_groups(wanted):
            indent = key.start_mark.column + 2
            self.cuts.append((colon, end, ""))
            self.lines_at(self.next_line(end), [line for one in wanted for line in _item_lines(one, indent)])
            return
        first_line_end = self.line_end(colon)
        if _is_block(node) and node.start_mark.index > first_line_end:
            self.cuts.append((colon, colon, f" {flow_text(wanted)}"))
            self.cuts.append((first_line_end, self.line_end(end), ""))
            return
        self.cuts.append((node.start_mark.index, end, flow_text(wanted)))

    def mapping(self, node: MappingNode, wanted: Wanted) -> None:
        """Change, drop and add fields."""
        if node.flow_style and self.text[node.start_mark.index] != "{":
            raise _Awkward  # a: 1 alone in a list in brackets
        kept: tuple[Node, Node] | None = None
        before: tuple[Node, Node] | None = None
        for key, value in node.value:
            if wanted.get(key.value) is not None:
                self.make(value, wanted[key.value], key, lines=not node.flow_style)
                kept = (key, value)
            elif _plain(value) is not None:
                self.drop(node, key, value, before)
            before = (key, value)
        names = {key.value for key, _ in node.value}
        new = {name: value for name, value in wanted.items() if name not in names and value is not None}
        # A field that is there and empty gets its value there.
        if not new:
            if not node.flow_style and all(wanted.get(key.value) is None for key, _ in node.value):
                raise _Awkward  # with its last line gone the group itself would read as empty: {} says that it is there
            return
        if node.flow_style:
            if not node.value:
                self.cuts.append((node.start_mark.index + 1, node.start_mark.index + 1, flow_text(new)[1:-1]))
                return
            if kept is None:
                raise _Awkward
            at = self.pair_end(*kept)
            self.cuts.append((at, at, f", {flow_text(new)[1:-1]}"))
            return
        if kept is None:
            raise _Awkward
        indent = node.start_mark.column
        lines = [line for name, value in new.items() for line in _field_lines(name, value, indent)]
        # Behind comments set further in: what is added to a list that ends here comes before it.
        self.lines_at(self.after_comments(self.next_line(self.pair_end(*kept)), indent), lines)

    def drop(self, node: MappingNode, key: Node, value: Node, before: tuple[Node, Node] | None) -> None:
        """Take a field out."""
        if node.flow_style and before is not None:
            self.cuts.append((self.pair_end(*before), self.pair_end(key, value), ""))
            return
        start = self.line_start(key.start_mark.index)
        if node.flow_style or self.text[start : key.start_mark.index].strip():
            self.replace(value, None, key, lines=False)  # first of its line or brackets: stays, empty
            return
        self.cuts.append((start, self.next_line(self.pair_end(key, value)), ""))

    def sequence(self, node: SequenceNode, wanted: list[Any]) -> None:
        """Change, take out and add items."""
        old = [_plain(item) for item in node.value]
        kept: set[int] = set()
        added: dict[int, list[Any]] = {}
        last = -1
        for at, new in _steps(old, wanted):
            if at is None:
                added.setdefault(last, []).append(new)
            elif new is not _GONE:
                self.make(node.value[at], new)
                kept.add(at)
                last = at
        if not kept:
            raise _Awkward
        write = self.in_brackets if node.flow_style else self.in_lines
        write(node, set(range(len(old))) - kept, added)

    def in_brackets(self, node: SequenceNode, gone: set[int], added: dict[int, list[Any]]) -> None:
        """Take out and add items of a list in brackets."""
        ends = [self.end(item) for item in node.value]
        starts = [item.start_mark.index for item in node.value]
        for at in range(len(ends)):
            if at not in gone:
                continue
            if at:
                self.cuts.append((ends[at - 1], ends[at], ""))
            elif 1 in gone:
                raise _Awkward
            else:
                self.cuts.append((starts[0], starts[1], ""))
        for after, items in added.items():
            texts = [flow_text(item) for item in items]
            if after < 0:
                self.cuts.append((starts[0], starts[0], "".join(f"{text}, " for text in texts)))
            else:
                self.cuts.append((ends[after], ends[after], "".join(f", {text}" for text in texts)))

    def in_lines(self, node: SequenceNode, gone: set[int], added: dict[int, list[Any]]) -> None:
        """Take out and add items that stand on lines of their own."""
        column = node.start_mark.column
        dashes, ends = [], []
        start = self.line_start(node.start_mark.index)
        for item in node.value:
            found = re.compile(rf"^ {{{column}}}-", re.MULTILINE).search(self.text, start, item.start_mark.index)
            if found is None:
                raise _Awkward
            dashes.append(found.start())
            ends.append(self.after_comments(self.next_line(self.end(item)), column))
            start = ends[-1]
        airy = len(dashes) > 1 and re.search(r"\n[ \t]*\r?\n", self.text[dashes[0] : dashes[1]]) is not None
        for at in range(len(dashes)):
            if at not in gone:
                continue
            start, end = dashes[at], ends[at]
            if at + 1 < len(dashes):
                blank = re.compile(r"[ \t]*\r?\n").match(self.text, end)
                end = blank.end() if blank else end
            elif at and at - 1 not in gone:
                blank = re.compile(r"(?:\A|(?<=\n))[ \t]*\r?\n\Z").search(self.text[ends[at - 1] : start])
                start = ends[at - 1] + blank.start() if blank else start
            self.cuts.append((start, end, ""))
        for after, items in added.items():
            lines: list[str] = []
            for item in items:
                lines += [*([""] if airy and after >= 0 else []), *_item_lines(item, column)]
            self.lines_at(dashes[0] if after < 0 else ends[after], lines)

    def after_comments(self, at: int, column: int) -> int:
        """Give where the comments end that are set further in than a list's dashes: they belong to the item."""
        deeper = re.compile(rf" {{{column + 1},}}#.*(?:\n|$)")
        while found := deeper.match(self.text, at):
            if found.end() == at:
                break
            at = found.end()
        return at

    def lines_at(self, at: int, lines: Sequence[str]) -> None:
        """Put lines before the line that begins at a place."""
        text = "".join(f"{line}{self.line_break}" for line in lines)
        if at and self.text[at - 1] != "\n":  # the end of a text without a last line break
            text = self.line_break + text.removesuffix(self.line_break)
        self.cuts.append((at, at, text))


def _steps(old: list[Any], wanted: list[Any]) -> list[tuple[int | None, Any]]:
    """Give how a list becomes another: (place, value) kept, (place, _GONE) taken out, (None, value) added."""
    if len(old) == len(wanted) and [_name(one) for one in old] == [_name(one) for one in wanted]:
        return list(enumerate(wanted))
    a, b = ([_name(one) or json.dumps(one, sort_keys=True) for one in side] for side in (old, wanted))
    steps: list[tuple[int | None, Any]] = []
    for what, start, end, new_start, new_end in SequenceMatcher(None, a, b, autojunk=False).get_opcodes():
        here, there = list(range(start, end)), wanted[new_start:new_end]
        if what == "equal" or not any(_name(one) for one in [*old[start:end], *there]):
            both = min(len(here), len(there))
            steps += [(at, value) for at, value in zip(here[:both], there[:both], strict=True)]
            here, there = here[both:], there[both:]
        steps += [(None, value) for value in there]
        steps += [(at, _GONE) for at in here]
    return steps


def _name(value: Any) -> str:
    """Give by what an item is known; nothing for what has no name."""
    return str(value.get("id", "")) if isinstance(value, Mapping) else ""


def _is_list_of_groups(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, Mapping) for one in value)


def _item_lines(value: Any, column: int) -> list[str]:
    """Write an item of a list on lines of its own."""
    whole = value.items() if isinstance(value, Mapping) else ()
    fields = [f"{key_text(name)}: {flow_text(one)}" for name, one in whole if one is not None]
    if not fields:
        return [f"{' ' * column}- {flow_text(value)}"]
    return [f"{' ' * column}{'  ' if number else '- '}{field}" for number, field in enumerate(fields)]


def _field_lines(name: str, value: Any, column: int) -> list[str]:
    """Write a field on a line of its own; a list of groups on several."""
    if _is_list_of_groups(value):
        items = [line for one in value for line in _item_lines(one, column + 2)]
        return [f"{' ' * column}{key_text(name)}:", *items]
    return [f"{' ' * column}{key_text(name)}: {flow_text(value)}"]


def key_text(name: str) -> str:
    """Write the name of a field."""
    return name if re.fullmatch(r"[a-z][a-z0-9_]*", name) and name not in _WORDS_OF_YAML else _quoted(name)


def flow_text(value: Any) -> str:
    """Write a plain value on one line of YAML.

    Parameters
    ----------
    value : mapping, list, str, int, float, bool or None

    Returns
    -------
    str
        Quoted only where it must be; whole numbers without a point.
    """
    if isinstance(value, Mapping):
        fields = (f"{key_text(name)}: {flow_text(one)}" for name, one in value.items() if one is not None)
        return "{" + ", ".join(fields) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(flow_text, value)) + "]"
    if isinstance(value, str):
        plain = _MEASURED.fullmatch(value) or (_PLAIN.fullmatch(value) and value.lower() not in _WORDS_OF_YAML)
        return value if plain and " #" not in value else _quoted(value)
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return json.dumps(value)


def _quoted(text: str) -> str:
    """Put text in double quotes, with everything escaped that a reader could take for something else."""
    escaped = []
    for c in text:
        if c in '"\\':
            escaped.append("\\" + c)
        elif c == "\n":
            escaped.append("\\n")
        elif c.isprintable():
            escaped.append(c)
        else:
            escaped.append(f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}")
    return '"' + "".join(escaped) + '"'
