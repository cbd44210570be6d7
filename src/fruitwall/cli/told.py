"""What a command tells beside its answer, and how a plan is shown."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import typer

from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.service.evening import Report
    from fruitwall.service.evening_document import EveningPlan
    from fruitwall.service.yards import CheckedYard
    from fruitwall.yard.model import Yard


def tell_warnings(checked: CheckedYard) -> None:
    """Print what the owner should still look at, apart from the output."""
    for warning in checked.warnings:
        typer.echo(say("Note: {warning}", warning=warning), err=True)


def tell_preparing(stage: str) -> None:
    """Say that the first use takes longer, whatever reads us; the other stages are not told."""
    from fruitwall.service.evening import PREPARING

    if stage == PREPARING:
        typer.echo(say("fruitwall is preparing the calculation for this machine, once: about ten seconds"), err=True)


@contextmanager
def progress(*, quiet: bool = False) -> Iterator[Report]:
    """Show a bar with the stage of the work on an interactive terminal; in a pipe only what takes unusually long.

    With `quiet` a pipe gets nothing at all.
    """
    if not sys.stderr.isatty():
        yield (lambda _stage: None) if quiet else tell_preparing
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from fruitwall.service.evening import STAGES

    bar = Progress(
        TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), console=Console(stderr=True), transient=True
    )
    with bar:
        task = bar.add_task(say("starting"), total=len(STAGES))

        def report(stage: str) -> None:
            bar.update(task, description=say(stage))
            if stage in STAGES:
                bar.update(task, completed=STAGES.index(stage))

        yield report


def show_plan(plan: EveningPlan, yard: Yard, *, as_json: bool, tree: str | None, compare: bool = False) -> None:
    """Print a plan as JSON, as one tree's explanation, beside what else could be done, or whole."""
    from zoneinfo import ZoneInfo

    from fruitwall import terminal
    from fruitwall.service.household import Household
    from fruitwall.service.reader import plan_for_reader

    if as_json:
        typer.echo(plan.model_dump_json(indent=2))
        return
    household = Household(yard.display, ZoneInfo(yard.location.time_zone))
    plan = plan_for_reader(plan, household, household)
    if compare:
        terminal.show(terminal.comparison(plan))
    elif tree is None:
        terminal.show(terminal.evening(plan, household, width=terminal.columns()))
    else:
        terminal.show(terminal.explanation(plan, next(t for t in plan.trees if t.id == tree), household))
