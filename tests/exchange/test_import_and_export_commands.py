"""`fermd import` and `fermd export`, as they are typed."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from beerjson_rules import broken_rules
from click.testing import CliRunner, Result
from recipes import beerxml, document, fermentation, held, recipe_xml, steps, tags

from fermd.cli.catalogue import COMMANDS, Entry, fermd
from fermd.config.profile_file import load_profile
from fermd.control.steps import FinalHold, Hold


@pytest.fixture(autouse=True)
def _listed(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("import", "export"):
        monkeypatch.setitem(COMMANDS, name, COMMANDS.get(name) or Entry(f"{name}_steps", ""))


def run(*args: str) -> Result:
    result = CliRunner().invoke(fermd, args)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert "Traceback" not in result.output
    return result


def test_an_imported_recipe_is_a_profile_that_can_be_checked(tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.json"
    recipe.write_bytes(steps({**held(18, 7), "start_ph": {"unit": "pH", "value": 5.2}}))
    result = run("import", str(recipe))
    assert result.exit_code == 0
    assert "start_ph: 5.2 pH" in result.stderr
    assert "start_ph: 5.2 pH" in result.stdout.replace("\n#  ", "")
    profile = tmp_path / "ale.toml"
    profile.write_text(result.stdout, "utf-8")
    assert load_profile(profile).steps == (Hold(18, 7 * 86400, "primary"),)


def test_with_nothing_left_out_nothing_is_said(tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.xml"
    recipe.write_bytes(beerxml(recipe_xml(tags(PRIMARY_AGE=7, PRIMARY_TEMP=18))))
    result = run("import", str(recipe))
    assert (result.exit_code, result.stderr) == (0, "")


def test_one_of_several_is_named(tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.json"
    recipe.write_bytes(document(fermentation(held(18, 7)), fermentation(held(10, 7), name="Lager")))
    assert 'name = "Lager"' in run("import", str(recipe), "--name", "Lager").stdout
    unsaid = run("import", str(recipe))
    assert unsaid.exit_code == os.EX_DATAERR
    assert unsaid.stdout == ""
    assert unsaid.stderr.startswith(f"fermd: {recipe}: has 2 fermentations")
    assert run("import", str(recipe), "--name", "Stout").exit_code == os.EX_USAGE


def test_import_as_json_has_the_profile_and_the_list(tmp_path: Path) -> None:
    recipe = tmp_path / "recipe.xml"
    recipe.write_bytes(beerxml(recipe_xml(tags(PRIMARY_TEMP=18))))
    told = json.loads(run("import", str(recipe), "--json").stdout)
    assert told["profile"] == "Ale"
    assert 'kind = "final-hold"' in told["profile_toml"]
    assert told["left_out"][0]["where"] == "RECIPE[1].PRIMARY_AGE"


def test_files_that_cannot_be_read_end_with_their_own_codes(tmp_path: Path) -> None:
    assert run("import", str(tmp_path / "none.json")).exit_code == os.EX_NOINPUT
    assert run("import", str(tmp_path)).exit_code == os.EX_NOINPUT
    assert run("import", "/dev/zero").exit_code == os.EX_NOINPUT
    bad = tmp_path / "bad.json"
    bad.write_text("{")
    result = run("import", str(bad))
    assert result.exit_code == os.EX_DATAERR
    assert result.stderr.startswith(f"fermd: {bad}: line 1, column 2: is not JSON")
    large = tmp_path / "large.xml"
    large.write_bytes(b"<" + b" " * 4_000_000)
    assert "are read" in run("import", str(large)).stderr


def test_an_exported_profile_is_beerjson_and_can_be_imported(tmp_path: Path) -> None:
    result = run("export", "ale-free-rise")
    assert result.exit_code == 0
    assert "BeerJSON has no field for" in result.stderr
    assert broken_rules(json.loads(result.stdout)) == []
    exported = tmp_path / "ale.json"
    exported.write_text(result.stdout)
    profile = tmp_path / "ale.toml"
    profile.write_text(run("import", str(exported)).stdout, "utf-8")
    assert isinstance(load_profile(profile).steps[-1], FinalHold)


def test_a_profile_that_is_not_there_cannot_be_exported() -> None:
    assert run("export", "no-such-profile").exit_code == os.EX_NOINPUT
