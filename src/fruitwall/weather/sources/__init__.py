"""Forecast sources: files and public services, recognised by what they hold.

The names of this package are loaded when they are first asked for, so that importing it costs nothing.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fruitwall.weather.sources.forecast import SERVICES, read_forecast

__all__ = ["SERVICES", "read_forecast"]


def __getattr__(name: str) -> Any:
    """Load a public name on first use."""
    if name in __all__:
        from fruitwall.weather.sources import forecast

        return getattr(forecast, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
