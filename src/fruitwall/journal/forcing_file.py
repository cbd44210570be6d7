"""Weather as bytes for the journal: a forcing packed without loss, for sources that have no body to keep."""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from datetime import datetime
from typing import Any

import numpy as np

from fruitwall.errors import JournalError
from fruitwall.speech import Told, say, told
from fruitwall.weather.forcing import Forcing

MEDIA_TYPE = "application/x-fruitwall-forcing"
"""NumPy's npz with one array for each array of a `Forcing` and the rest as JSON in the array ``rest``."""


def pack_forcing(forcing: Forcing) -> bytes:
    """Give a forcing as bytes; the same forcing gives the same bytes.

    Parameters
    ----------
    forcing : Forcing
        Of any shape.

    Returns
    -------
    bytes
        For `Journal.store_forecast`, of type `MEDIA_TYPE`. Not compressed: the journal does that.
    """
    arrays: dict[str, Any] = {}
    rest: dict[str, Any] = {}
    for field in dataclasses.fields(forcing):
        value = getattr(forcing, field.name)
        if isinstance(value, np.ndarray):
            arrays[field.name] = value
        elif isinstance(value, datetime):
            rest[field.name] = {"time": value.isoformat()}
        elif isinstance(value, tuple):
            rest[field.name] = [_sentence(one) for one in value]
        else:
            rest[field.name] = _sentence(value)
    header = np.frombuffer(json.dumps(rest, sort_keys=True).encode(), dtype=np.uint8)
    buffer = io.BytesIO()
    np.savez(buffer, allow_pickle=False, rest=header, **arrays)
    return buffer.getvalue()


def unpack_forcing(packed: bytes) -> Forcing:
    """Give back what `pack_forcing` took.

    Parameters
    ----------
    packed : bytes
        From `pack_forcing`.

    Returns
    -------
    Forcing
        Equal to the packed one in every value.

    Raises
    ------
    JournalError
        If the bytes are something else.
    """
    try:
        with np.load(io.BytesIO(packed), allow_pickle=False) as stored:
            values: dict[str, Any] = {name: stored[name] for name in stored.files}
        rest = json.loads(values.pop("rest").tobytes())
        for name, value in rest.items():
            values[name] = [_read(one) for one in value] if isinstance(value, list) else _read(value)
        return Forcing(**values)
    except (OSError, EOFError, KeyError, TypeError, ValueError, zipfile.BadZipFile) as error:
        raise JournalError(say("stored weather cannot be read: {error}", error=error)) from error


def _sentence(value: Any) -> Any:
    """Keep of a told sentence what made it, so that it is said again to readers of every language."""
    if not isinstance(value, Told):
        return value
    phrase = value.phrase
    values = {name: _sentence(one) for name, one in phrase.values.items()}
    simple = all(isinstance(one, str | int | float | dict) for one in values.values())
    if phrase.many is not None or phrase.capital or not simple:
        return str(value)
    return {"told": phrase.template, "values": values}


def _read(value: Any) -> Any:
    """Read what `_sentence` kept, or a time."""
    if not isinstance(value, dict):
        return value
    if "time" in value:
        return datetime.fromisoformat(value["time"])
    return told(value["told"], **{name: _read(one) for name, one in value["values"].items()})
