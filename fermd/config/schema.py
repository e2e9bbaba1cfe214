"""JSON Schema of the site file and the profiles, for editors that complete and check TOML."""

from __future__ import annotations

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
