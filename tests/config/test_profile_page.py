"""The page on how a profile is written, and the schemas for editors, say what is so."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import get_args

import pytest

from fermd.config.profile_file import parse_profile
from fermd.config.schema import profile_schema, site_schema
from fermd.control.steps import Step

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "profiles" / "README.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^## ([a-z-]+): .*?^```toml\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)


def test_every_kind_of_step_has_its_paragraph_with_an_example() -> None:
    assert [kind for kind, _ in EXAMPLES] != []
    assert {kind for kind, _ in EXAMPLES} == {step.kind for step in get_args(Step)}


@pytest.mark.parametrize(("kind", "text"), EXAMPLES, ids=[kind for kind, _ in EXAMPLES])
def test_each_example_is_a_profile_with_a_step_of_its_kind(kind: str, text: str) -> None:
    profile = parse_profile(text, "profiles/README.md")
    assert kind in {step.kind for step in profile.steps}


def test_the_schemas_for_editors_are_those_of_the_code() -> None:
    remedy = "write them anew: python -m fermd.config.schema"
    shipped = json.loads((ROOT / "profiles" / "profile.schema.json").read_text(encoding="utf-8"))
    assert shipped == profile_schema(), remedy
    shipped = json.loads((ROOT / "systemd" / "site.schema.json").read_text(encoding="utf-8"))
    assert shipped == site_schema(), remedy
