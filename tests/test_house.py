"""What holds for the whole project: clean files, locked packages, light start, documentation that is true."""

from __future__ import annotations

import ast
import importlib.util
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

import fruitwall
from tests.needs import missing

PROJECT = Path(__file__).resolve().parent.parent
SOURCE = PROJECT / "src" / "fruitwall"
CORE = ("yard", "weather", "physics", "plants", "plans")
HEAVY = {"numpy", "scipy", "sqlalchemy", "alembic", "fastapi", "numba", "pvlib", "pandas", "pint", "shapely", "rich"}

LONGEST_MODULE = 600


def tracked_files() -> list[Path]:
    """Give the files of the project: what git tracks, or without git what the targets did not make."""
    git = subprocess.run(["git", "ls-files", "-z"], cwd=PROJECT, capture_output=True, check=False)
    if git.returncode == 0:
        files = [PROJECT / name for name in git.stdout.decode().split("\0") if name]
    else:
        made = {".venv", "build", "dist", "var", "__pycache__", ".hypothesis"}
        files = [path for path in PROJECT.rglob("*") if not made & set(path.relative_to(PROJECT).parts)]
    return [path for path in files if path.is_file()]


def tracked_text() -> Iterator[tuple[str, str]]:
    """Give name and text of the project's text files."""
    for path in tracked_files():
        content = path.read_bytes()
        if b"\0" not in content[:8000]:
            yield str(path.relative_to(PROJECT)), content.decode()


def public_functions(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef]]:
    """Give the functions of a module, and the methods of its classes, whose names do not begin with '_'."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node.name, node
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                    yield f"{node.name}.{inner.name}", inner


def modules(*layers: str) -> list[Path]:
    """Give the modules of some layers."""
    return [path for layer in layers for path in sorted((SOURCE / layer).rglob("*.py"))]


def run_python(program: str) -> str:
    """Run a program in an interpreter of its own and give what it prints."""
    answer = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return answer.stdout.strip()


# ---------------------------------------------------------------- files


def test_no_file_names_a_registry_or_a_place_of_one_machine():
    # Written backwards, so that this file does not find itself.
    hosts = ["gro.ipyp", "detsohnohtyp", "sjmpn.yrtsiger", "naibed.bed", "naibed.ytiruces"]
    folders = ["/krow/", "/toor/", "/emoh/", "derahs/.."]
    named = re.compile("|".join(re.escape(word[::-1]) for word in hosts + folders))

    found = [
        f"{name}:{number}: {line.strip()[:100]}"
        for name, text in tracked_text()
        for number, line in enumerate(text.splitlines(), start=1)
        if named.search(line)
    ]

    assert found == []


def test_no_file_is_left_with_marks_of_a_merge_or_odd_line_ends():
    kept_as_they_came = (".csv", ".json")  # data of others

    for name, text in tracked_text():
        assert not re.search(r"^(<{7}|>{7}) ", text, flags=re.MULTILINE), name
        assert name.endswith(kept_as_they_came) or "\r" not in text, name


def test_modules_stay_readable():
    long = {
        str(path.relative_to(PROJECT)): lines
        for path in tracked_files()
        if path.suffix in {".py", ".js"} and (lines := len(path.read_text().splitlines())) > LONGEST_MODULE
    }

    assert long == {}, f"more than {LONGEST_MODULE} lines: is each still one idea?"


# ---------------------------------------------------------------- packages


@pytest.mark.parametrize("name", ["build", "run", "test"])
def test_every_locked_package_has_its_version_and_hashes_and_no_address(name):
    text = (PROJECT / "locks" / f"{name}.txt").read_text()

    assert "://" not in text
    assert " @ " not in text
    requirements = re.sub(r"\\\n", " ", text).splitlines()
    for requirement in requirements:
        assert re.match(r"[a-z0-9-]+(\[[a-z,]+\])?==\S+ .*--hash=sha256:[0-9a-f]{64}", requirement), requirement


def test_the_locks_hold_what_the_project_asks_for():
    asked = tomllib.loads((PROJECT / "pyproject.toml").read_text())["project"]

    def names(requirements: list[str]) -> set[str]:
        return {re.split(r"[^A-Za-z0-9._-]", each)[0].lower().replace(".", "-") for each in requirements}

    def locked(name: str) -> dict[str, set[str]]:
        found: dict[str, set[str]] = {}
        for package, version in re.findall(r"^([a-z0-9-]+)==(\S+)", (PROJECT / "locks" / name).read_text(), re.M):
            found.setdefault(package, set()).add(version)
        return found

    run, test = locked("run.txt"), locked("test.txt")
    assert names(asked["dependencies"]) <= set(run)
    assert names(asked["optional-dependencies"]["test"]) <= set(test)
    assert run.items() <= test.items(), "run.txt and test.txt must agree: make locks"


def test_the_wheel_holds_data_templates_and_migrations(tmp_path):
    if importlib.util.find_spec("hatchling") is None:
        missing("no hatchling: it comes with `make test`")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    built = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr

    (wheel,) = tmp_path.glob("*.whl")
    packed = set(zipfile.ZipFile(wheel).namelist())
    here = {str(path.relative_to(SOURCE.parent)) for path in tracked_files() if SOURCE in path.parents}

    assert here <= packed
    assert any(name.endswith("licenses/LICENSE") for name in packed)


# ---------------------------------------------------------------- start-up


def test_importing_the_package_loads_nothing_heavy():
    program = (
        "import sys, fruitwall, fruitwall.errors, fruitwall.journal, fruitwall.journal.entries; "
        "print(*sorted({name.split('.')[0] for name in sys.modules}))"
    )

    assert HEAVY & set(run_python(program).split()) == set()


def test_help_is_printed_without_loading_anything_heavy():
    program = """
import contextlib, io, sys
sys.argv = ["fruitwall", "--help"]
from fruitwall.cli import main
shown = io.StringIO()
with contextlib.redirect_stdout(shown), contextlib.suppress(SystemExit):
    main()
assert "tonight" in shown.getvalue(), shown.getvalue()
print(*sorted({name.split('.')[0] for name in sys.modules}))
"""

    assert HEAVY & set(run_python(program).split()) == set()


# ---------------------------------------------------------------- documentation


@pytest.mark.parametrize("path", modules(*CORE), ids=lambda path: str(path.relative_to(SOURCE)))
def test_every_module_class_and_public_function_says_what_it_is(path):
    tree = ast.parse(path.read_text())
    classes = [node for node in tree.body if isinstance(node, ast.ClassDef)]

    silent = [node.name for node in classes if not ast.get_docstring(node)]
    silent += [name for name, function in public_functions(tree) if not ast.get_docstring(function)]

    assert ast.get_docstring(tree), "does not say which question it answers"
    assert silent == []


def test_what_a_layer_gives_to_others_says_what_it_takes_and_gives():
    """Up to two arguments may be told in the summary."""
    incomplete = []
    for module, name in sorted(functions_for_others()):
        path = SOURCE.joinpath(*module.split(".")[1:]).with_suffix(".py")
        function = dict(public_functions(ast.parse(path.read_text()))).get(name)
        if function is None or len(_arguments(function)) <= 2:
            continue
        text = ast.get_docstring(function) or ""
        if not re.search(r"^Parameters\n-+$", text, re.M):
            incomplete.append(f"{module}.{name}: no Parameters")
        if _gives_something(function) and not re.search(r"^(Returns|Yields)\n-+$", text, re.M):
            incomplete.append(f"{module}.{name}: no Returns")

    assert incomplete == []


def functions_for_others() -> set[tuple[str, str]]:
    """Give module and name of all that is imported from a layer of the core by any other layer."""
    taken = set()
    for path in SOURCE.rglob("*.py"):
        own = path.relative_to(SOURCE).parts[0]
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("fruitwall."):
                parts = str(node.module).split(".")
                if parts[1] in CORE and parts[1] != own and len(parts) > 2:
                    taken |= {(str(node.module), each.name) for each in node.names}
    return {
        (module, name) for module, name in taken if SOURCE.joinpath(*module.split(".")[1:]).with_suffix(".py").is_file()
    }


def _arguments(function: ast.FunctionDef) -> list[str]:
    """Give the names of all arguments."""
    given = function.args
    return [each.arg for each in (*given.posonlyargs, *given.args, *given.kwonlyargs)]


def _gives_something(function: ast.FunctionDef) -> bool:
    """Tell whether the annotation says that something comes back."""
    return function.returns is not None and ast.unparse(function.returns) not in {"None", "NoReturn"}


def test_the_readme_and_contributing_name_only_targets_that_exist():
    targets = set(re.findall(r"^([a-z]+):.*##", (PROJECT / "Makefile").read_text(), re.M))

    for name in ("README.md", "CONTRIBUTING.md"):
        named = set(re.findall(r"\bmake ([a-z]+)\b`", (PROJECT / name).read_text()))
        named |= set(re.findall(r"^make ([a-z]+)", (PROJECT / name).read_text(), re.M))
        assert named, name
        assert named <= targets, name
    assert {"demo", "test"} <= targets


def test_the_readme_and_contributing_name_only_files_that_exist():
    for name in ("README.md", "CONTRIBUTING.md"):
        text = (PROJECT / name).read_text()
        links = [link for link in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in link]
        paths = re.findall(r"`((?:src|tests|docs|scripts|locks|bench)/[\w./-]+)`", text)
        assert links + paths, name
        missing = [each for each in links + paths if not (PROJECT / each).exists()]
        assert missing == [], name


def test_the_readme_names_only_commands_that_exist():
    import typer

    from fruitwall.cli import app

    command = typer.main.get_command(app)
    text = (PROJECT / "README.md").read_text()
    named = re.findall(r"(?:^|`|bin/)fruitwall ([a-z]+)(?: ([a-z]+)\b)?", text, re.M)

    assert named
    for first, second in named:
        group = command.commands
        assert first in group, f"fruitwall {first}"
        if second and hasattr(group[first], "commands"):
            assert second in group[first].commands, f"fruitwall {first} {second}"


def test_the_changelog_has_this_version_on_top_and_the_houses_headings():
    text = (PROJECT / "CHANGELOG.md").read_text()
    released = fruitwall.__version__.split(".dev")[0]

    first = re.search(r"^## (\S+)", text, re.M)
    assert first is not None
    assert first[1] == released
    assert set(re.findall(r"^### (.+)$", text, re.M)) <= {"Added", "Changed", "Fixed", "Numbers that changed"}


def test_make_help_lists_every_target():
    environment = {"PATH": os.environ["PATH"]}
    shown = subprocess.run(["make", "help"], cwd=PROJECT, env=environment, capture_output=True, text=True, check=True)

    phony = re.search(r"^\.PHONY: (.*)$", (PROJECT / "Makefile").read_text(), re.M)
    assert phony is not None
    assert [line.split()[1] for line in shown.stdout.splitlines()] == phony[1].split()
