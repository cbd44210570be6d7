"""The command ``fruitwall``: parses what was typed, calls one service function, shows what it gives.

Only typer is imported at the top: ``fruitwall --help`` must answer at once. Exit status: 0 nothing needs doing,
3 something does, 2 bad input with one clear message, 1 a defect of ours.
"""

from __future__ import annotations

import io
import os
import sys

# Before numpy is loaded anywhere: two BLAS threads make the small matrices of this program several times slower.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import typer

from fruitwall.cli import (
    climate,
    evening,
    keeping,
    learned,
    lookup,
    people,
    place,
    season,
    season_report,
    sensors,
    weather,
    winters,
    yard,
)  # they add their commands, in this order of the help
from fruitwall.cli.app import app

__all__ = [
    "app",
    "climate",
    "evening",
    "keeping",
    "learned",
    "lookup",
    "main",
    "own_output",
    "people",
    "place",
    "season",
    "season_report",
    "sensors",
    "weather",
    "winters",
    "yard",
]

BAD_INPUT = 2


def own_output() -> None:
    """Keep standard output for what this program says; what libraries in C print there goes to the error output.

    HiGHS tells of a trouble that it has already got over with ``printf``, in the midst of a document for a program.
    """
    try:
        own = os.dup(sys.stdout.fileno())
        os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    except (OSError, ValueError, AttributeError):  # no such files: a window without a terminal, or a closed one
        return
    sys.stdout = io.TextIOWrapper(
        os.fdopen(own, "wb"),
        encoding=sys.stdout.encoding,
        errors=sys.stdout.errors,
        line_buffering=os.isatty(own),
    )


def main() -> None:
    """Run the command; what a user can mend becomes one message and status 2, without a traceback."""
    from fruitwall.errors import FruitwallError

    own_output()
    try:
        app()
    except FruitwallError as error:
        typer.echo(f"fruitwall: {error}", err=True)
        sys.exit(BAD_INPUT)
    except BrokenPipeError:
        # The reader (head, less) has closed the pipe: nothing is wrong.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        sys.exit(130)
