"""Writer of the lists of codes in ``fencing/schema``: roles, forms, layouts and kinds of gate, from the tables of the engine.

Run as ``make schemas``. The rest of the schemas is written by hand.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fencing.model.measure import FORMS, LAYOUTS, Form, GateKind, Layout, MeasureBasis, Terminal
from fencing.model.roles import FAMILIES, ROLES

FOLDER = Path(__file__).resolve().parents[1] / "fencing" / "schema"
WIDTH = 120

ENUMS: Mapping[str, Mapping[str, Iterable[str]]] = {
    "system-2": {
        "properties/allowances/propertyNames": (*ROLES, *FAMILIES),
        "properties/components/propertyNames": ROLES,
    },
    "measure-2": {
        "properties/defaults/properties/form": Form,
        "properties/defaults/properties/layout": Layout,
        "properties/defaults/properties/basis": MeasureBasis,
        "$defs/gate/properties/kind": GateKind,
        "$defs/run/properties/basis": MeasureBasis,
        "$defs/run/properties/start": Terminal,
        "$defs/run/properties/end": Terminal,
        "$defs/run/properties/form": Form,
        "$defs/run/properties/layout": Layout,
    },
    "takeoff-2": {
        "$defs/role": ROLES,
        "$defs/bay/properties/form": FORMS,
        "$defs/option/properties/form": FORMS,
        "$defs/option/properties/layout": LAYOUTS,
        "$defs/run/properties/form": FORMS,
        "$defs/run/properties/layout": LAYOUTS,
        "$defs/gate/properties/kind": GateKind,
    },
}
"""Name of a schema -> path of a member with an ``enum`` -> its codes."""


def write_schema(name: str) -> str:
    """Return the text of a schema with the codes of the tables."""
    document: dict[str, Any] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    for path, codes in ENUMS[name].items():
        member = document
        for key in path.split("/"):
            member = member[key]
        member["enum"] = [str(code) for code in codes]
    return lay_out(document) + "\n"


def lay_out(value: Any, indent: int = 0, head: int = 0) -> str:
    """Return a value as JSON, in one line if it fits. ``head`` is the length of the key before it."""
    flat = json.dumps(value, ensure_ascii=False)
    if not isinstance(value, dict | list) or not value or (indent and indent + head + len(flat) + 1 <= WIDTH):
        return flat
    inner = " " * (indent + 2)
    if isinstance(value, dict):
        keys = [f"{json.dumps(key)}: " for key in value]
        rows = [key + lay_out(item, indent + 2, len(key)) for key, item in zip(keys, value.values(), strict=True)]
    else:
        rows = [lay_out(item, indent + 2) for item in value]
    first, last = "{}" if isinstance(value, dict) else "[]"
    return f"{first}\n{inner}" + f",\n{inner}".join(rows) + f"\n{' ' * indent}{last}"


def main() -> None:
    """Write every schema that has codes of a table."""
    for name in ENUMS:
        (FOLDER / f"{name}.json").write_text(write_schema(name), encoding="utf-8")


if __name__ == "__main__":
    main()
