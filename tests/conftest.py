"""What all tests share: the Debian packages that some of them need.

A test that needs a program from a Debian package says so:

    @pytest.mark.debian("systemd")

It is skipped, with the package's name, where the program is absent. With `--require-debian`
(continuous integration, where the packages have been installed) a skip of such a test, for
whatever reason, is a failure: a check that silently stopped running is no check.
"""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Generator

import pytest

PROGRAM_BY_PACKAGE = {
    "chromium-driver": "chromedriver",
    "mosquitto-clients": "mosquitto_sub",
    "systemd": "systemd-analyze",
}
"""Where the program that is looked for does not have its package's name."""


if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell that starts tests in the background lets them ignore Ctrl-C, and what they start
    # would inherit that: daemons and watchers are interrupted in the tests.
    signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--require-debian",
        action="store_true",
        help="tests that need a Debian package fail where they would be skipped",
    )


def _missing_packages(item: pytest.Item) -> list[str]:
    packages = [str(name) for mark in item.iter_markers("debian") for name in mark.args]
    # Where Debian puts daemons, which is not on everybody's path.
    path = f"{os.environ.get('PATH', os.defpath)}:/usr/sbin"
    return [
        name
        for name in packages
        if shutil.which(PROGRAM_BY_PACKAGE.get(name, name), path=path) is None
    ]


def pytest_runtest_setup(item: pytest.Item) -> None:
    missing = _missing_packages(item)
    if missing:
        pytest.skip(f"needs the Debian package {' and '.join(missing)}: apt-get install it")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    required = item.config.getoption("--require-debian") and item.get_closest_marker("debian")
    if required and report.skipped:
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped under --require-debian: {report.longrepr}"
    return report
