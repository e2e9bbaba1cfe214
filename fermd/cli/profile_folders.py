"""Where a brewer's own profiles are."""

from __future__ import annotations

import os
from pathlib import Path

from fermd.cli.options import SITE_VARIABLE, USUAL_SITE
from fermd.config.profile_store import FOLDER_NAME as FOLDER_NAME


def own_folders(given: Path | None) -> list[Path]:
    """Return the folder that was named; else the one beside the site file."""
    if given is not None:
        return [given]
    site = Path(os.environ.get(SITE_VARIABLE) or USUAL_SITE)
    return [site.parent / FOLDER_NAME]
