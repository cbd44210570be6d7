"""What can go wrong, as one small family.

::

    FruitwallError            something the user can mend; the text says where and how (exit status 2)
    ├── YardFileError         mend the yard file
    ├── UnknownTaxonError     mend the name of a tree's kind
    ├── WeatherError          mend or re-fetch the forecast or history
    │   └── SourceUnavailable the service cannot be reached: try again later or give a file
    ├── PlanError             the evening cannot be planned as asked
    └── JournalError          the database cannot be read or written

The core raises plain `ValueError` for impossible arguments; the edges turn this family into one message and a
status, and let everything else be the defect it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from fruitwall.speech import Book, Told, noting, say, say_again


class FruitwallError(Exception):
    """Root of all errors that a user can mend.

    One that was `speech.told` is said in the language of whoever reads it, since it may be kept for others.
    """

    def __str__(self) -> str:
        """Say it in the language in force."""
        return say_again(self.kept) if isinstance(self.kept, Told) else super().__str__()

    @property
    def kept(self) -> str:
        """What it says, as it can be kept and said again."""
        return self.args[0] if len(self.args) == 1 and isinstance(self.args[0], str) else super().__str__()


class YardFileError(FruitwallError):
    """The yard file says something that cannot be; `problems` lists all of it."""

    def __init__(self, problems: list[str]) -> None:
        self.problems = problems
        super().__init__("\n".join(problems))


class UnknownTaxonError(FruitwallError):
    """No kind of that name is in the catalogue; near names are offered."""

    def __init__(self, name: str, near: list[str]) -> None:
        self.name = name
        self.near = near
        hint = say("; near names: {names}", names=", ".join(near)) if near else ""
        super().__init__(say('no kind named "{name}" in the catalogue{hint}', name=name, hint=hint))


class WeatherError(FruitwallError):
    """A forecast or history that cannot be used as it is."""


class SourceUnavailable(WeatherError):
    """The weather service cannot be reached or refuses to answer."""


class PlanError(FruitwallError):
    """The evening cannot be planned as asked."""


class LearningError(FruitwallError):
    """What the yard has taught cannot be worked out in the way that was asked for."""


class JournalError(FruitwallError):
    """The database cannot be opened, read or written."""


class NoYard(JournalError):
    """The journal holds no yard, or none that is not put away."""


@contextmanager
def noting_errors() -> Iterator[Book]:
    """Note what makes each sentence (`speech.noting`), and that of an error that ends the block.

    English is spoken meanwhile; whoever reads the error hears their own language all the same.
    """
    with noting() as book:
        try:
            yield book
        except FruitwallError as error:
            if not isinstance(error.kept, Told):
                error.args = (book.kept(error.kept),)
            raise
