"""Every example of the interface's own page of documentation does what it says, by curl."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
from lan_rig import METRICS_TOKEN, PASSWORD, site_on_the_lan

import fermd.web
from fermd.web.api import application
from fermd.web.orders import Readers

TEXT = (Path(fermd.web.__file__).parent / "README.md").read_text()
BLOCKS = re.findall(r"```sh\n(.*?)```", TEXT, re.S)


def commands() -> list[str]:
    joined = "".join(BLOCKS).replace("\\\n", " ")
    return [line for line in joined.splitlines() if line.strip()]


@pytest.mark.debian("curl")
def test_every_example_is_answered_as_it_stands(tmp_path: Path) -> None:
    script = ["set -eu"]
    for number, line in enumerate(commands()):
        told = line
        if line.startswith("curl"):
            # Each answer into a file of its own, with its status in another.
            told = line.replace("curl ", f"curl -w '%{{stderr}}{number} %{{http_code}}\\n' ", 1)
        script.append(f"{told}")
    with site_on_the_lan('metrics_token_file = "metrics-token"\n') as lan:
        ended = subprocess.run(
            ["bash", "-c", "\n".join(script)],
            cwd=tmp_path,
            env=os.environ
            | {"FERMD": lan.address, "PASSWORD": PASSWORD, "SOCKET": lan.local.socket_path}
            | {"METRICS_TOKEN": METRICS_TOKEN},
            capture_output=True,
            text=True,
            check=False,
        )
    assert ended.returncode == 0, ended.stderr
    answered = dict(line.split() for line in ended.stderr.splitlines())
    asked = [number for number, line in enumerate(commands()) if line.startswith("curl")]
    assert len(asked) >= 20
    for number in asked:
        line, code = commands()[number], answered[str(number)]
        # The simulated vessel stands at 18 °C, which is no ice water.
        wanted = ("409",) if "calibrate" in line else ("200", "204")
        assert code in wanted, (line, code)


def test_every_group_of_endpoints_has_an_example() -> None:
    app: Any = application(None, Readers(lambda _: None, lambda _: 0.0))  # type: ignore[arg-type,return-value]
    shown = " ".join(commands())
    for route in app.routes:
        if route.path.startswith(("/api", "/metrics", "/openapi")):
            pattern = re.sub(r"{\w+}", r"[\\w-]+", route.path)
            if route.path != "/api/site/commands":
                assert re.search(pattern, shown), route.path
