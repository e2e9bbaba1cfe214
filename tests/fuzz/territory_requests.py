"""HTTP requests: whole ones to the application, and bytes on its real socket.

Every request is fired at a site in charge; a second site of the same seed is given only the
commands that were taken, and the relays of both must go the same way.
"""

from __future__ import annotations

import dataclasses
import json
import socket
import struct
import time
from collections.abc import Sequence
from typing import Any, Final, Self

import httpx
from hostile import STRANGE_TEXTS, misspelt, spoilt_bytes, strange_texts
from hypothesis import strategies as st
from territory import Territory, Verdict
from twins import InBackground, Twins

from fermd.control.commands import Command
from fermd.web.api import LARGEST_BODY_BYTES
from fermd.web.orders import NAMES, name_of
from fermd.web.server import UnixServer

ANSWERS: Final = {200, 400, 404, 405, 409, 413, 422, 503}
BOUND_S: Final = 20.0
IDLE_S: Final = 0.03
"""A server that has said nothing for so long waits for the rest of a request."""

PROFILE: Final = 'name = "p"\n[[step]]\nkind = "hold"\ntarget_c = 12\nfor = "2 h"\n'
FIELDS: Final = (
    *("target_c", "by_s", "for_s", "duty", "on", "alarm", "subject", "who", "step", "why"),
    *("profile_toml", "at", "text", "seconds", "index"),
)

scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-5, 60),
    st.floats(-30, 60),
    st.sampled_from([10**400, 1e308, -1e-320, 2**63, "heat", "cool", "fan", PROFILE, "1 h", "off"]),
    st.sampled_from(["fri 18:00", "2026-01-02 08:00", "1999-01-01 00:00", "relay-fault", "12"]),
    strange_texts,
)
values = st.recursive(
    scalars, lambda i: st.lists(i, max_size=3) | st.dictionaries(strange_texts, i, max_size=3),
    max_leaves=6,
)  # fmt: skip
usual = {
    "target_c": st.floats(2, 30), "by_s": st.floats(-7200, 7200), "for_s": st.floats(1, 7200),
    "duty": st.sampled_from(["heat", "cool", "fan"]), "on": st.booleans(),
    "who": st.sampled_from(["anna", "bert"]), "step": st.integers(-1, 3),
    "profile_toml": st.just(PROFILE), "at": st.sampled_from(["fri 18:00", "06:30"]),
    "alarm": st.sampled_from(["no-effect", "relay-fault"]), "subject": st.just("fridge"),
    "text": st.sampled_from(["pitched", "tastes of apples"]),
}  # fmt: skip


OWN_FIELDS: Final = {
    name_of(command): [
        {"profile": "profile_toml", "at_utc_s": "at"}.get(field.name, field.name)
        for field in dataclasses.fields(command)
    ]
    for command in Command.__args__
}


@st.composite
def bodies(draw: st.DrawFn) -> bytes:
    """The body of a command or a note: in its grammar, nearly in it, or in none."""
    kind = draw(st.integers(0, 9))
    if kind == 0:
        return draw(st.one_of(st.binary(max_size=40), st.sampled_from(ODD_BODIES)))
    if kind == 1:
        return json.dumps(draw(values)).encode()
    body: dict[str, Any] = {"command": draw(st.sampled_from(NAMES))}
    if kind == 2:
        body = {"command": draw(values)}
    own = [one for one in OWN_FIELDS.get(str(body["command"]), ()) if draw(st.integers(0, 9))]
    strange = draw(st.sets(st.sampled_from(FIELDS), max_size=3 if draw(st.booleans()) else 0))
    for field in dict.fromkeys([*own, *strange]):
        name = field if draw(st.integers(0, 29)) else misspelt(field, draw)
        good = usual.get(field, scalars) if draw(st.integers(0, 7)) else values
        body[name] = draw(good)
    if draw(st.integers(0, 5)) == 0:
        body.pop("command")
    data = json.dumps(body, ensure_ascii=draw(st.booleans())).encode("utf-8", "surrogatepass")
    return draw(spoilt_bytes(data)) if draw(st.integers(0, 7)) == 0 else data


ODD_BODIES: Final = (
    *(b"", b"{", b"[]", b"null", b"NaN", b'"x"', b"\xff\xfe{}", b"[" * 50_000, b'{"a":' * 30_000),
    *(b'{"command":"set-target","command":"switch-off"}', b'{"\\ud800":1}', b" " * 300_000),
    *(b'{"command": "set-target", "target_c": ' + b"9" * 5000 + b"}", b"command=set-target"),
)

names = st.one_of(
    st.sampled_from(["lager", "lager", "ale", "Lager", "cellar", "%00", "a%2Fb", "..", "%", "%zz"]),
    st.sampled_from(STRANGE_TEXTS),
)
targets = st.one_of(
    st.sampled_from(["/api/status", "/api/probes", "/api/events", "/", "", "*", "//", "/api", "?"]),
    st.builds(
        "/api/events?{}={}".format,
        st.sampled_from(["limit", "limit", "Limit", "", "limit=5&limit"]),
        st.one_of(st.integers(-2, 1100).map(str), st.sampled_from(STRANGE_TEXTS)),
    ),
    st.builds("/api/chambers/{}/{}".format, names, st.sampled_from(["commands", "notes", ""])),
    st.sampled_from(["/api/chambers/lager/commands"] * 4 + ["/api/site/commands"]),
    st.builds("/api/{}".format, strange_texts),
    st.sampled_from(
        ["/api/../api/status", "/" + "a" * 9000, "http://x/api/status", "/api/status#"]
    ),
)
methods = st.sampled_from(
    ["POST"] * 8 + ["GET"] * 4 + ["PUT", "DELETE", "HEAD", "OPTIONS", "PATCH", "TRACE", "get", "X"]
)
headers = st.lists(
    st.tuples(
        st.sampled_from(
            ["Content-Type", "Accept", "Host", "X-A", "Expect", "Connection", "Upgrade", "Cookie"]
        ),
        st.one_of(
            st.sampled_from(
                ["application/json", "text/plain; charset=utf-16", "*/*", "fermd", "close"]
            ),
            st.sampled_from(["100-continue", "keep-alive", "websocket", "gzip", "x" * 5000, ""]),
            st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=20),
        ),
    ),
    max_size=3,
)


asked = st.one_of(
    st.tuples(
        st.just("POST"),
        st.sampled_from(["/api/chambers/lager/commands"] * 4 + ["/api/chambers/ale/commands"]),
    ),
    st.tuples(st.just("POST"), st.sampled_from(["/api/site/commands", "/api/chambers/ale/notes"])),
    st.tuples(st.just("GET"), targets),
    st.tuples(methods, targets),
)
"""Method and target: what somebody may have meant, and anything."""


class _Site(Territory):
    """A site in charge, and its twin."""

    REQUESTS_EACH_TICK: Final = 4
    RECORD_EACH: Final = 500

    def __enter__(self) -> Self:
        self._begin()
        return self

    def __exit__(self, *_: object) -> None:
        self._end()

    def begin_afresh(self) -> None:
        self._end()
        self._begin()

    def _begin(self) -> None:
        self._twins = Twins()
        self._fired = 0

    def _end(self) -> None:
        self._twins.close()

    def _go_on(self) -> None:
        self._fired += 1
        self._twins.answer()
        if self._fired % self.REQUESTS_EACH_TICK == 0:
            self._twins.tick()
        if self._fired % self.RECORD_EACH == 0:
            self._twins.same_record()


class WholeRequests(_Site):
    """Requests that any client library could send, to the application itself."""

    name = "requests"
    inputs = st.tuples(asked, headers, bodies())

    def _begin(self) -> None:
        super()._begin()
        self._background = InBackground()
        self._client = httpx.AsyncClient(
            transport=httpx.ASGITransport(self._twins.fired_at.app), base_url="http://fermd"
        )

    def _end(self) -> None:
        self._background.run(self._client.aclose, self._twins.answer, BOUND_S)
        self._background.close()
        super()._end()

    def judge(self, given: Any) -> Sequence[Verdict]:
        (method, target), some_headers, body = given
        try:
            request = self._client.build_request(
                method, "http://fermd/", headers=[tuple(one) for one in some_headers], content=body
            )
            raw = target.encode("utf-8", "replace")
            request.url = request.url.copy_with(
                raw_path=raw if raw.startswith(b"/") else b"/" + raw
            )
        except (httpx.InvalidURL, ValueError, UnicodeEncodeError, TypeError) as error:
            return [Verdict(False, f"not sent: {error}")]
        answer = self._background.run(
            lambda: self._client.send(request), self._twins.answer, BOUND_S
        )
        self._go_on()
        return [_verdict(answer.status_code, answer.content, method)]


def _verdict(status: int, content: bytes, method: str) -> Verdict:
    assert status in ANSWERS, f"{status}: {content[:300]!r}"
    if status == 200:
        # The page itself, if it was asked for.
        assert (
            method == "HEAD"
            or content.startswith(b"<!doctype html>")
            or json.loads(content) is not None
        )
        return Verdict(True)
    if method == "HEAD":
        return Verdict(False, f"{status}")
    try:
        body = json.loads(content)
    except ValueError:
        # Words of the framework: there is no such place, or it does not take this method.
        assert status in (400, 404, 405)
        return Verdict(False, f"{status} {content.decode('latin-1')[:60]}")
    assert body["taken"] is False
    assert body["why"]
    assert len(content) < 8000
    return Verdict(False, f"{status} {body['why']}")


@st.composite
def wires(draw: st.DrawFn) -> tuple[list[bytes], str]:
    """A request as bytes, in pieces; and how the caller behaves when they are sent."""
    body = draw(bodies())[: LARGEST_BODY_BYTES + 100]
    method, wanted = draw(asked)
    target = wanted.encode("utf-8", "replace")
    if draw(st.integers(0, 9)):
        target = target.replace(b" ", b"%20").replace(b"\n", b"").replace(b"\r", b"")
    lines = [b"%s %s %s" % (method.encode(), target, draw(st.sampled_from(VERSIONS)))]
    lines += [f"{key}: {value}".encode("latin-1", "replace") for key, value in draw(headers)]
    if draw(st.integers(0, 9)):
        lines.append(b"Host: fermd")
    match draw(st.sampled_from(["right"] * 9 + ["chunked"] * 4 + ["wrong", "both"])):
        case "right":
            lines.append(b"Content-Length: %d" % len(body))
        case "chunked":
            lines.append(b"Transfer-Encoding: chunked")
            body = draw(chunked(body))
        case "wrong":
            lines.append(b"Content-Length: " + draw(st.sampled_from(LENGTHS)))
        case _:
            lines += [b"Content-Length: %d" % len(body), b"Transfer-Encoding: chunked"]
    end = draw(st.sampled_from([b"\r\n"] * 30 + [b"\n"]))
    data = end.join(lines) + end + end + body
    if draw(st.integers(0, 5)) == 0:
        data = draw(spoilt_bytes(data))
    if draw(st.integers(0, 7)) == 0:
        data *= 2
    cuts = sorted(draw(st.lists(st.integers(0, len(data)), max_size=3)))
    pieces = [data[a:b] for a, b in zip([0, *cuts], [*cuts, len(data)], strict=True)]
    return pieces, draw(st.sampled_from(["wait"] * 4 + ["done", "hang up", "reset"]))


VERSIONS: Final = (*[b"HTTP/1.1"] * 30, b"HTTP/1.0", b"HTTP/2.0", b"HTTP/9", b"", b"http/1.1")
LENGTHS: Final = (b"-1", b"0", b"5", b"99999999999", b"1e3", b"\xd9\xa3", b"", b"10, 10", b"0x10")


@st.composite
def chunked(draw: st.DrawFn, body: bytes) -> bytes:
    """A body in chunks, some of which lie."""
    size = max(1, len(body) // draw(st.integers(1, 4)))
    parts = []
    for at in range(0, len(body), size):
        part = body[at : at + size]
        length = draw(
            st.sampled_from([b"%x" % len(part)] * 8 + [b"-1", b"zz", b"fffffffffffffffff"])
        )
        parts.append(
            length + draw(st.sampled_from([b"", b"", b";ext=1"])) + b"\r\n" + part + b"\r\n"
        )
    return b"".join(parts) + draw(st.sampled_from([b"0\r\n\r\n"] * 5 + [b"", b"0\r\nX: y\r\n\r\n"]))


class WireRequests(_Site):
    """Bytes on the real socket: whole, in pieces, slowly, and callers that go away."""

    name = "wire"
    inputs = wires()

    def _begin(self) -> None:
        super()._begin()
        self._path = self._twins.fired_at.site.socket_path
        self._server = UnixServer(self._twins.fired_at.app, self._path)
        self._server.__enter__()
        self._polite = httpx.Client(
            transport=httpx.HTTPTransport(uds=str(self._path), verify=False),
            base_url="http://fermd", timeout=BOUND_S,
        )  # fmt: skip

    def _end(self) -> None:
        self._polite.close()
        self._server.__exit__(None, None, None)
        super()._end()

    def judge(self, given: Any) -> Sequence[Verdict]:
        pieces, manner = given
        answer = self._said(pieces, manner)
        self._go_on()
        # In the one thread of the server this comes after whatever the bytes have set off.
        asked = self._polite.get("/api/status")
        assert asked.status_code == 200, asked.text
        if not answer:
            return [Verdict(False, "nothing was answered")]
        head, _, content = answer.partition(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 "), answer[:200]
        status = int(head[9:12])
        assert status in {*ANSWERS, 100}, answer[:300]
        return [Verdict(status == 200, f"{status} {content[:60].decode('latin-1')}")]

    def _said(self, pieces: Sequence[bytes], manner: str) -> bytes:
        answer = b""
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as caller:
            caller.settimeout(0.002)
            caller.connect(str(self._path))
            try:
                for piece in pieces:
                    self._send(caller, piece)
                    self._twins.answer()
                if manner == "reset":
                    caller.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                    return answer
                if manner == "hang up":
                    return answer
                if manner == "done":
                    caller.shutdown(socket.SHUT_WR)
                quiet_since_s = time.monotonic()
                while time.monotonic() - quiet_since_s < IDLE_S and not _complete(answer):
                    self._twins.answer()
                    try:
                        part = caller.recv(65536)
                    except TimeoutError:
                        continue
                    if not part:
                        break
                    answer += part
                    quiet_since_s = time.monotonic()
            except (BrokenPipeError, ConnectionResetError):
                return answer
        return answer

    def _send(self, caller: socket.socket, piece: bytes) -> None:
        left = memoryview(piece)
        until_s = time.monotonic() + 1.0
        while left and time.monotonic() < until_s:
            try:
                left = left[caller.send(left) :]
            except TimeoutError:
                # It reads no more of this: too much was sent, and it says so or hangs up.
                self._twins.answer()


def _complete(answer: bytes) -> bool:
    head, found, content = answer.partition(b"\r\n\r\n")
    for line in head.lower().split(b"\r\n"):
        if line.startswith(b"content-length:"):
            return bool(found) and len(content) >= int(line.partition(b":")[2])
    return False
