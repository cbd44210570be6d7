"""What is published on containers and covers: `fruitwall gear` and the page of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from pydantic import Field

from fruitwall.plans.gear_facts import ContainerFact, CoverFact, Range, container_facts, cover_facts
from fruitwall.service.evening_document import Document
from fruitwall.service.household import NO_BREAK, Household, decimal, signed
from fruitwall.service.kind import origin_of
from fruitwall.service.kind_document import Origin
from fruitwall.speech import marked, say
from fruitwall.yard.display import format_quantity

ABOUT_CONTAINERS = marked(
    "What a nursery calls 15 gallons holds about 55 litres. Where nobody has weighed a pot, the plan works its mass "
    "out from volume, mix, wetness and tree; the masses here are the published ones beside it."
)
ABOUT_COVERS = marked(
    "How much warmer it was under covers at night, as published: from nothing to many degrees, for the gain comes from "
    "the ground and depends on wind and sky. The plan does not use these gains; it works each cover out from its own "
    "heat balance, and its answers can be held against them."
)


class Span(Document):
    """Lowest and highest published value; the same twice for a single one."""

    low: float
    high: float


class ContainerRow(Document):
    """One published statement on a container."""

    volume_l: Span | None = Field(description="[L]")
    mass_kg: Span | None = Field(description="Watered and just drained. [kg]")
    top_cm: float | None
    base_cm: float | None
    height_cm: float | None
    basis: str
    status: str = Field(description="Read, computed, or from memory")
    origins: list[Origin]


class ContainerGroup(Document):
    """All that is published on one size of container, with the spread over the statements."""

    container: str
    nominal: str
    volume_l: Span | None
    mass_kg: Span | None
    rows: list[ContainerRow]


class CoverRow(Document):
    """One published statement on a cover."""

    material: str
    g_m2: float | None = Field(description="[g/m²]")
    gain_k: Span | None = Field(description="How much warmer it was under it at night; minus: colder. [K]")
    light: Span | None = Field(description="Share of the light that it lets through. [0-1]")
    u_w_m2k: Span | None = Field(description="Heat that it passes. [W/(m² K)]")
    conditions: str
    status: str = Field(description="Read, or from memory")
    origins: list[Origin]


class GearDocument(Document):
    """Everything published on containers and covers."""

    containers: list[ContainerGroup]
    covers: list[CoverRow]


def describe_gear() -> GearDocument:
    """Give all published statements on containers, by size, and on covers."""
    sizes: dict[str, list[ContainerFact]] = {}
    for fact in container_facts():
        sizes.setdefault(fact.container, []).append(fact)
    return GearDocument(
        containers=[
            ContainerGroup(
                container=container,
                nominal=facts[0].nominal,
                volume_l=_over(fact.volume_l for fact in facts),
                mass_kg=_over(fact.mass_kg for fact in facts),
                rows=[_container(fact) for fact in facts],
            )
            for container, facts in sorted(sizes.items(), key=_by_volume)
        ],
        covers=[_cover(fact) for fact in cover_facts()],
    )


def container_figures(row: ContainerRow | ContainerGroup, household: Household) -> str:
    """Write volume, mass and sizes of a container in the household's units: "54.9 L; 36 to 54 kg watered".

    Parameters
    ----------
    row : ContainerRow or ContainerGroup
        One statement, or the spread over all of one size.
    household : Household
    """
    parts = []
    if row.volume_l:
        parts.append(_span(row.volume_l, lambda value: decimal(format_quantity(value, "volume", household.display))))
    if row.mass_kg:
        mass = _span(row.mass_kg, lambda value: decimal(format_quantity(value, "mass", household.display)))
        parts.append(say("{mass} watered", mass=mass))
    if isinstance(row, ContainerRow):
        sizes = (
            (marked("{size} across the top"), row.top_cm),
            (marked("{size} across the base"), row.base_cm),
            (marked("{size} high"), row.height_cm),
        )
        parts += [say(what, size=_centimetres(size, household)) for what, size in sizes if size is not None]
    return "; ".join(parts) or say("no figure")


def cover_figures(row: CoverRow, household: Household) -> str:
    """Write the figures of a cover: "41 g/m²; 2.2 K warmer at night".

    Parameters
    ----------
    row : CoverRow
    household : Household
    """
    parts = []
    if row.g_m2 is not None:
        parts.append(f"{row.g_m2:.0f}{NO_BREAK}g/m²")
    if row.gain_k:
        gain = _span(row.gain_k, lambda k: f"{signed(_gain(k, household))}{NO_BREAK}{household.step}")
        parts.append(say("{gain} at night", gain=gain))
    if row.light:
        parts.append(say("{share} of the light", share=_span(row.light, lambda share: f"{100 * share:.0f}{NO_BREAK}%")))
    if row.u_w_m2k:
        heat = _span(row.u_w_m2k, lambda u: decimal(f"{u:.1f}{NO_BREAK}W/(m²{NO_BREAK}K)"))
        parts.append(say("passes {heat}", heat=heat))
    return "; ".join(parts) or say("no figure")


def _gain(kelvin: float, household: Household) -> str:
    """Write a gain with its sign, in the household's degrees."""
    return decimal(f"{kelvin * 1.8 if household.fahrenheit else kelvin:+.1f}")


def _centimetres(size_cm: float, household: Household) -> str:
    """Write a size: whole centimetres, or inches for who reads feet."""
    if household.display.length == "ft":
        return f"{size_cm / 2.54:.0f}{NO_BREAK}in"
    return f"{size_cm:.0f}{NO_BREAK}cm"


def _span(span: Span, written: Callable[[float], str]) -> str:
    """Write a range with one unit, a single figure once."""
    low, high = written(span.low), written(span.high)
    if low == high:
        return high
    unit = high[high.find(NO_BREAK) :]
    return say("{low} to {high}", low=low.removesuffix(unit), high=high)


def _container(fact: ContainerFact) -> ContainerRow:
    """Give one statement on a container."""
    return ContainerRow(
        volume_l=_as_span(fact.volume_l),
        mass_kg=_as_span(fact.mass_kg),
        top_cm=fact.top_cm,
        base_cm=fact.base_cm,
        height_cm=fact.height_cm,
        basis=fact.basis,
        status=fact.status,
        origins=_origins(fact),
    )


def _cover(fact: CoverFact) -> CoverRow:
    """Give one statement on a cover."""
    return CoverRow(
        material=fact.material,
        g_m2=fact.g_m2,
        gain_k=_as_span(fact.gain_k),
        light=_as_span(fact.light),
        u_w_m2k=_as_span(fact.u_w_m2k),
        conditions=fact.conditions,
        status=fact.status,
        origins=_origins(fact),
    )


def _origins(fact: ContainerFact | CoverFact) -> list[Origin]:
    """Give who says it; the place in the works, which the table gives once for all of them, stands with the last."""
    last = len(fact.sources) - 1
    return [origin_of(source, fact.locator if at == last else "") for at, source in enumerate(fact.sources)]


def _as_span(found: Range | None) -> Span | None:
    """Give a range of the table as one of the document."""
    return Span(low=found[0], high=found[1]) if found else None


def _over(ranges: Iterable[Range | None]) -> Span | None:
    """Give the spread over all statements that say something."""
    said = [found for found in ranges if found]
    return Span(low=min(low for low, _ in said), high=max(high for _, high in said)) if said else None


def _by_volume(size: tuple[str, list[ContainerFact]]) -> float:
    """Order sizes by the volume, for those without one by their mass, which is about as many kilograms."""
    volume, mass = _over(fact.volume_l for fact in size[1]), _over(fact.mass_kg for fact in size[1])
    return volume.low if volume else mass.high if mass else 0.0
