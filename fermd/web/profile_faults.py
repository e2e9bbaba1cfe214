"""What is wrong with a profile's text, beside its keys and lines, for a reader of °C or °F.

Values are told as they stand in the text, which is in °C; only the reasons are put into °F.
"""

from __future__ import annotations

from typing import Final

from fermd.config.errors import ABSENT, ConfigError
from fermd.config.profile_store import line_of
from fermd.control.scales import Unit, rescaled
from fermd.web.refusals import Plain, RefusedError, shown

_DIFFERENCES: Final = (".within_c", ".rate_c_per_day")
"""Keys of differences and rates: their °F have no offset."""


def refused(text: str, error: ConfigError, unit: Unit) -> RefusedError:
    """Return the answer to a text that is not accepted."""
    faults = faults_of(text, error, unit)
    why = str(error)
    if unit is not Unit.CELSIUS:
        # Without the values, which are those of the text: °C.
        why = "\n".join(f"{error.file}: {one['key']}: {one['why']}" for one in faults)
    return RefusedError(422, why, faults)


def faults_of(text: str, error: ConfigError, unit: Unit) -> list[Plain]:
    """Return what is wrong with a text: its values as they stand there, the reasons in `unit`."""
    return [
        {
            "key": one.key,
            "line": line_of(text, one),
            "value": None if one.value is ABSENT else shown(one.value),
            "why": rescaled(one.why, unit, differences=one.key.endswith(_DIFFERENCES)),
        }
        for one in error.faults
    ]
