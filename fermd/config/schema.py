"""JSON Schema of the site file and the profiles, for editors that complete and check TOML."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

from fermd.config.profile_tables import profile_table
from fermd.config.site_tables import site_table

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"


def site_schema() -> dict[str, Any]:
    """What `fermd.toml` may hold."""
    return {"$schema": DIALECT} | site_table().model_json_schema() | {"title": "fermd site file"}


def profile_schema() -> dict[str, Any]:
    """What a profile may hold."""
    return {"$schema": DIALECT} | profile_table().model_json_schema() | {"title": "fermd profile"}


def write_shipped(root: Path) -> None:
    """Write both schemas where they are shipped, below the source tree's root."""
    for path, schema in (
        (root / "profiles" / "profile.schema.json", profile_schema()),
        (root / "systemd" / "site.schema.json", site_schema()),
    ):
        text = json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_shipped(Path(__file__).parents[2])
