"""Tell when the kernel is being compiled: once on a machine, and again after an update."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def telling_when_compiling(tell: Callable[[], None]) -> Iterator[None]:
    """Call `tell` once if anything has to be compiled within this context.

    Parameters
    ----------
    tell : callable
        Called before the first compilation, from the thread that needs it; not at all if everything lies ready.

    Notes
    -----
    Numba announces a compilation after it has looked into its cache on disk in vain, so that a cache of an older
    version or of another processor is told as what it is. Nothing is guessed from files or from the time it takes.
    """
    from numba.core import event

    told = False

    class Compiling(event.Listener):
        """Passes the first announcement on."""

        def on_start(self, event: object) -> None:
            nonlocal told
            if not told:
                told = True
                tell()

        def on_end(self, event: object) -> None:
            """Nothing to say."""

    with event.install_listener("numba:compile", Compiling()):
        yield
