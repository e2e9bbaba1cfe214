"""The interface of a running site on its Unix socket, with what reads the texts in its commands."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext

from starlette.applications import Starlette

from fermd.config.errors import ConfigError
from fermd.config.profile_file import parse_profile
from fermd.config.site import SiteFile
from fermd.config.zone_calendar import ZoneCalendar
from fermd.control.calendar import parse_calendar_time
from fermd.control.moment import Moment
from fermd.control.steps import Profile
from fermd.service.daemon import RunningSite
from fermd.web.api import application, network_application
from fermd.web.house import House
from fermd.web.logging_in import Keeper
from fermd.web.network import NetworkServer
from fermd.web.orders import Readers
from fermd.web.passwords import PasswordFile
from fermd.web.server import UnixServer


def on_socket(site: SiteFile) -> Callable[[RunningSite], AbstractContextManager[object]]:
    """Return what serves a running site on its Unix socket."""

    def serve_on_socket(running: RunningSite) -> AbstractContextManager[object]:
        readers = readers_of(running, site)
        return UnixServer(application(running, readers, time_zone=site.time_zone), site.socket_path)

    return serve_on_socket


def on_network(site: SiteFile) -> Callable[[RunningSite], AbstractContextManager[object]]:
    """Return what serves a running site to the network, if its site file asks for that."""

    def serve_on_network(running: RunningSite) -> AbstractContextManager[object]:
        web = site.web
        if web is None:
            return nullcontext()
        password = PasswordFile(web.password_file)

        def make() -> Starlette:
            house = House(running, readers_of(running, site), site.time_zone)
            return network_application(house, web, Keeper(password, stamp=password.stamp()))

        return NetworkServer(make, web, password)

    return serve_on_network


def readers_of(running: RunningSite, site: SiteFile) -> Readers:
    """Return what reads the texts in commands and notes."""
    return Readers(
        read_profile,
        lambda text: read_instant(text, site, running.now()),
        lambda text: read_past_instant(text, site, running.now()),
    )


def read_profile(text: str) -> Profile:
    """Read the text of a profile that came in; ValueError has all its faults."""
    try:
        return parse_profile(text, "profile_toml")
    except ConfigError as error:
        raise ValueError(str(error)) from error


def read_instant(text: str, site: SiteFile, now: Moment) -> float:
    """Return the next instant (POSIX, s) of a local time; ValueError if there is none."""
    try:
        rule = parse_calendar_time(text)
    except ValueError as error:
        raise ValueError(f"at = {text!r}: {error}") from error
    instant_s = ZoneCalendar(site.zone).next_utc_s(rule, now.wall_utc_s)
    if instant_s is None:
        raise ValueError(f"at = {text!r}: is in the past; name a time to come")
    return instant_s


def read_past_instant(text: str, site: SiteFile, now: Moment) -> float:
    """Return the last instant (POSIX, s) of a local time; ValueError if there is none."""
    instant_s = ZoneCalendar(site.zone).last_utc_s(parse_calendar_time(text), now.wall_utc_s)
    if instant_s is None:
        raise ValueError("has not been yet")
    return instant_s
