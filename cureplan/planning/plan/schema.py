"""The JSON Schema of plan.json, each property described."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from cureplan.planning.plan.model import FORMAT, plan_adapter

__all__ = ["plan_schema"]

_UNITS = {
    "_w_m_k": "W/(m·K)", "_j_kg_k": "J/(kg·K)", "_m2_m3": "m²/m³", "_kg_m3": "kg/m³",
    "_kg_m2": "kg/m²", "_kg_m": "kg/m", "_m_s": "m/s",
    "_m2_s": "m²/s", "_j_mol": "J/mol", "_w_k": "W/K", "_m2": "m²",
    "_m3": "m³", "_deg": "°", "_frac": "share, 0 to 1", "_min": "min", "_minutes": "min",
    "_kg": "kg", "_c": "°C", "_k": "K", "_m": "m", "_s": "s", "_w": "W",
}  # fmt: skip


def plan_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of `plan.json`, each property described."""
    schema: dict[str, Any] = plan_adapter().json_schema(mode="serialization")
    properties = schema["properties"]
    properties["digest"] = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
    schema["required"] = ["format", *schema["required"], "digest"]
    schema["$defs"]["Message"]["properties"]["text"] = {"type": "string"}
    for kind, table in {**schema["$defs"], "Plan": schema}.items():
        for name, said in table.get("properties", {}).items():
            said["description"] = _description(kind, name)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:cureplan:plan:{FORMAT}",
        **schema,
        "title": "cureplan plan",
    }


def _description(kind: str, name: str) -> str:
    described = _descriptions()
    text = described.get(f"{kind}.{name}") or described.get(name, "")
    unit = next((unit for end, unit in _UNITS.items() if name.endswith(end)), None)
    return f"{text} [{unit}]" if text and unit else text


@cache
def _descriptions() -> Mapping[str, str]:
    import tomllib
    from importlib.resources import files

    path = files("cureplan.planning.plan") / "descriptions.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))
