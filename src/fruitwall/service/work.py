"""Long work in parts: kept part by part, so that it can be stopped, resumed, and is never done twice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fruitwall.service.house import House


@dataclass(frozen=True)
class WorkPart:
    """One part of long work.

    Attributes
    ----------
    key : str
        By content: the same for the same inputs and the same code; what is kept under it is used again.
    weight : float
        How long it takes against the others. [-]
    what : str
        In words for the user, such as ``winter 1989/90``.
    make : callable () -> JSON-able
        Does it.
    """

    key: str
    weight: float
    what: str
    make: Callable[[], Any]


@dataclass(frozen=True)
class Progress:
    """How far work is.

    Attributes
    ----------
    share : float
        Done, 0 to 1. [-]
    left_s : float or None
        Time left, from how long the parts so far took; None before the first. [s]
    what : str
        What is being done.
    """

    share: float
    left_s: float | None
    what: str


class Stopped(Exception):  # noqa: N818
    """The work was stopped; what was done is kept."""


def work(
    house: House,
    parts: Sequence[WorkPart],
    *,
    heard: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> list[Any]:
    """Do the parts in order, or take what is kept of them; each is kept as soon as it is done."""
    raise NotImplementedError
