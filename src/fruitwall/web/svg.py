"""Writing SVG by small typed calls, with everything escaped.

Appearance comes from classes (the content policy forbids inline style); geometry from attributes.
"""

from __future__ import annotations

from markupsafe import Markup, escape

Attribute = str | float | int | None


def tag(name: str, *children: str, **attributes: Attribute) -> Markup:
    """Write one element.

    Parameters
    ----------
    name : str
        Element name.
    children : str
        Text (escaped) or `Markup` (taken as it is).
    attributes
        Attributes; ``class_`` stands for class, other underscores become hyphens, None leaves the attribute out.

    Returns
    -------
    Markup
        The element, self-closing if it has no children.
    """
    written = "".join(
        f' {_attribute_name(key)}="{escape(number(value) if isinstance(value, int | float) else value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if not children:  # every part is escaped here or was when it was written
        return Markup(f"<{name}{written}/>")
    return Markup(f"<{name}{written}>{''.join(escape(child) for child in children)}</{name}>")


def number(value: float) -> str:
    """Write a coordinate with at most two decimals and no trailing zeros."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def points(pairs: list[tuple[float, float]]) -> str:
    """Write the points attribute of a polygon or polyline."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in pairs)


def _attribute_name(key: str) -> str:
    """Turn a Python argument name into an attribute name; viewBox and its like keep their capitals."""
    return key.rstrip("_").replace("_", "-")
