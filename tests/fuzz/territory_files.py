"""Site files and profiles: TOML from the grammar, the schema and accidents, on a disk."""

from __future__ import annotations

import re
import shutil
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, Self

from hypothesis import strategies as st
from territory import Territory, Verdict
from toml_grammar import documents, from_schema, written

from fermd.config.errors import ConfigError
from fermd.config.example import SHORT_SITE, example_site
from fermd.config.profile_file import (
    check_against,
    load_profile,
    parse_profile,
    profile_cautions,
    shipped_profiles,
)
from fermd.config.schema import profile_schema, site_schema
from fermd.config.site import SiteFile
from fermd.config.site_file import cautions, load_site, parse_site
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.chamber import Inputs
from fermd.control.commands import SetTarget, StartProfile
from fermd.control.moment import Moment
from fermd.control.reading import Sample
from fermd.control.settings import SiteSettings, crossed
from fermd.control.site import SiteState, step
from fermd.control.state import first_state
from fermd.control.steps import Profile
from fermd.exchange.profile_text import profile_text

CHAMBER: Final = parse_site(SHORT_SITE, Path("fermd.toml")).settings.chambers[0]
LONG_SITE: Final = re.sub(r"(?m)^#(?=[a-z_]+ = |\[)", "", example_site())
NOON_UTC_S: Final = 1_767_268_800.0
LONGEST_MESSAGE: Final = 1000

names = st.sampled_from(
    ["vessel", "air", "fridge", "belt", "lager", "ale", "", "a b", "Ü", "x" * 80, "main", "../x"]
)
ids = st.sampled_from(["28-000006b67845", "28-0000071a2b3c", "28-", "10-000802b4ba0e", "28-00000G"])


@st.composite
def merged(draw: st.DrawFn, derived: st.SearchStrategy[Any]) -> str:
    """The short site with some of its tables replaced or completed by what the schema allows."""
    site = tomllib.loads(SHORT_SITE)
    found = draw(derived)
    for room, tables in site.items():
        if not isinstance(tables, dict):
            continue
        for name, table in tables.items():
            for other in list(found.get(room, {}).values())[:1]:
                held = ("id", "gpio", "duty", "vessel_probe", "air_probe", "outputs", "circuit")
                more = {
                    k: v for k, v in other.items() if k not in held or draw(st.integers(0, 9)) < 1
                }
                tables[name] = (
                    table | {k: more[k] for k in draw(st.sets(st.sampled_from(sorted(more))))}
                    if more
                    else table
                )
    if "circuit" in found and draw(st.booleans()):
        site["circuit"] = found["circuit"]
    return draw(written(site, spoil=draw(st.integers(0, 3)) == 0))


def refused(read: Callable[..., Any], *given: object) -> tuple[Any, Verdict]:
    """What was read, or the verdict of an error that is as an error has to be."""
    try:
        return read(*given), Verdict(True)
    except ConfigError as error:
        found = error
    words = str(found).splitlines()
    assert found.faults
    assert len(words) == len(found.faults), "a fault is not told on one line"
    assert all(fault.why for fault in found.faults)
    assert max(map(len, words)) < LONGEST_MESSAGE, f"too long to read: {words}"
    assert str(found).replace("\n", "").isprintable(), "would garble a terminal"
    return None, Verdict(False, words[0])


def stepped(settings: SiteSettings, profile: Profile | None) -> None:
    """A site that was found good controls: some ticks with the beer warm and cold."""
    chambers = {one.name: first_state(one, 0.0, {}) for one in settings.chambers}
    state = SiteState(chambers)
    command = SetTarget(18.0) if profile is None else StartProfile(profile)
    for tick, temp_c in enumerate((18.0, 19.0, 40.0, 2.0)):
        now = Moment(3600.0 * tick, NOON_UTC_S + 3600.0 * tick, wall_trusted=True)
        inputs = {
            one.name: Inputs(
                {probe.name: (Sample(now.mono_s, temp_c),) for probe in one.probes},
                (command,) if tick == 1 else (),
            )
            for one in settings.chambers
        }
        state, decisions = step(state, settings, inputs, now)
        for decision in decisions.values():
            duties = {output.duty.value for output in decision.outputs if output.on}
            assert not {"heat", "cool"} <= duties


class _Files(Territory):
    """A file that is written, read and judged."""

    def __enter__(self) -> Self:
        self._folder = Path(tempfile.mkdtemp(prefix="fermd-toml-"))
        self._file = self._folder / "any.toml"
        return self

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self._folder)


derived_sites = from_schema(site_schema(), st.one_of(names, ids))


class SiteFiles(_Files):
    """Whole site files."""

    name = "site-files"
    inputs = documents(
        [SHORT_SITE, LONG_SITE, LONG_SITE.replace("lgpio", "mock")],
        st.one_of(merged(derived_sites), merged(derived_sites), derived_sites.flatmap(written)),
    )

    def judge(self, given: Any) -> Sequence[Verdict]:
        self._file.write_bytes(given)
        site, verdict = refused(load_site, self._file)
        if isinstance(site, SiteFile):
            assert str(cautions(site)) is not None
            assert [crossed(one) for one in site.settings.chambers] == [[]] * len(
                site.settings.chambers
            )
            stepped(site.settings, None)
        return [verdict]


class Profiles(_Files):
    """Whole profiles."""

    name = "profiles"
    inputs = documents(
        [path.read_text("utf-8") for path in shipped_profiles().values()],
        from_schema(profile_schema(), names).flatmap(written),
    )

    def __enter__(self) -> Self:
        super().__enter__()
        site = parse_site(SHORT_SITE, Path("fermd.toml"))
        self._settings = site.settings
        self._calendar = ZoneCalendar(site.zone)
        return self

    def judge(self, given: Any) -> Sequence[Verdict]:
        self._file.write_bytes(given)
        profile, verdict = refused(load_profile, self._file)
        if isinstance(profile, Profile):
            assert parse_profile(profile_text(profile, []), "again") == profile
            objections = check_against(profile, CHAMBER)
            assert all(str(one) for one in (*objections, *profile_cautions(profile, CHAMBER)))
            stepped(self._settings, profile)
        return [verdict]
