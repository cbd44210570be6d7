"""The season as a document for programs: every part's own figures in SI units, its words in the language asked for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from fruitwall.service.season import Part
    from fruitwall.service.season_part import SeasonPart, SeasonTask


class Told(BaseModel):
    """What all models here share."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class TaskAnswer(Told):
    """Something to be done."""

    key: str = Field(description="The same from day to day as long as the same thing is meant")
    part: str
    trees: list[str] = Field(description="Identifiers; none for the whole yard")
    what: str
    why: str
    otherwise: str = Field(description="What happens if it is left undone; empty where nothing is known")
    not_before: date | None
    due: date
    minutes: float
    steps: list[str]
    cautions: list[str]
    deed: str | None = Field(description="Deed that says that it is done")
    urgent: bool


class PartAnswer(Told):
    """One part of the season."""

    key: str
    title: str
    verdict: str
    notices: list[str]
    tasks: list[TaskAnswer]
    figures: dict[str, Any] | None = Field(description="Its own document, in SI units")
    wrong: str = Field(default="", description="Why it could not be worked out; empty otherwise")


class SeasonAnswer(Told):
    """The whole season."""

    parts: list[PartAnswer]


def season_document(parts: Sequence[Part]) -> SeasonAnswer:
    """Give all parts as a document."""
    return SeasonAnswer(
        parts=[
            part_document(one.told)
            if one.told is not None
            else PartAnswer(
                key=one.key, title=one.title, verdict="", notices=[], tasks=[], figures=None, wrong=one.wrong
            )
            for one in parts
        ]
    )


def part_document(part: SeasonPart) -> PartAnswer:
    """Give one part as a document."""
    return PartAnswer(
        key=part.key,
        title=part.title,
        verdict=part.verdict,
        notices=list(part.notices),
        tasks=[_task(one) for one in part.tasks],
        figures=part.document.model_dump(mode="json") if part.document is not None else None,
    )


def _task(task: SeasonTask) -> TaskAnswer:
    return TaskAnswer(
        key=task.key,
        part=task.part,
        trees=list(task.trees),
        what=task.what,
        why=task.why,
        otherwise=task.otherwise,
        not_before=task.not_before,
        due=task.due,
        minutes=task.minutes,
        steps=list(task.steps),
        cautions=list(task.cautions),
        deed=task.deed,
        urgent=task.urgent,
    )
