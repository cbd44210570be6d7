"""The demo yard that comes with fruitwall."""

from __future__ import annotations

from importlib.resources import files

from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Yard

DEMO_NAME = "demo_yard.yaml"


def demo_yard_text() -> str:
    """Give the text of the demo yard's file, with its comments."""
    return (files("fruitwall.yard") / "data" / DEMO_NAME).read_text(encoding="utf-8")


def demo_yard() -> Yard:
    """Give the demo yard."""
    return parse_yard(demo_yard_text(), DEMO_NAME)
