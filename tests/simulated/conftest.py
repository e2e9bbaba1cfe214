"""One whole lager batch, as `fermd demo` runs it, for all tests that look back at one."""

from __future__ import annotations

import pytest
from demo_rig import LookBack, Quiet, demo_site_at

from fermd.cli.demo_batch import DemoBatch
from fermd.config.profile_file import find_profile, load_profile


@pytest.fixture(scope="session")
def lager(tmp_path_factory: pytest.TempPathFactory) -> LookBack:
    journal = tmp_path_factory.mktemp("lager") / "journal.db"
    site = demo_site_at(journal)
    profile = load_profile(find_profile("lager-diacetyl-rest"))
    screen = Quiet()
    batch = DemoBatch(site, profile, None, 1, screen)
    batch.run()
    plant = batch._board.plants["lager"]
    return LookBack(
        site,
        profile,
        journal,
        plant,
        dict(plant.starts),
        batch.finished,
        screen.ticks,
        [line for line, state in batch._board.relays.states().items() if state.on],
    )
