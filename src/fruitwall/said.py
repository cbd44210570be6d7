"""Everything the program says, found in its sources; and whether the translations know it.

A message is the first argument of `say`, the first two of `say_count` (in templates ``_`` and ``n_``), and what data
marks by `marked`. Arguments may choose between constants: ``say("a" if few else "b")`` says both. Texts of data files
that pages show are messages as well (`DATA`): their English stands in the data, and is said by a variable.
"""

from __future__ import annotations

import ast
import csv
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from string import Formatter
from typing import Any

import yaml

import fruitwall

ROOT = Path(fruitwall.__file__).parent

ONE = {"say", "_", "marked", "translated", "told"}
"""Functions of one message."""

COUNTING = {"say_count", "n_"}
"""Functions of a message for one and one for many."""

DATA = {
    "plants/data/taxa.yaml": ("acclimation_source",),
    "plants/data/cold_injury.csv": ("note", "temp_as_stated"),
    "plants/data/evidence_added.csv": ("note", "temp_as_stated"),
    "plants/data/habit.csv": ("natural_leaf_drop", "typical_new_growth_months"),
    "plants/data/heat_injury.csv": ("note", "taxon"),
    "plans/data/containers.csv": ("container_class", "nominal", "basis", "status"),
    "plans/data/covers.csv": ("material", "conditions", "status"),
}
"""Files of data, and which of their fields hold texts that people read; a source's key before ": " is none."""

GENERAL = "(general) "
"""Before what is no kind of its own: "(general) apple fruit"."""

TAG = re.compile(r"(?:from memory;\s*)?\btype=\w+\s*;?\s*")
"""What the notes of the catalogue hold for the program."""

WORD = re.compile(r"(?<![^\W\d_])(?!gal\b)(?:[^\W\d_]{3,}|to\b)")
"""Figures and their units are no texts: "28 °F", "15 gal"."""

Message = tuple[str, str | None]
"""The English text, and its plural if it counts."""


def said_in(root: Path = ROOT) -> dict[Message, str]:
    """Find all messages.

    Parameters
    ----------
    root : Path
        Folder of the package.

    Returns
    -------
    dict of (str, str or None) to str
        Each message with the first place where it is said.
    """
    found: dict[Message, str] = {}
    for path in sorted([*root.rglob("*.py"), *root.rglob("*.html")]):
        text = path.read_text(encoding="utf-8")
        for line, message in _in_python(text) if path.suffix == ".py" else _in_template(text):
            found.setdefault(message, f"{path.relative_to(root).as_posix()}:{line}")
    for file, names in DATA.items():
        for number, row in enumerate(_rows(root / file), start=1):
            for text in filter(WORD.search, (text_of(name, row.get(name) or "") for name in names)):
                found.setdefault((text, None), f"{file}, entry {number}")
    return found


def text_of(field: str, written: str) -> str:
    """Give what people read of a field of a data file."""
    if field == "note":
        return note_of(written)
    if field == "temp_as_stated":  # "23 to 34 °F" is said in parts, see `service.kind_words`
        return written if re.search(r"[^\W\d_]{3,}", written) else ""
    if field == "taxon":
        return written.removeprefix(GENERAL) if written.startswith(GENERAL) else ""
    if field == "status":
        return written.replace("_", " ")
    return told_of(written) if field == "acclimation_source" else written


def note_of(written: str) -> str:
    """Give a note of the catalogue without its tags."""
    return TAG.sub("", written).strip()


def told_of(text: str) -> str:
    """Give what a text of a data file tells, without the key of the source before it: "key: text"."""
    key, parted, told = text.partition(": ")
    return told if parted and key.isidentifier() else text


def _rows(path: Path) -> list[dict[str, Any]]:
    """Read the entries of a data file; none where there is no such file."""
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        if path.suffix == ".csv":
            return list(csv.DictReader(file))
        rows: list[dict[str, Any]] = yaml.safe_load(file)
        return rows


def _in_python(text: str) -> Iterator[tuple[int, Message]]:
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in ONE and node.args:
            for one in _constants(node.args[0]):
                yield node.lineno, (one, None)
        elif name in COUNTING and len(node.args) > 1:
            for one, many in zip(_constants(node.args[0]), _constants(node.args[1]), strict=True):
                yield node.lineno, (one, many)


def _constants(node: ast.expr) -> list[str]:
    """Give the texts that an argument may be; none where it is a variable, whose data are marked."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.IfExp):
        return [*_constants(node.body), *_constants(node.orelse)]
    return []


def _in_template(text: str) -> Iterator[tuple[int, Message]]:
    from jinja2 import Environment
    from jinja2.nodes import Call, CondExpr, Const, Expr, Name

    def constants(node: Expr | None) -> list[str]:
        if isinstance(node, Const) and isinstance(node.value, str):
            return [node.value]
        if isinstance(node, CondExpr):
            return [*constants(node.expr1), *constants(node.expr2)]
        return []

    for node in Environment().parse(text).find_all(Call):
        if not isinstance(node.node, Name) or not node.args:
            continue
        if node.node.name in ONE:
            for one in constants(node.args[0]):
                yield node.lineno, (one, None)
        elif node.node.name in COUNTING and len(node.args) > 1:
            for one, many in zip(constants(node.args[0]), constants(node.args[1]), strict=True):
                yield node.lineno, (one, many)


def _held(root: Path) -> set[str]:
    """Give every constant text of the sources: tables hold what is said elsewhere by a variable."""
    return {
        node.value
        for path in root.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


def places(text: str) -> set[str]:
    """Give the named places of a message."""
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def amiss(said: Mapping[Message, str], code: str, root: Path = ROOT) -> list[str]:
    """Tell what is wrong with the translations of a language.

    Parameters
    ----------
    said : mapping
        From `said_in`.
    code : str
        Of the language.
    root : Path
        Folder of the package.

    Returns
    -------
    list of str
        One line for each fault, empty if there is none.
    """
    file, known = _known(code, root)
    wrong = [f"{said[message]}: not translated: {message[0]!r}" for message in missing(said, code, root)]
    texts = {one for one, _ in said} | _held(root)
    for one, message in known.items():
        here = f"{file.name}:{message.lineno}"
        strings = [str(message.string)] if isinstance(message.string, str) else [str(text) for text in message.string]
        if one not in texts:
            wrong.append(f"{here}: nobody says {one!r}")
        if message.fuzzy or not all(strings):
            wrong.append(f"{here}: empty or fuzzy: {one!r}")
        wrong += [
            f"{here}: other places than in English: {text!r}"
            for at, text in enumerate(strings)
            if text and places(text) - {"count"} != places(one if at == 0 else message.id[1]) - {"count"}
        ]
    return wrong


def missing(said: Mapping[Message, str], code: str, root: Path = ROOT) -> list[Message]:
    """Give the messages that a language lacks, in the order of the sources."""
    _, known = _known(code, root)
    return [
        message
        for message in said
        if message[0] not in known or (message[1] is not None and isinstance(known[message[0]].id, str))
    ]


def as_entries(messages: Iterable[Message]) -> str:
    """Write messages as entries of a .po file, their translations still to be written."""
    return "\n".join(
        f"msgid {_quoted(one)}\n"
        + ('msgstr ""\n' if many is None else f'msgid_plural {_quoted(many)}\nmsgstr[0] ""\nmsgstr[1] ""\n')
        for one, many in messages
    )


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def _known(code: str, root: Path) -> tuple[Path, dict[str, Any]]:
    from babel.messages.pofile import read_po

    file = root / "locale" / code / "fruitwall.po"
    with file.open("rb") as text:
        catalogue = read_po(text, locale=code)
    return file, {
        message.id if isinstance(message.id, str) else message.id[0]: message for message in catalogue if message.id
    }
