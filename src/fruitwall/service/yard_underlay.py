"""A photo or sketch under the plan of the yard, to trace: which, how large, where, how strong.

It is placed by two points of the picture whose distance in the yard is known.
"""

from __future__ import annotations

from math import cos, hypot, radians, sin

from pydantic import BaseModel, ConfigDict, Field

from fruitwall.service.house import House
from fruitwall.service.pictures import keep_picture

KEY = "underlay"
"""Name of the setting."""

NEAREST_PX = 4.0
"""Points nearer to each other than this say nothing of the scale."""


class Underlay(BaseModel):
    """A picture under the plan."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    photo: str = Field(pattern="^[0-9a-f]{64}$")
    width: int = Field(gt=0)
    height: int = Field(gt=0)
    first: tuple[float, float] | None = Field(default=None, description="From the upper left corner. [pixels]")
    second: tuple[float, float] | None = None
    apart_m: float = Field(default=10.0, gt=0, le=10000, description="Of the two points in the yard")
    at: tuple[float, float] = Field(default=(0.0, 0.0), description="Of the first point in the yard. [m, m]")
    turn_deg: float = Field(default=0.0, ge=-360, le=360, description="Direction in which its top looks, from north")
    opacity: float = Field(default=0.5, ge=0.05, le=1)

    @property
    def placed(self) -> bool:
        """Whether both points are known."""
        return self.first is not None and self.second is not None

    @property
    def metre_per_px(self) -> float:
        """Size of a pixel in the yard. [m]"""
        if self.first is None or self.second is None:
            return self.apart_m / max(self.width, self.height)
        apart_px = hypot(self.second[0] - self.first[0], self.second[1] - self.first[1])
        return self.apart_m / max(apart_px, NEAREST_PX)

    @property
    def right_m(self) -> tuple[float, float]:
        """Step to the next pixel on the right, east and north. [m]"""
        turn = radians(self.turn_deg)
        return self.metre_per_px * cos(turn), -self.metre_per_px * sin(turn)

    @property
    def down_m(self) -> tuple[float, float]:
        """Step to the next pixel below, east and north. [m]"""
        turn = radians(self.turn_deg)
        return -self.metre_per_px * sin(turn), -self.metre_per_px * cos(turn)

    @property
    def corner_m(self) -> tuple[float, float]:
        """Place of the upper left corner in the yard. [m, m]"""
        u, v = self.first or (0.0, 0.0)
        right, down = self.right_m, self.down_m
        return self.at[0] - u * right[0] - v * down[0], self.at[1] - u * right[1] - v * down[1]


def underlay_of(house: House) -> Underlay | None:
    """Give the picture under the plan; None if there is none."""
    value = house.ledger.setting(KEY)
    return Underlay.model_validate(value) if value else None


def set_underlay(house: House, underlay: Underlay | None, *, author: str) -> None:
    """Set the picture under the plan, or take it away; what it was before stays in the journal."""
    value = underlay.model_dump(mode="json") if underlay is not None else None
    house.ledger.set(KEY, value, author=author, now=house.clock())


def take_underlay(house: House, content: bytes, name: str, *, author: str) -> Underlay:
    """Take in a picture to lie under the plan.

    Parameters
    ----------
    house : House
    content : bytes
        The file as it came.
    name : str
        Its name; only the ending is looked at.
    author : str

    Returns
    -------
    Underlay
        Not placed yet.

    Raises
    ------
    PictureRefused
        If it is not a picture that is taken.
    """
    stored = keep_picture(house, content, name=name)
    underlay = Underlay(photo=stored.sha256, width=stored.width, height=stored.height)
    set_underlay(house, underlay, author=author)
    return underlay
