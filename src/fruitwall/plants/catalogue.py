"""Which kinds of plant are known, by what names, and what has been published about them?

The catalogue is data: `data/taxa.yaml` (kinds) and the evidence tables beside it, every row with its source. What a
kind stands is not written there; `plants.kinds` works it out from the rows.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, get_args

import yaml

from fruitwall.errors import UnknownTaxonError
from fruitwall.speech import marked, say
from fruitwall.yard.near_names import near_names

LeafHabit = Literal["evergreen", "deciduous", "briefly_deciduous"]
Stage = Literal["any", "mature", "young", "new_growth", "flower", "fruit"]
Effect = Literal["leaf_injury", "twig_injury", "severe_injury", "death", "chilling_injury"]
EvidenceType = Literal["threshold", "survives", "observed", "lab_LT", "db_code", "growth_limit"]


GENERAL = "(general) "
"""How rows on many kinds together begin in the tables of heat."""

SLIPS = ((7, 2), (5, 1))
"""From how many letters on how many slips are forgiven, most first. Our judgement, tried on forty misspellings."""


@dataclass(frozen=True)
class Source:
    """Who says it."""

    key: str
    authors: str
    year: str
    title: str
    publisher: str
    identifier: str
    kind: str


@dataclass(frozen=True)
class Evidence:
    """One published statement on cold.

    `low_c` is the colder end of the stated range; both are as published, mostly air temperatures in a thermometer
    shelter (see `at_tissue`). [°C]
    """

    taxon: str
    common_name: str
    stage: Stage
    effect: Effect
    type: EvidenceType
    low_c: float
    high_c: float
    as_stated: str
    duration_h: float | None
    source: Source
    voice: str
    """The independent source it counts towards: rows with the same voice are one source."""
    locator: str
    note: str
    from_memory: bool
    at_tissue: bool
    """Temperature of the tissue itself, or of air so windy that it was the tissue's too."""
    unhardened: bool
    """Of a tree that cold weeks had not yet hardened."""


@dataclass(frozen=True)
class Habit:
    """One published statement on leaf habit and season; empty texts and None where it says nothing."""

    taxon: str
    leaf_habit: str
    natural_leaf_drop: str
    new_growth: str
    bloom_to_harvest_months: tuple[float, float] | None
    source: Source
    locator: str


@dataclass(frozen=True)
class Heat:
    """One published statement on heat, an air temperature as published. [°C]"""

    taxon: str
    stage: str
    effect: str
    temperature_c: float
    source: Source
    locator: str
    note: str


GROUPS = (
    marked("Guatemalan type"),
    marked("Guatemalan x Mexican hybrids"),
    marked("Guatemalan x West Indian hybrids"),
    marked("Mexican type"),
    marked("West Indian type"),
    marked("Shiranuhi mandarin hybrid"),
)
"""What stands in brackets behind a scientific name of the catalogue: groups of cultivars, in English."""


def said_taxon(scientific: str) -> str:
    """Say a scientific name: as it is, but a group of cultivars behind it in the language in force."""
    species, parted, group = scientific.removesuffix(")").partition(" (")
    return say("{species} ({group})", species=species, group=say(group)) if parted and group in GROUPS else scientific


@dataclass(frozen=True)
class Taxon:
    """A kind of plant: a species, or a group of cultivars that differ in what they stand."""

    key: str
    scientific: str
    english: tuple[str, ...]
    spanish: tuple[str, ...]
    synonyms: tuple[str, ...]
    family: str
    leaf_habit: LeafHabit
    leaf_width_m: float
    fruit_diameter_m: float
    chill_sensitive: bool = False
    needs_winter_chill: bool = False
    acclimation_k: float | None = None
    acclimation_source: str | None = None
    cultivars: tuple[str, ...] = ()
    """Cultivars by which people call it; they find the kind and say nothing on what it stands."""
    like: str | None = None
    """Of a kind that a user described: scientific name of the kind whose statements it takes over."""
    own: bool = False
    """Described by a user."""

    @property
    def name(self) -> str:
        """Its first English name."""
        return self.english[0]

    @property
    def names(self) -> tuple[str, ...]:
        """All its names, scientific first."""
        return (self.scientific, *self.synonyms, *self.english, *self.spanish)


@dataclass(frozen=True, eq=False)
class Catalogue:
    """All kinds with their evidence. Compared and hashed by identity.

    Parameters
    ----------
    taxa : sequence of Taxon
        Kinds, with distinct keys and names.
    evidence_rows : sequence of Evidence
        Statements; each names its kind by the scientific name.
    habits, heats : sequence of Habit, of Heat
        Statements on season and on heat; heat of "(general) tropical trees" is shown with every kind.

    Raises
    ------
    ValueError
        If two kinds share a name, or evidence names no kind; all such problems at once.
    """

    taxa: tuple[Taxon, ...]
    evidence_rows: tuple[Evidence, ...]
    habits: tuple[Habit, ...] = ()
    heats: tuple[Heat, ...] = ()
    _by_name: MappingProxyType[str, Taxon] = field(init=False, repr=False)
    _rows: MappingProxyType[str, tuple[Evidence, ...]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        rows: dict[str, list[Evidence]] = {t.scientific: [] for t in self.taxa}
        problems = []
        for row in self.evidence_rows:
            if row.taxon in rows:
                rows[row.taxon].append(row)
            else:
                problems.append(f'evidence names "{row.taxon}", which is no scientific name of a kind')
        by_name: dict[str, Taxon] = {}
        for taxon in self.taxa:
            for name in self._names(taxon, rows[taxon.scientific]):
                other = by_name.setdefault(folded(name), taxon)
                if other is not taxon:
                    problems.append(f'"{name}" names both {other.scientific} and {taxon.scientific}')
        if problems:
            raise ValueError("; ".join(problems))
        object.__setattr__(self, "_by_name", MappingProxyType(by_name))
        object.__setattr__(self, "_rows", MappingProxyType({name: tuple(found) for name, found in rows.items()}))

    @staticmethod
    def _names(taxon: Taxon, rows: Iterable[Evidence]) -> Iterator[str]:
        yield taxon.key
        yield from taxon.names
        yield from taxon.cultivars
        yield from {row.common_name for row in rows}

    def find(self, name: str) -> Taxon:
        """Find a kind by any of its names.

        Parameters
        ----------
        name : str
            Scientific, English or Spanish, or a well-known cultivar, alone or beside the name of its kind
            ("aguacate Hass"); case, accents, spaces, hyphens and the words "type" and "hybrid" are overlooked.

        Returns
        -------
        Taxon

        Raises
        ------
        UnknownTaxonError
            If no kind is called so; it offers near names.
        """
        found = self._by_name.get(folded(name)) or self._with_cultivar(name)
        if found is None:
            raise UnknownTaxonError(name, self.near(name))
        return found

    def _with_cultivar(self, name: str) -> Taxon | None:
        """Find the kind of "Hass avocado" or "aguacate Hass": a cultivar beside a name of its own genus."""
        words = name.replace("'", " ").replace('"', " ").split()
        for cut in range(1, len(words)):
            parts = " ".join(words[:cut]), " ".join(words[cut:])
            for cultivar, rest in (parts, parts[::-1]):
                taxon, beside = self._by_name.get(folded(cultivar)), self._by_name.get(folded(rest))
                if taxon is None or beside is None or _genus(taxon) != _genus(beside):
                    continue
                if folded(cultivar) in {folded(known) for known in taxon.cultivars}:
                    return taxon
        return None

    def near(self, name: str, n: int = 3) -> list[str]:
        """Give the names of kinds most like a word, each kind once, best first."""
        known = {name: taxon for taxon in self.taxa for name in (*taxon.names, *taxon.cultivars)}
        near: dict[str, str] = {}
        for offered in near_names(name, known, n=4 * n):
            near.setdefault(known[offered].key, offered)
        return list(near.values())[:n]

    def evidence(self, taxon: Taxon) -> tuple[Evidence, ...]:
        """Give all published statements on a kind, in the order of the tables."""
        return self._rows[taxon.scientific]

    def habit(self, taxon: Taxon) -> tuple[Habit, ...]:
        """Give what is published on a kind's leaf habit and season."""
        return tuple(row for row in self.habits if row.taxon in (taxon.scientific, taxon.like))

    def heat(self, taxon: Taxon) -> tuple[Heat, ...]:
        """Give what is published on a kind and heat."""
        return tuple(row for row in self.heats if row.taxon in (taxon.scientific, taxon.like))

    def heat_of_others(self, taxon: Taxon) -> tuple[Heat, ...]:
        """Give what is published on heat of its genus outside the catalogue, of many kinds, or as a reference for all.

        Every row of the table is given by `heat` or here for some kind.
        """
        genus = _genus(taxon)
        return tuple(
            row
            for row in self.heats
            if row.taxon.startswith(GENERAL) or (row.taxon.split()[0] == genus and row.taxon not in self._rows)
        )

    def meant(self, name: str) -> Taxon | None:
        """Give the one kind that a misspelt name surely means, or None.

        Parameters
        ----------
        name : str
            A name that `find` does not know.

        Returns
        -------
        Taxon or None
            The kind with a name that is the fewest slips of the pen away, if they are few for a name of that length
            (`SLIPS`) and no other kind is as near.
        """
        wanted = folded(name[:120])
        allowed = next((slips for letters, slips in SLIPS if len(wanted) >= letters), 0)
        near: dict[str, int] = {}
        for known, taxon in self._by_name.items():
            if abs(len(known) - len(wanted)) <= allowed:
                slips = slips_between(wanted, known)
                near[taxon.key] = min(slips, near.get(taxon.key, slips))
        least = min(near.values(), default=allowed + 1)
        meant = [key for key, slips in near.items() if slips == least]
        return self._by_name[folded(meant[0])] if least <= allowed and len(meant) == 1 else None

    def family(self, family: str) -> tuple[Taxon, ...]:
        """Give the kinds of a family."""
        return tuple(taxon for taxon in self.taxa if taxon.family == family)

    def relatives(self, taxon: Taxon) -> tuple[Taxon, ...]:
        """Give the other kinds of its family whose statements are not its own once more."""
        return tuple(
            other
            for other in self.family(taxon.family)
            if other is not taxon and other.like is None and other.scientific != taxon.like
        )


def _genus(taxon: Taxon) -> str:
    """Give the genus: of a user's kind, that of the kind it is like."""
    return (taxon.like or taxon.scientific).split()[0]


_PASSED_OVER = re.compile(r"\b(type|types|hybrids?|group|var|f|cv)\b")


def folded(name: str) -> str:
    """Reduce a name to what is compared: letters and digits without case, accents, spaces and rank words."""
    plain = unicodedata.normalize("NFKD", name.replace("×", " x ")).casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = _PASSED_OVER.sub(" ", re.sub(r"[^a-z0-9]+", " ", plain))
    return re.sub(r"[^a-z0-9]", "", re.sub(r"\bx\b", " ", plain))


def slips_between(one: str, other: str) -> int:
    """Count the letters left out, added, changed or swapped with their neighbour between two words.

    The optimal string alignment distance: no letter is touched twice.

    Examples
    --------
    >>> slips_between("mangoe", "mango"), slips_between("passionfriut", "passionfruit")
    (1, 1)
    """
    before: list[int] = []
    row = list(range(len(other) + 1))
    for at, letter in enumerate(one, start=1):
        earlier, before, row = before, row, [at]
        for to, wanted in enumerate(other, start=1):
            least = min(before[to] + 1, row[to - 1] + 1, before[to - 1] + (letter != wanted))
            if at > 1 and to > 1 and letter == other[to - 2] and one[at - 2] == wanted:
                least = min(least, earlier[to - 2] + 1)
            row.append(least)
    return row[-1]


@cache
def catalogue() -> Catalogue:
    """Give the catalogue that comes with fruitwall; read once."""
    data = resources.files("fruitwall.plants") / "data"
    sources = {
        row["source_key"]: read_source(row)
        for file in ("sources.csv", "sources_added.csv")
        for row in csv.DictReader((data / file).read_text(encoding="utf-8").splitlines())
    }
    voices = parse_voices((data / "one_source.yaml").read_text(encoding="utf-8"))
    rows = [
        row
        for file in ("cold_injury.csv", "evidence_added.csv")
        for row in parse_evidence((data / file).read_text(encoding="utf-8"), sources, voices)
    ]
    cultivars = yaml.load((data / "cultivars.yaml").read_text(encoding="utf-8"), _LOADER)
    taxa = parse_taxa((data / "taxa.yaml").read_text(encoding="utf-8"))
    if strangers := set(cultivars) - {taxon.key for taxon in taxa}:
        raise ValueError(f"cultivars.yaml names kinds that are not in taxa.yaml: {', '.join(sorted(strangers))}")
    return Catalogue(
        tuple(replace(taxon, cultivars=tuple(map(str, cultivars.get(taxon.key, ())))) for taxon in taxa),
        tuple(rows),
        tuple(
            Habit(
                taxon=row["taxon"],
                leaf_habit=row["leaf_habit"],
                natural_leaf_drop=row["natural_leaf_drop"],
                new_growth=row["typical_new_growth_months"],
                bloom_to_harvest_months=_span(row["bloom_to_harvest_months_low"], row["bloom_to_harvest_months_high"]),
                source=sources[row["source_key"]],
                locator=row["locator"],
            )
            for row in csv.DictReader((data / "habit.csv").read_text(encoding="utf-8").splitlines())
        ),
        tuple(
            Heat(
                taxon=row["taxon"],
                stage=row["stage"],
                effect=row["effect"],
                temperature_c=float(row["temp_c"]),
                source=sources[row["source_key"]],
                locator=row["locator"],
                note=row["note"],
            )
            for row in csv.DictReader((data / "heat_injury.csv").read_text(encoding="utf-8").splitlines())
        ),
    )


def _span(low: str, high: str) -> tuple[float, float] | None:
    """Read a range of which either end may be missing; both missing is None."""
    return (float(low or high), float(high or low)) if low or high else None


def parse_voices(text: str) -> dict[str, str]:
    """Read which source keys speak with one voice: source key to voice."""
    return {key: voice for voice, keys in yaml.load(text, _LOADER).items() for key in keys}


def parse_taxa(text: str) -> list[Taxon]:
    """Read kinds from YAML as in `data/taxa.yaml`.

    Raises
    ------
    ValueError
        For unknown or missing fields and impossible sizes, naming the kind.
    """
    taxa = []
    for entry in yaml.load(text, _LOADER):
        fields = entry | {name: tuple(entry.get(name, ())) for name in ("english", "spanish", "synonyms")}
        try:
            taxon = Taxon(**fields)
        except TypeError as problem:
            raise ValueError(f"kind {entry.get('key', entry)!r}: {problem}") from None
        if not taxon.english:
            raise ValueError(f"kind {taxon.key!r}: english must hold at least one name, got none")
        habits = get_args(LeafHabit)
        if taxon.leaf_habit not in habits:
            raise ValueError(
                f"kind {taxon.key!r}: leaf_habit must be one of {', '.join(habits)}, got {taxon.leaf_habit!r}"
            )
        for what, size in (("leaf_width_m", taxon.leaf_width_m), ("fruit_diameter_m", taxon.fruit_diameter_m)):
            if not 0 < size <= 1:
                raise ValueError(f"kind {taxon.key!r}: {what} must be greater than 0 and at most 1 m, got {size}")
        taxa.append(taxon)
    return taxa


def parse_evidence(text: str, sources: dict[str, Source], voices: dict[str, str]) -> list[Evidence]:
    """Read statements on cold from CSV as in `data/cold_injury.csv`.

    Parameters
    ----------
    text : str
        The table with its header.
    sources : dict
        Source key to source.
    voices : dict
        Source key to the independent source it counts towards; its own key if left out.

    Raises
    ------
    ValueError
        For a row without source, without `type=` tag, with unknown words or an impossible range; names the row.
    """
    rows = []
    for number, row in enumerate(csv.DictReader(text.splitlines()), start=2):
        try:
            rows.append(_evidence(row, sources, voices))
        except (ValueError, KeyError) as problem:
            raise ValueError(f"evidence row {number} ({row.get('taxon')}): {problem}") from None
    return rows


def _evidence(row: dict[str, str], sources: dict[str, Source], voices: dict[str, str]) -> Evidence:
    tag = re.search(r"\btype=(\w+)", row["note"])
    if tag is None:
        raise ValueError("note must hold a tag such as type=threshold")
    low, high = float(row["temp_c_low"]), float(row["temp_c_high"])
    if not -60 <= low <= high <= 30:
        raise ValueError(f"temp_c_low, temp_c_high must be colder first and within -60 to 30 °C, got {low}, {high}")
    words: Sequence[tuple[str, str, Any]] = (
        ("stage", row["stage"], Stage),
        ("effect", row["effect"], Effect),
        ("type", tag[1], EvidenceType),
    )
    for what, word, allowed in words:
        if word not in get_args(allowed):
            raise ValueError(f"{what} must be one of {', '.join(get_args(allowed))}, got {word!r}")
    return Evidence(
        taxon=row["taxon"],
        common_name=row["common_name"],
        stage=row["stage"],  # type: ignore[arg-type]  # checked above
        effect=row["effect"],  # type: ignore[arg-type]
        type=tag[1],  # type: ignore[arg-type]
        low_c=low,
        high_c=high,
        as_stated=row["temp_as_stated"],
        duration_h=float(row["duration_h"]) if row["duration_h"] else None,
        source=sources[row["source_key"]],
        voice=voices.get(row["source_key"], row["source_key"]),
        locator=row["locator"],
        note=row["note"],
        from_memory="from memory" in row["note"][: tag.start()],
        at_tissue=tag[1] == "lab_LT" or "tissue=air" in row["note"],
        unhardened="not hardened" in row["note"],
    )


def read_source(row: dict[str, str]) -> Source:
    """Read one row of a table of sources."""
    return Source(
        key=row["source_key"],
        authors=row["authors"],
        year=row["year"],
        title=row["title"],
        publisher=row["publisher"],
        identifier=row["identifier_or_url"],
        kind=row["kind"],
    )


_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
