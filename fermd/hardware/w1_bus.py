"""Probes on the kernel's 1-Wire buses, read out of the loop's way.

A conversion takes 750 ms and the kernel makes the reader wait for it, so nothing of it happens in
the control loop: `take()` hands over what has been gathered, and returns at once.

- One thread reads each bus master. Within a bus the kernel itself lets only one read through at a
  time; between buses nothing is shared, so a probe that hangs one bus leaves the others alone.
- A read that hangs inside the kernel cannot be interrupted, and nothing here pretends that it can:
  the probes of that bus give no more samples, which the loop sees as stale readings.
- Where the kernel offers a bulk conversion, all probes of a bus convert at once: three probes take
  0.8 s a round instead of 2.3 s.
- The first reading after a gap is thrown away, because the kernel may hand out a conversion made
  long before it (a bulk conversion that nobody fetched waits in the probe).
- Whatever goes wrong becomes a sample with a fault. No thread ends because of it, and if one did,
  the next search of the buses would start it again.
- A probe that appears later, or again, or on another bus, is taken up by the next search.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from threading import Event, Lock, Thread
from types import TracebackType
from typing import Final, Self

from fermd.control.reading import ProbeFault, Sample
from fermd.hardware import w1_tree
from fermd.hardware.w1_frame import Frame
from fermd.hardware.w1_probe import read_probe

_KEPT_SAMPLES: Final = 256
"""So many untaken samples are kept of each probe; older ones go, newer ones matter."""

_GAP_PERIODS: Final = 3
_SHORTEST_GAP_S: Final = 30.0
"""A probe not read for so many periods, and for so long, has been left alone: a gap."""

_PATIENCE_AT_EXIT_S: Final = 2.0
"""How long leaving waits for the readers, s; one that hangs in the kernel is left behind."""


class W1ProbeBus:
    """The probes of all buses below `root`; a `ProbeBus`.

    >>> import tempfile, time
    >>> from fermd.hardware.fake_w1 import FakeW1Tree
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     tree = FakeW1Tree(Path(folder))
    ...     tree.add_probe("28-000006b67845", temp_c=19.5)
    ...     with W1ProbeBus(tree.root, None, period_s=0.01, mono_s=time.monotonic) as bus:
    ...         samples = ()
    ...         while not samples:
    ...             samples = bus.take().get("28-000006b67845", ())
    >>> samples[0].temp_c
    19.5
    """

    def __init__(
        self,
        root: Path,
        probe_ids: Sequence[str] | None,
        period_s: float,
        mono_s: Callable[[], float],
    ) -> None:
        """Prepare; nothing is read before the bus is entered.

        `root`: the kernel's folder, `w1_tree.KERNEL_TREE` on a board.
        `probe_ids`: the probes to read, or None for every one that is there.
        `period_s`: seconds from the start of one round to the start of the next, above 0.
        `mono_s`: the clock that samples are stamped with (CLOCK_BOOTTIME in the daemon).
        """
        if not period_s > 0:
            raise ValueError(f"period_s = {period_s}: must be above 0")
        self._root = root
        self._wanted = None if probe_ids is None else tuple(probe_ids)
        self._period_s = period_s
        self._mono_s = mono_s
        self._stop = Event()
        self._gathered = _Gathered()
        self._probes_by_master: dict[str, tuple[str, ...]] = {}
        self._readers: dict[str, Thread] = {}
        self._search: Thread | None = None

    def __enter__(self) -> Self:
        self._stop = Event()
        self._search = Thread(
            target=self._keep_searching, args=(self._stop,), name="w1-search", daemon=True
        )
        self._search.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stop.set()
        search, self._search = self._search, None
        if search is not None:
            search.join(_PATIENCE_AT_EXIT_S)
        readers, self._readers = list(self._readers.values()), {}
        for reader in readers:
            reader.join(_PATIENCE_AT_EXIT_S / len(readers))

    def take(self) -> Mapping[str, Sequence[Sample]]:
        """Return the samples gathered since the last call, oldest first, by the probe's id."""
        return self._gathered.take()

    def listed(self) -> Sequence[str]:
        """Return the ids of all probes that the kernel shows at present, wanted or not."""
        return w1_tree.list_probes(self._root)

    def resolutions(self) -> Mapping[str, int]:
        """Return how finely each probe counted last, in bits: at 9, one step is 0.5 °C."""
        return self._gathered.resolutions()

    def _keep_searching(self, stop: Event) -> None:
        while not stop.is_set():
            try:
                self._look_round(stop)
            except Exception:  # noqa: BLE001 - the search outlives everything
                self._gathered.add_fault(self._wanted or (), self._mono_s(), ProbeFault.NO_ANSWER)
            stop.wait(self._period_s)

    def _look_round(self, stop: Event) -> None:
        listed = w1_tree.list_probes(self._root)
        wanted = listed if self._wanted is None else self._wanted
        found: dict[str, list[str]] = {}
        for probe_id in wanted:
            if probe_id in listed:
                found.setdefault(w1_tree.master_of(self._root, probe_id), []).append(probe_id)
        missing = [probe_id for probe_id in wanted if probe_id not in listed]
        self._gathered.add_fault(missing, self._mono_s(), ProbeFault.DISCONNECTED)
        # One assignment: the readers see the old plan or the new one, whole.
        self._probes_by_master = {name: tuple(probes) for name, probes in found.items()}
        for master in found:
            reader = self._readers.get(master)
            if (reader is None or not reader.is_alive()) and not stop.is_set():
                self._readers[master] = self._start_reader(master, stop)

    def _start_reader(self, master: str, stop: Event) -> Thread:
        reader = _MasterReader(
            self._root,
            master,
            self._period_s,
            self._mono_s,
            lambda: self._probes_by_master.get(master, ()),
            self._gathered,
        )
        thread = Thread(
            target=reader.keep_reading, args=(stop,), name=f"w1-{master or 'probes'}", daemon=True
        )
        thread.start()
        return thread


class _Gathered:
    """What the threads put together and the loop takes away."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._samples: dict[str, deque[Sample]] = {}
        self._resolution_bits: dict[str, int] = {}

    def add(self, probe_id: str, found: Frame | ProbeFault, taken_mono_s: float) -> None:
        with self._lock:
            if isinstance(found, ProbeFault):
                self._append(probe_id, Sample(taken_mono_s, fault=found))
                return
            self._append(probe_id, Sample(taken_mono_s, found.temp_c))
            if found.resolution_bits is not None:
                self._resolution_bits[probe_id] = found.resolution_bits

    def add_fault(self, probe_ids: Iterable[str], taken_mono_s: float, fault: ProbeFault) -> None:
        for probe_id in probe_ids:
            self.add(probe_id, fault, taken_mono_s)

    def take(self) -> dict[str, tuple[Sample, ...]]:
        with self._lock:
            taken, self._samples = self._samples, {}
        return {probe_id: tuple(samples) for probe_id, samples in taken.items()}

    def resolutions(self) -> dict[str, int]:
        with self._lock:
            return dict(self._resolution_bits)

    def _append(self, probe_id: str, sample: Sample) -> None:
        self._samples.setdefault(probe_id, deque(maxlen=_KEPT_SAMPLES)).append(sample)


class _MasterReader:
    """Reads the probes of one bus, round after round, in a thread of its own."""

    def __init__(
        self,
        root: Path,
        master: str,
        period_s: float,
        mono_s: Callable[[], float],
        probes: Callable[[], tuple[str, ...]],
        gathered: _Gathered,
    ) -> None:
        self._root = root
        self._master = master
        self._period_s = period_s
        self._mono_s = mono_s
        self._probes = probes
        self._gathered = gathered
        self._read_mono_s: dict[str, float] = {}

    def keep_reading(self, stop: Event) -> None:
        while not stop.is_set():
            began_s = self._mono_s()
            try:
                self._round(stop)
            except Exception:  # noqa: BLE001 - one bad round ends nothing
                self._gathered.add_fault(self._probes(), self._mono_s(), ProbeFault.NO_ANSWER)
            stop.wait(max(0.0, self._period_s - (self._mono_s() - began_s)))

    def _round(self, stop: Event) -> None:
        probes = self._probes()
        converted_s: float | None = None
        # Alone on its bus a probe has nothing to gain from a bulk conversion.
        if len(probes) > 1 and w1_tree.convert_all(self._root, self._master, stop.wait):
            converted_s = self._mono_s()
        for probe_id in probes:
            if stop.is_set():
                return
            self._read(probe_id, converted_s)

    def _read(self, probe_id: str, converted_s: float | None) -> None:
        if self._after_a_gap(probe_id):
            read_probe(self._root, probe_id)
            converted_s = None
        found = read_probe(self._root, probe_id)
        now_s = self._mono_s()
        self._read_mono_s[probe_id] = now_s
        # A bulk conversion's value is as old as the conversion, however late it is fetched.
        self._gathered.add(probe_id, found, now_s if converted_s is None else converted_s)

    def _after_a_gap(self, probe_id: str) -> bool:
        last_s = self._read_mono_s.get(probe_id)
        gap_s = max(_SHORTEST_GAP_S, _GAP_PERIODS * self._period_s)
        return last_s is None or self._mono_s() - last_s > gap_s
