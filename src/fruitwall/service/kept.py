"""What was worked out from things that never change, kept for whoever asks next."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Generic, TypeVar

Value = TypeVar("Value")


@dataclass(frozen=True, eq=False)
class _Kept(Generic[Value]):
    sources: tuple[object, ...]
    """Held on to: as long as they live, no other thing has their identity."""
    value: Future[Value] = field(default_factory=Future)


class Kept(Generic[Value]):
    """The last so many values, each worked out once however many ask for it at the same time.

    A value belongs to the very objects it was made of and to a key; an equal object is another one. So it can only be
    out of date where such an object was changed in place: plans and yards are not.

    Parameters
    ----------
    most : int
        How many are kept; those asked for longest ago are dropped.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[Hashable, ...], _Kept[Value]] = OrderedDict()

    def of(self, *sources: object, key: Hashable = None, make: Callable[[], Value]) -> Value:
        """Give the value that belongs to some objects and a key.

        Parameters
        ----------
        *sources : object
            What it is made of.
        key : hashable
            Whatever else it depends on.
        make : callable
            Works it out. Who asks for it meanwhile waits; an error is raised for all of them and not kept.

        Returns
        -------
        Value
        """
        whole = (*map(id, sources), key)
        with self._lock:
            kept = self._kept.get(whole)
            mine = kept is None
            if kept is None:
                kept = self._kept[whole] = _Kept(sources)
                while len(self._kept) > self._most:
                    self._kept.popitem(last=False)
            else:
                self._kept.move_to_end(whole)
        if mine:
            try:
                kept.value.set_result(make())
            except BaseException as error:  # whatever it is, those who wait must hear of it
                with self._lock:
                    if self._kept.get(whole) is kept:
                        del self._kept[whole]
                kept.value.set_exception(error)
        return kept.value.result()
