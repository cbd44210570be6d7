"""A picture under the plan, placed by two points."""

from __future__ import annotations

from io import BytesIO

import pytest
from PIL import Image

from fruitwall.service.yard_underlay import Underlay, underlay_of
from tests.web.markup import read_page


def picture(width: int = 680, height: int = 400) -> bytes:
    out = BytesIO()
    Image.new("RGB", (width, height), "sienna").save(out, "PNG")
    return out.getvalue()


def at(underlay: Underlay, u: float, v: float) -> tuple[float, float]:
    """Give where a pixel lies in the yard."""
    right, down, corner = underlay.right_m, underlay.down_m, underlay.corner_m
    return corner[0] + u * right[0] + v * down[0], corner[1] + u * right[1] + v * down[1]


@pytest.mark.parametrize(
    ("turn", "second"), [(0, (10, 5)), (90, (0, -5)), (180, (-10, 5)), (-90, (0, 15))]
)  # to the right of the first in the picture, 10 m away
def test_two_points_and_a_direction_place_a_picture(turn, second):
    middle = {0: (0, 5), 90: (0, 5), 180: (0, 5), -90: (0, 5)}[turn]
    one = Underlay(
        photo="0" * 64, width=200, height=100, first=(50, 50), second=(150, 50), apart_m=10, at=middle, turn_deg=turn
    )

    assert at(one, 50, 50) == pytest.approx(middle)
    assert at(one, 150, 50) == pytest.approx(second)


def test_a_picture_is_brought_touched_twice_and_laid_under_the_plan(client_of, house):
    client = client_of(house=house)
    client.post("/yard/underlay", files={"picture": ("plan.png", picture(), "image/png")})
    client.post("/yard/underlay/point", data={"point.x": "34", "point.y": "100"})
    client.post("/yard/underlay/point", data={"point.x": "306", "point.y": "100"})
    placing = {"apart": "8", "east": "2", "north": "3", "turn": "0", "opacity": "40"}
    page = read_page(client.post("/yard/underlay/place", data=placing).text)

    stored = underlay_of(house)
    assert stored is not None
    assert (stored.first, stored.second, stored.opacity) == ((68, 200), (612, 200), 0.4)
    image = page.one("svg", cls="plan").one("image")
    assert image.attributes["opacity"] == "0.4"
    served = client.get(image.attributes["href"])
    assert served.headers["content-type"] == "image/jpeg"
    assert Image.open(BytesIO(served.content)).size == (680, 400)

    page = read_page(client.post("/yard/underlay/place", data={"away": "yes"}).text)
    assert not list(page.one("svg", cls="plan").all("image"))
    assert client.get("/yard/underlay/picture").status_code == 404


def test_what_is_no_picture_or_no_number_is_refused(client_of, house):
    client = client_of(house=house)
    assert client.post("/yard/underlay", files={"picture": ("x.png", b"<svg>", "image/png")}).status_code == 422
    assert client.post("/yard/underlay").status_code in (400, 422)
    assert underlay_of(house) is None
    client.post("/yard/underlay", files={"picture": ("plan.png", picture(), "image/png")})
    assert client.post("/yard/underlay/point", data={"point.x": "a"}).status_code == 422
    client.post("/yard/underlay/point", data={"point.x": "10", "point.y": "10"})
    near = client.post("/yard/underlay/point", data={"point.x": "11", "point.y": "10"})
    assert near.status_code == 422
    assert "farther" in near.text
    assert client.post("/yard/underlay/place", data={"apart": "0", "east": "x"}).status_code == 422
