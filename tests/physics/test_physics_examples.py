"""The examples in the docstrings run as they are printed."""

from __future__ import annotations

import doctest
from types import ModuleType

import pytest

from fermd.physics import fermentation, thermal


@pytest.mark.parametrize("module", [fermentation, thermal])
def test_the_examples_run(module: ModuleType) -> None:
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
