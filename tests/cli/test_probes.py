"""`fermd probes`: with the daemon, without it, and before there is a site file."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from cli_rig import AIR_ID, LAGER, VESSEL_ID, RealDaemon, on_terminal, run

from fermd.hardware.fake_w1 import FakeW1Tree

NEW_ID = "28-00000bbbbbbb"


@pytest.fixture
def tree(tmp_path: Path) -> FakeW1Tree:
    tree = FakeW1Tree(tmp_path)
    tree.add_probe(VESSEL_ID, temp_c=10.5)
    tree.add_probe(NEW_ID, temp_c=21.0)
    return tree


@pytest.fixture
def site(tmp_path: Path, tree: FakeW1Tree) -> Iterator[Path]:
    path = tmp_path / "fermd.toml"
    text = LAGER.replace("W1ROOT", str(tree.root)).replace("JOURNAL", "/var/lib/fermd/j.db")
    text = text.replace("SOCKET", str(tmp_path / "s"))
    path.write_text(text.replace(f'id = "{VESSEL_ID}"', f'id = "{VESSEL_ID}"\noffset_c = 0.5'))
    return path


def test_before_there_is_a_site_file_every_probe_is_listed_and_read(tree: FakeW1Tree) -> None:
    found = run("probes", "--root", str(tree.root), "--json").json
    assert [(one["id"], one["temp_c"], one["probe"]) for one in found] == [
        (VESSEL_ID, 10.5, None),
        (NEW_ID, 21.0, None),
    ]
    shown = run("probes", "--root", str(tree.root), "-F").out.splitlines()
    assert shown[0].split() == ["id", "name", "role", "reads", "state"]
    assert shown[1] == f"{VESSEL_ID}  no name yet  -     50.90 °F  good"


def test_with_a_site_file_probes_have_names_roles_and_their_calibration(site: Path) -> None:
    found = run("probes", "--site", str(site), "--json").json
    by_id = {one["id"]: one for one in found}
    assert (by_id[VESSEL_ID]["probe"], by_id[VESSEL_ID]["role"]) == ("vessel", "controlling")
    assert by_id[VESSEL_ID]["temp_c"] == 11.0
    assert by_id[AIR_ID]["fault"] == "disconnected"
    assert by_id[NEW_ID]["probe"] is None
    shown = run("probes", "--site", str(site)).out
    assert "lager/vessel" in shown
    assert "disconnected" in shown


@pytest.mark.parametrize(
    ("show", "words"),
    [
        ("show_power_on", "power-on value"),
        ("show_open_line", "disconnected"),
        ("show_wrong_checksum", "checksum"),
        ("show_nothing", "no answer"),
    ],
)
def test_what_is_wrong_with_a_probe_is_named(tree: FakeW1Tree, show: str, words: str) -> None:
    getattr(tree, show)(VESSEL_ID)
    assert words in run("probes", "--root", str(tree.root)).out


def test_a_probe_that_hangs_its_bus_does_not_hang_the_command(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fermd.cli.probe_listing.PATIENCE_S", 0.5)
    pipe = tree.hang(NEW_ID)
    found = run("probes", "--root", str(tree.root), "--json").json
    assert [(one["id"], one["fault"]) for one in found] == [
        (VESSEL_ID, None),
        (NEW_ID, "no answer"),
    ]
    # Lets the reader go, twice: a first reading is thrown away.
    for _ in range(2):
        pipe.write_text("")


def test_a_probe_at_a_coarse_resolution_is_told(tree: FakeW1Tree) -> None:
    tree.show(VESSEL_ID, 10.5, resolution_bits=9)
    assert "good, 9 bits" in run("probes", "--root", str(tree.root)).out


def test_without_any_probe_the_reason_and_the_remedy_are_told(tmp_path: Path) -> None:
    ended = run("probes", "--root", str(tmp_path / "none"))
    assert ended.code == os.EX_UNAVAILABLE
    assert "dtoverlay=w1-gpio" in ended.err
    empty = run("probes", "--root", str(FakeW1Tree(tmp_path / "x").root), "--json")
    assert empty.code == os.EX_UNAVAILABLE
    assert empty.json == []
    assert "4.7 kΩ" in empty.err


def test_a_running_daemon_gives_its_readings_and_counters() -> None:
    with RealDaemon() as daemon:
        FakeW1Tree(daemon.folder)  # stands where the site file does not look: no other probe
        daemon.probes.temp_c[AIR_ID] = None
        daemon.until(lambda seen: "disconnected" in str(seen.chambers["lager"].healths["air"]))
        found = run("probes", "--json", env=daemon.environment).json
        assert [(one["id"], one["by"], one["role"]) for one in found] == [
            (VESSEL_ID, "fermd", "controlling"),
            (AIR_ID, "fermd", "limiting"),
        ]
        assert found[1]["faults"]["disconnected"] > 0
        shown = on_terminal("probes", env=daemon.environment).out
        assert "× disconnected" in shown
    daemon.remove()


def test_a_probe_without_a_name_is_read_beside_the_daemon() -> None:
    with RealDaemon() as daemon:
        tree = FakeW1Tree(daemon.folder / "kernel")
        tree.add_probe(NEW_ID, temp_c=4.0)
        (daemon.folder / "w1").symlink_to(tree.root)
        found = run("probes", "--json", env=daemon.environment).json
        assert (found[2]["id"], found[2]["by"], found[2]["temp_c"]) == (NEW_ID, "bus", 4.0)
    daemon.remove()
