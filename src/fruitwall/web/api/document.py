"""The description of the interface by OpenAPI 3.1."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from fruitwall.web.api.shapes import DIGEST, UUID, WHEN
from fruitwall.web.pages import PROBLEM

ABOUT = """What a household's fruitwall knows and takes.

Times carry their zone and are answered in UTC; units stand in names. Send the key of a script as
`Authorization: Bearer KEY`; everybody with an account makes keys under Settings, People and devices. A key of the scope
`readings` posts readings and nothing else, `viewer` looks, `helper` also logs. What goes wrong is told as a problem
document (RFC 9457). A key may ask 120 times at once and then twice a second; beyond that it gets 429 and `Retry-After`.
"""

POST_READING = {"sensor": "post by the wall", "quantity": "air_temperature_c"}
SENT = {
    "/api/readings": {
        "summary": "Two readings of one post",
        "value": [
            {
                "sensor": "post by the wall",
                "quantity": "air_temperature_c",
                "at": "2026-12-22T14:50:00Z",
                "value": -1.5,
            },
            {
                "sensor": "post by the wall",
                "quantity": "air_temperature_c",
                "at": "2026-12-22T07:00:00-08:00",
                "value": 30.2,
                "unit": "F",
            },
        ],
    },
    "/api/entries": {
        "summary": "A look at a tree, and a note",
        "value": {
            "entries": [
                {
                    "id": UUID,
                    "kind": "sighting",
                    "tree": "papaya",
                    "at": "2026-12-22T14:50:00Z",
                    "body": {"grade": 2, "signs": ["tips"], "note": "north side"},
                },
                {
                    "id": "5f0c9b0e-8a51-4c0e-9a35-0c4b3e1d7f11",
                    "kind": "note",
                    "at": "2026-12-22T14:55:00Z",
                    "body": {"note": "Ice on the bucket"},
                },
            ]
        },
    },
}
"""Examples of what is sent, by address."""

FORM = {"/api/photos": {"taken": WHEN}}
"""Examples of fields of forms, by address; a photo has none."""

ANSWERED = {
    "/api/photos": {"sha256": DIGEST, "width": 1536, "height": 2048, "taken": WHEN},
    "/api/entries": {"answers": [{"id": UUID, "result": "stored", "reason": "", "warnings": []}]},
}
"""Examples of what is answered, where the shapes say too little."""


def api_document(app: FastAPI) -> dict[str, Any]:
    """Describe the interface by OpenAPI 3.1: the addresses under ``/api``, not the pages.

    Parameters
    ----------
    app : FastAPI

    Returns
    -------
    dict
        Of JSON values.
    """
    document = get_openapi(
        title="fruitwall",
        version=_version(),
        description=ABOUT,
        routes=app.routes,
    )
    document["paths"] = {path: calls for path, calls in document["paths"].items() if path.startswith("/api/")}
    parts = document.setdefault("components", {})
    parts["securitySchemes"] = {
        "key": {"type": "http", "scheme": "bearer", "description": "Key of a script, made under People and devices"}
    }
    for path, calls in document["paths"].items():
        for method, call in calls.items():
            # Without any account whoever sits at the machine asks without a key.
            call["security"] = [{"key": []}, {}]
            for content in call.get("requestBody", {}).get("content", {}).values():
                _hoist(content.get("schema", {}), parts.setdefault("schemas", {}))
                for field, example in FORM.get(path, {}).items():
                    content["schema"]["properties"][field]["examples"] = [example]
                if path in SENT:
                    content["examples"] = {"some": SENT[path]}
            for status, answer in call["responses"].items():
                if int(status) >= 400:
                    answer["content"] = {PROBLEM: answer.get("content", {}).get("application/json", {})}
                elif method == "post" and path in ANSWERED:
                    answer["content"]["application/json"]["example"] = ANSWERED[path]
    return document


def _hoist(schema: dict[str, Any], known: dict[str, Any]) -> None:
    """Move definitions that a schema brings along to where references of the whole document find them."""

    def renamed(part: Any) -> Any:
        if isinstance(part, dict):
            return {key: renamed(value) for key, value in part.items()}
        if isinstance(part, list):
            return [renamed(one) for one in part]
        return part.replace("#/$defs/", "#/components/schemas/") if isinstance(part, str) else part

    known.update(renamed(schema.pop("$defs", {})))
    schema.update(renamed(dict(schema)))


def _version() -> str:
    from fruitwall import __version__

    return __version__
