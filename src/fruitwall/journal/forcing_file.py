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
from fruitwall.speech import say
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
        else:
            rest[field.name] = value
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
            values[name] = datetime.fromisoformat(value["time"]) if isinstance(value, dict) else value
        return Forcing(**values)
    except (OSError, EOFError, KeyError, TypeError, ValueError, zipfile.BadZipFile) as error:
        raise JournalError(say("stored weather cannot be read: {error}", error=error)) from error
