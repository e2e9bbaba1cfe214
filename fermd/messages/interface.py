"""Messages as one more interface of the daemon: they are sent while a site is in charge."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext

from fermd.config.messages import MessageSettings
from fermd.config.site import SiteFile
from fermd.messages.checking import look_into
from fermd.messages.heartbeat import Heartbeat
from fermd.messages.keeping import Keeper, kept_path
from fermd.messages.post import LOOK_EVERY_S, Post
from fermd.messages.secret_file import SecretFile
from fermd.messages.sending import Sending
from fermd.service.daemon import RunningSite

log = logging.getLogger(__name__)


def to_people(
    site: SiteFile, look_every_s: float = LOOK_EVERY_S
) -> Callable[[RunningSite], AbstractContextManager[object]]:
    """Return what tells people of a running site, if its site file asks for that.

    `look_every_s`: how often the site is looked at, s of real time.
    """

    def tell_people(running: RunningSite) -> AbstractContextManager[object]:
        settings = site.messages
        return (
            nullcontext() if settings is None else _telling(running, site, settings, look_every_s)
        )

    return tell_people


@contextlib.contextmanager
def _telling(
    running: RunningSite, site: SiteFile, settings: MessageSettings, look_every_s: float
) -> Iterator[None]:
    found = look_into(settings)
    for fault in (*found.faults, *found.cautions):
        # No reason not to control; what waits is sent once it has been put right.
        log.error("messages: %s", fault)
    with contextlib.ExitStack() as stack:
        if settings.heartbeat is not None:
            secrets = SecretFile(settings.secrets_file)
            stack.enter_context(Heartbeat(running, settings.heartbeat, secrets))
        if settings.to:
            keeper = Keeper(kept_path(site.journal_path))
            sending = Sending(settings)
            post = Post(running, site, settings, keeper, sending, look_every_s=look_every_s)
            stack.enter_context(post)
        yield
