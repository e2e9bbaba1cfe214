"""What is wrong with messages beyond the site file: addresses, commands, what is not installed."""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from fermd.config.errors import ABSENT, Fault
from fermd.config.messages import MessageSettings
from fermd.messages.address_process import NOT_INSTALLED
from fermd.messages.secret_file import AddressError, SecretFile
from fermd.messages.sending import Sending


@dataclass(frozen=True, slots=True)
class Findings:
    """What a look at everything that messages need has found, by the keys of the site file."""

    faults: tuple[Fault, ...] = ()
    """What keeps messages from being sent."""
    cautions: tuple[Fault, ...] = ()
    """What could not be looked at by this user."""


def look_into(settings: MessageSettings, *, try_addresses: bool = False) -> Findings:
    """Look whether messages can be sent, without sending any.

    With `try_addresses`, also whether every address is one that can be sent to: a second each.
    """
    faults: list[Fault] = []
    by_address = {name: one for name, one in settings.to.items() if not one.command}
    for name, one in settings.to.items():
        if one.command and not _can_run(one.command[0]):
            why = f"{one.command[0]} is no program that this user may run"
            faults.append(Fault(f"messages.to.{name}.command", list(one.command), why))
    if by_address and importlib.util.find_spec("apprise") is None:
        faults.append(Fault("messages.to", ABSENT, NOT_INSTALLED))
        try_addresses = False
    if not by_address and settings.heartbeat is None:
        return Findings(tuple(faults))
    secrets = SecretFile(settings.secrets_file)
    try:
        addresses = secrets.read()
    except AddressError as error:
        fault = Fault(
            "messages.secrets_file", str(settings.secrets_file), _without_path(error, secrets)
        )
        if error.unreadable:
            return Findings(tuple(faults), (fault,))
        return Findings((*faults, fault))
    wanted = {
        f"messages.to.{name}.address": one.address or name for name, one in by_address.items()
    }
    if settings.heartbeat is not None:
        wanted["messages.heartbeat.address"] = settings.heartbeat.address
    for key, address in wanted.items():
        if address not in addresses:
            why = f'{secrets.path} has no such key; add a line there: {address} = "URL"'
            faults.append(Fault(key, address, why))
    if try_addresses:
        faults += _of_addresses(settings, addresses.keys())
    return Findings(tuple(faults))


def _of_addresses(settings: MessageSettings, known: Collection[str]) -> list[Fault]:
    sending, faults = Sending(settings), []
    for name, one in settings.to.items():
        key = one.address or name
        if one.command or key not in known:
            continue
        try:
            sending.check(name, one)
        except AddressError as error:
            faults.append(Fault(f"messages.to.{name}.address", key, str(error)))
    return faults


def _can_run(program: str) -> bool:
    return Path(program).is_file() and os.access(program, os.X_OK)


def _without_path(error: AddressError, secrets: SecretFile) -> str:
    return str(error).removeprefix(f"{secrets.path}: ")
