"""Probes come and go, break and hang; the loop gets samples or faults and never waits."""

import doctest
import errno
import os
import time
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from hardware_rig import Gatherer, Pipe

from fermd.control.reading import ProbeFault
from fermd.hardware import fake_w1, w1_bus, w1_probe, w1_tree
from fermd.hardware.fake_w1 import FakeW1Tree
from fermd.hardware.w1_bus import W1ProbeBus

VESSEL = "28-000006b67845"
AIR = "28-0316a2795df5"
FLOOR = "28-01204b53a1cc"
PERIOD_S = 0.005


@pytest.fixture
def tree(tmp_path: Path) -> FakeW1Tree:
    return FakeW1Tree(tmp_path / "w1", masters=2)


def bus_of(tree: FakeW1Tree, *probe_ids: str, period_s: float = PERIOD_S) -> W1ProbeBus:
    return W1ProbeBus(tree.root, probe_ids or None, period_s, time.monotonic)


def has(temp_c: float) -> Any:
    return lambda sample: sample.temp_c == temp_c


def fails(fault: ProbeFault) -> Any:
    return lambda sample: sample.fault is fault


def test_several_probes_are_read_each_with_the_time_of_its_reading(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL, 19.5)
    tree.add_probe(AIR, 4.0, master=2)
    before_s = time.monotonic()
    with bus_of(tree, VESSEL, AIR) as bus:
        gatherer = Gatherer(bus)
        vessel = gatherer.until(VESSEL, has(19.5))
        gatherer.until(AIR, has(4.0))
    assert before_s <= vessel.taken_mono_s <= time.monotonic()
    times = [sample.taken_mono_s for sample in gatherer.samples[VESSEL]]
    assert times == sorted(times)


def test_without_a_list_every_probe_that_is_there_is_read(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL, 19.5)
    tree.add_probe("10-000802b4ba0e", 4.0)
    tree.add_phantom()
    with bus_of(tree) as bus:
        Gatherer(bus).until(VESSEL, has(19.5))
        assert bus.listed() == ("10-000802b4ba0e", VESSEL)


def test_a_probe_that_is_not_there_at_the_start_is_a_fault_and_taken_up_when_it_appears(
    tree: FakeW1Tree,
) -> None:
    with bus_of(tree, VESSEL) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, fails(ProbeFault.DISCONNECTED))
        assert bus.listed() == ()
        tree.add_probe(VESSEL, 12.25)
        gatherer.until(VESSEL, has(12.25))


def test_the_bus_itself_may_appear_later(tmp_path: Path) -> None:
    with W1ProbeBus(tmp_path / "w1/bus/w1/devices", [VESSEL], PERIOD_S, time.monotonic) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, fails(ProbeFault.DISCONNECTED))
        FakeW1Tree(tmp_path / "w1").add_probe(VESSEL, 12.25)
        gatherer.until(VESSEL, has(12.25))


def test_a_pulled_probe_is_a_fault_and_comes_back_on_another_bus(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL, 19.5)
    with bus_of(tree, VESSEL) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, has(19.5))
        tree.remove_probe(VESSEL)
        gatherer.until(VESSEL, fails(ProbeFault.DISCONNECTED))
        tree.add_probe(VESSEL, 18.0, master=2)
        gatherer.until(VESSEL, has(18.0))


@pytest.mark.parametrize(
    ("show", "fault"),
    [
        ("show_power_on", ProbeFault.POWER_ON_VALUE),
        ("show_open_line", ProbeFault.DISCONNECTED),
        ("show_shorted_line", ProbeFault.DISCONNECTED),
        ("show_weak_supply", ProbeFault.NO_ANSWER),
        ("show_wrong_checksum", ProbeFault.CHECKSUM),
        ("show_nothing", ProbeFault.NO_ANSWER),
    ],
)
def test_each_fault_comes_through_the_library_and_goes_again(
    tree: FakeW1Tree, show: str, fault: ProbeFault
) -> None:
    tree.add_probe(VESSEL, 19.5)
    with bus_of(tree, VESSEL) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, has(19.5))
        getattr(tree, show)(VESSEL)
        gatherer.until(VESSEL, fails(fault))
        tree.show(VESSEL, 19.625)
        gatherer.until(VESSEL, has(19.625))


def test_a_true_85_degrees_is_a_temperature(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL)
    tree.show_true_85(VESSEL)
    with bus_of(tree, VESSEL) as bus:
        Gatherer(bus).until(VESSEL, has(85.0))


@pytest.mark.parametrize("text", ["banana", "YES", "banana YES\nbanana\n", "\n\n\n"])
def test_garbage_is_no_answer(tree: FakeW1Tree, text: str) -> None:
    tree.add_probe(VESSEL)
    tree.show_text(VESSEL, text)
    assert w1_probe.read_probe(tree.root, VESSEL) is ProbeFault.NO_ANSWER


def test_bytes_that_are_no_text_are_no_answer(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL)
    (tree.root / VESSEL / "w1_slave").write_bytes(bytes(range(256)))
    assert w1_probe.read_probe(tree.root, VESSEL) is ProbeFault.NO_ANSWER


def test_a_file_that_may_not_be_read_is_no_answer_but_there(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree.add_probe(VESSEL)
    if os.geteuid() == 0:  # root may read anything: let the system's own answer stand in
        opened = Path.open

        def refuse(path: Path, *args: Any, **kwargs: Any) -> Any:
            if path.name == "w1_slave":
                raise PermissionError(errno.EACCES, "Permission denied", str(path))
            return opened(path, *args, **kwargs)

        monkeypatch.setattr(Path, "open", refuse)
    else:
        (tree.root / VESSEL / "w1_slave").chmod(0)
    assert w1_probe.read_probe(tree.root, VESSEL) is ProbeFault.NO_ANSWER


def test_a_folder_without_its_file_is_a_disconnected_probe_and_spoils_no_other(
    tree: FakeW1Tree,
) -> None:
    tree.add_probe(VESSEL)
    tree.add_probe(AIR, 4.0)
    (tree.root / VESSEL / "w1_slave").unlink()
    with bus_of(tree, VESSEL, AIR) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, fails(ProbeFault.DISCONNECTED))
        gatherer.until(AIR, has(4.0))


def test_a_file_that_is_a_folder_is_no_answer(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL)
    (tree.root / VESSEL / "w1_slave").unlink()
    (tree.root / VESSEL / "w1_slave").mkdir()
    assert w1_probe.read_probe(tree.root, VESSEL) is ProbeFault.NO_ANSWER


def test_a_probe_that_leaves_between_listing_and_reading_is_disconnected(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL)
    assert w1_tree.list_probes(tree.root) == (VESSEL,)
    tree.remove_probe(VESSEL)
    assert w1_probe.read_probe(tree.root, VESSEL) is ProbeFault.DISCONNECTED


def test_a_device_that_leaves_in_mid_read_is_disconnected(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree.add_probe(VESSEL)
    opened = Path.open

    def vanish(path: Path, *args: Any, **kwargs: Any) -> Any:
        if path.name == "w1_slave":
            raise OSError(errno.ENODEV, "No such device")
        return opened(path, *args, **kwargs)

    monkeypatch.setattr(Path, "open", vanish)
    assert w1_probe.read_probe(tree.root, VESSEL) is ProbeFault.DISCONNECTED


def test_an_id_of_no_known_family_is_no_answer(tree: FakeW1Tree) -> None:
    assert w1_probe.read_probe(tree.root, "zz-1") is ProbeFault.NO_ANSWER


def test_a_hung_read_holds_up_neither_the_loop_nor_the_other_bus(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL, 19.5)
    tree.add_probe(AIR, 4.0, master=2)
    pipe = Pipe(tree.hang(VESSEL))
    with bus_of(tree, VESSEL, AIR) as bus:
        gatherer = Gatherer(bus)
        hanging = pipe.hold()  # from here on the read is inside the kernel and stays there
        began_s = time.monotonic()
        for _ in range(100):
            bus.take()
            bus.listed()
        assert time.monotonic() - began_s < 5.0  # a hundred conversions would take 75 s
        for temp_c in (4.25, 4.5, 4.75):
            tree.show(AIR, temp_c)
            gatherer.until(AIR, has(temp_c))
        assert gatherer.samples[VESSEL] == []  # nothing is said of what is not known
        tree.show(VESSEL, 19.75)
        os.close(hanging)
        gatherer.until(VESSEL, has(19.75))


def test_leaving_does_not_wait_for_a_hung_read(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL, 19.5)
    pipe = Pipe(tree.hang(VESSEL))
    with bus_of(tree, VESSEL) as bus:
        hanging = pipe.hold()
    assert bus.take() == {}
    tree.show(VESSEL, 19.75)
    os.close(hanging)


def test_a_value_from_before_a_gap_is_thrown_away(tree: FakeW1Tree) -> None:
    # Documentation/w1/slaves/w1_therm.rst: a bulk conversion that nobody fetched is what the next
    # read gets, however old it is.
    tree.add_probe(VESSEL, 30.0)
    stale = (tree.root / VESSEL / "w1_slave").read_text()
    tree.show(VESSEL, 19.5)
    fresh = (tree.root / VESSEL / "w1_slave").read_text()
    pipe = Pipe(tree.hang(VESSEL))
    with bus_of(tree, VESSEL) as bus:
        pipe.answer(stale)
        pipe.answer(fresh)
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, has(19.5))
        pipe.answer(fresh.replace("YES", "NO"))
        gatherer.until(VESSEL, fails(ProbeFault.CHECKSUM))
        hanging = pipe.hold()
        tree.show(VESSEL, 19.75)
        os.close(hanging)
    assert [sample.temp_c for sample in gatherer.samples[VESSEL]] == [19.5, None]


def test_probes_of_one_bus_convert_at_once_and_are_as_old_as_the_conversion(
    tree: FakeW1Tree,
) -> None:
    tree.add_probe(AIR, 4.0, master=2)
    tree.add_probe(FLOOR, 8.0, master=2)
    bulk = tree.root / "w1_bus_master2" / "therm_bulk_read"
    bulk.unlink()
    os.mkfifo(bulk)
    kernel = Pipe(bulk)
    with bus_of(tree, AIR, FLOOR) as bus:
        gatherer = Gatherer(bus)
        for round_number in (1, 2):
            assert kernel.receive() == "trigger\n"
            kernel.answer("-1\n")  # converting
            tree.show(AIR, 4.0 + round_number)
            tree.show(FLOOR, 8.0 + round_number)
            kernel.answer("1\n")  # done, not fetched
            gatherer.until(FLOOR, has(8.0 + round_number))
        assert kernel.receive() == "trigger\n"
        air = [s for s in gatherer.samples[AIR] if s.temp_c == 6.0]
        floor = [s for s in gatherer.samples[FLOOR] if s.temp_c == 10.0]
        assert air[0].taken_mono_s == floor[0].taken_mono_s
        kernel.answer("0\n")  # nothing pending: each converts when it is read
        gatherer.until(AIR, lambda sample: sample.taken_mono_s > air[0].taken_mono_s)
        bus._stop.set()
        _let_go(bulk)


def _let_go(pipe: Path) -> None:
    """Serve whoever still waits on a pipe, and put a file in its place."""
    end = os.open(pipe, os.O_RDWR | os.O_NONBLOCK)
    pipe.unlink()
    os.close(end)


@pytest.mark.parametrize("bulk", ["missing", "0\n", "-1\n"])
def test_without_a_bulk_conversion_each_probe_converts_when_read(
    tree: FakeW1Tree, bulk: str
) -> None:
    tree.add_probe(VESSEL, 19.5)
    tree.add_probe(AIR, 4.0)
    file = tree.root / "w1_bus_master1" / "therm_bulk_read"
    file.write_text(bulk)
    if bulk == "missing":
        file.unlink()
    with bus_of(tree, VESSEL, AIR) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, has(19.5))
        gatherer.until(AIR, has(4.0))


def test_a_bulk_conversion_that_never_ends_is_given_up(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(w1_tree, "_TRIGGER", b"-1\n")  # the file then says "converting" for ever
    pauses: list[float] = []
    assert not w1_tree.convert_all(tree.root, "w1_bus_master1", pauses.append)
    assert sum(pauses) == pytest.approx(w1_tree.LONGEST_CONVERSION_S)


def test_one_reader_that_breaks_is_a_fault_of_its_probes_and_goes_on(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree.add_probe(VESSEL, 19.5)
    broken = Event()
    read = w1_bus.read_probe

    def break_once(root: Path, probe_id: str) -> Any:
        if not broken.is_set():
            raise MemoryError
        return read(root, probe_id)

    monkeypatch.setattr(w1_bus, "read_probe", break_once)
    with bus_of(tree, VESSEL) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, fails(ProbeFault.NO_ANSWER))
        broken.set()
        gatherer.until(VESSEL, has(19.5))


def test_a_reader_that_ended_is_started_again(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree.add_probe(VESSEL, 19.5)
    ended = Event()
    keep_reading = w1_bus._MasterReader.keep_reading

    def end_once(reader: Any, stop: Event) -> None:
        if ended.is_set():
            keep_reading(reader, stop)
        ended.set()

    monkeypatch.setattr(w1_bus._MasterReader, "keep_reading", end_once)
    with bus_of(tree, VESSEL) as bus:
        Gatherer(bus).until(VESSEL, has(19.5))


def test_a_search_that_breaks_is_a_fault_of_every_wanted_probe_and_goes_on(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    tree.add_probe(VESSEL, 19.5)
    mended = Event()
    list_probes = w1_tree.list_probes

    def break_first(root: Path) -> tuple[str, ...]:
        if not mended.is_set():
            raise MemoryError
        return list_probes(root)

    monkeypatch.setattr(w1_tree, "list_probes", break_first)
    with bus_of(tree, VESSEL) as bus:
        gatherer = Gatherer(bus)
        gatherer.until(VESSEL, fails(ProbeFault.NO_ANSWER))
        mended.set()
        gatherer.until(VESSEL, has(19.5))


def test_samples_that_nobody_takes_do_not_pile_up_for_ever(
    tree: FakeW1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(w1_bus, "_KEPT_SAMPLES", 3)
    gathered = w1_bus._Gathered()
    for second in range(10):
        gathered.add(VESSEL, ProbeFault.CHECKSUM, float(second))
    kept = gathered.take()[VESSEL]
    assert [sample.taken_mono_s for sample in kept] == [7.0, 8.0, 9.0]
    assert gathered.take() == {}


def test_how_finely_a_probe_counts_is_read_back_from_its_frames(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL, 19.5, resolution_bits=9)
    with bus_of(tree, VESSEL) as bus:
        Gatherer(bus).until(VESSEL, has(19.5))
        assert bus.resolutions() == {VESSEL: 9}


def test_two_trees_in_one_process_do_not_mix(tmp_path: Path) -> None:
    trees = [FakeW1Tree(tmp_path / name) for name in ("one", "two")]
    for tree, temp_c in zip(trees, (10.0, 20.0), strict=True):
        tree.add_probe(VESSEL, temp_c)
    with bus_of(trees[0], VESSEL) as one, bus_of(trees[1], VESSEL) as two:
        first, second = Gatherer(one), Gatherer(two)
        first.until(VESSEL, has(10.0))
        second.until(VESSEL, has(20.0))
    assert {s.temp_c for s in first.samples[VESSEL]} == {10.0}
    assert {s.temp_c for s in second.samples[VESSEL]} == {20.0}


def test_a_bus_can_be_entered_again(tree: FakeW1Tree) -> None:
    tree.add_probe(VESSEL, 19.5)
    bus = bus_of(tree, VESSEL)
    for _ in range(2):
        with bus:
            Gatherer(bus).until(VESSEL, has(19.5))


def test_a_period_of_nothing_is_refused(tree: FakeW1Tree) -> None:
    with pytest.raises(ValueError, match="period_s"):
        bus_of(tree, VESSEL, period_s=0.0)


def test_importing_the_library_loads_no_kernel_module() -> None:
    assert os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] == "1"


def test_the_absence_of_probes_is_explained_with_its_remedy(
    tree: FakeW1Tree, tmp_path: Path
) -> None:
    assert "dtoverlay=w1-gpio" in str(w1_tree.explain_absence(tmp_path / "nowhere"))
    (tmp_path / "empty").mkdir()
    assert "no bus master" in str(w1_tree.explain_absence(tmp_path / "empty"))
    assert "three wires" in str(w1_tree.explain_absence(tree.root))
    # raspberrypi.stackexchange.com/questions/43037: phantoms without a pull-up resistor.
    tree.add_phantom(4)
    assert "pull-up" in str(w1_tree.explain_absence(tree.root))
    tree.add_probe(VESSEL)
    assert w1_tree.explain_absence(tree.root) is None


def test_a_probe_outside_every_bus_is_read_as_well(tmp_path: Path) -> None:
    source = FakeW1Tree(tmp_path / "source")
    source.add_probe(VESSEL, 19.5)
    flat = tmp_path / "flat"
    (flat / VESSEL).mkdir(parents=True)
    (flat / VESSEL / "w1_slave").write_text((source.root / VESSEL / "w1_slave").read_text())
    assert w1_tree.master_of(flat, VESSEL) == w1_tree.NO_MASTER
    with W1ProbeBus(flat, [VESSEL], PERIOD_S, time.monotonic) as bus:
        Gatherer(bus).until(VESSEL, has(19.5))


@pytest.mark.parametrize("module", [w1_bus, fake_w1])
def test_the_examples_in_the_documentation_run(module: Any) -> None:
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
