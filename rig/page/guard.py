"""Who may ask the page: this machine's browser, from this very address, with the folder's token.

Names of headers and the meaning of their values are HTTP's [1]_, Fetch Metadata's [2]_, and Content
Security Policy's [3]_ (all from memory).

.. [1] RFC 9110 (semantics), RFC 9112 (HTTP/1.1), RFC 6265bis (cookies).
.. [2] W3C, Fetch Metadata Request Headers.
.. [3] W3C, Content Security Policy Level 3.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import parse_qs

from rig.page.token import new_token

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

URL_MOST = 2048
"""Characters of path and query."""
BODY_MOST = 16 << 10
"""Bytes of what a tab may send."""
OWN_SITE = ("same-origin", "none")

POLICY = (
    b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    b"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)  # fmt: skip
"""Stand on every answer, refusals too."""
ASK = "open the address that `padsweep page` printed\n"


class Guard:
    """Lets through what may pass, and answers the rest itself.

    Parameters
    ----------
    app : App
    port : int
        The page's own.
    token : str
        The folder's; it is asked for once, in the first address.

    Attributes
    ----------
    session : str
        What the cookie holds: of this run alone. A browser gives it to any program that listens
        on this machine, so it mustn't be the folder's token.
    """

    def __init__(self, app: App, port: int, token: str) -> None:
        self._app = app
        self._token = token
        self._tickets: set[str] = set()
        self._hosts = {f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode()}
        self.cookie = f"padsweep-{port}"
        self.session = new_token()

    def ticket(self) -> str:
        """Give a token that lets one browser in, once: others can read a program's arguments."""
        made = new_token()
        self._tickets.add(made)
        return made

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        first = self._first_address(scope)
        refused = self._refused(scope, first is not None)
        if refused:
            await _say(send, *refused)
        elif first is not None:
            await self._let_in(send, first)
        else:
            await self._app(scope, receive, _with_headers(send))

    def _first_address(self, scope: Scope) -> str | None:
        """Give the token of a first address; None for any other."""
        if scope["method"] != "GET" or scope["path"] != "/" or b"token=" not in scope["query_string"]:
            return None
        try:
            told = parse_qs(scope["query_string"].decode("ascii"), max_num_fields=20).get("token", [])
        except ValueError:
            return ""
        return told[0] if len(told) == 1 else ""

    def _refused(self, scope: Scope, is_first: bool) -> tuple[int, str] | None:
        """Give status and words for what may not pass, None for what may."""
        hosts, origins = _values(scope, b"host"), _values(scope, b"origin")
        if len(scope["raw_path"]) + len(scope["query_string"]) > URL_MOST:
            return 414, "the address is too long\n"
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return 421, "this is another machine's name: " + ASK
        if scope["method"] == "GET":
            site = [one.decode("latin-1") for one in _values(scope, b"sec-fetch-site")]
            if not is_first and any(one not in OWN_SITE for one in site):
                return 403, "asked for by another page: " + ASK
        elif origins != [b"http://" + hosts[0]]:
            return 403, "sent by another page: " + ASK
        if not is_first and not self._knows(scope):
            return 403, "no token: " + ASK
        if scope["method"] == "POST":
            return _bad_body(scope)
        return None if scope["method"] == "GET" else (405, "only GET and POST are known\n")

    def _knows(self, scope: Scope) -> bool:
        """Say whether a request bears this run's cookie."""
        held: list[str] = []
        for value in _values(scope, b"cookie"):
            for part in value.decode("latin-1").split(";"):
                name, _, kept = part.strip().partition("=")
                if name == self.cookie:
                    held.append(kept)
        return any(_same(one, self.session) for one in held)

    async def _let_in(self, send: Send, token: str) -> None:
        ticket = next((one for one in self._tickets if _same(token, one)), None)
        if ticket is None and not _same(token, self._token):
            await _say(send, 403, "another token: " + ASK)
            return
        self._tickets.discard(ticket or "")
        kept = f"{self.cookie}={self.session}; Path=/; HttpOnly; SameSite=Strict"
        await _say(send, 303, "", (b"location", b"/"), (b"set-cookie", kept.encode()))


def _bad_body(scope: Scope) -> tuple[int, str] | None:
    kinds, lengths = _values(scope, b"content-type"), _values(scope, b"content-length")
    if [one.split(b";")[0].strip().lower() for one in kinds] != [b"application/json"]:
        return 415, "only JSON is read\n"
    if _values(scope, b"transfer-encoding") or len(lengths) != 1 or not lengths[0].isdigit():
        return 411, "its length must be said\n"
    if len(lengths[0]) > 9 or int(lengths[0]) > BODY_MOST:
        return 413, f"more than {BODY_MOST} bytes\n"
    return None


def _values(scope: Scope, name: bytes) -> list[bytes]:
    return [value for one, value in scope["headers"] if one == name]


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode("utf-8", "replace"), other.encode())


def _with_headers(send: Send) -> Send:
    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            there = {name for name, _ in message["headers"]}
            message["headers"] = [
                *message["headers"], *(one for one in HEADERS if one[0] not in there),
                *([] if b"cache-control" in there else [(b"cache-control", b"no-store")]),
            ]  # fmt: skip
        await send(message)

    return sent


async def _say(send: Send, status: int, text: str, *more: tuple[bytes, bytes]) -> None:
    body = text.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"),
               (b"content-length", str(len(body)).encode()), (b"cache-control", b"no-store"),
               *HEADERS, *more]  # fmt: skip
    if status != 303:  # what it still sends isn't read
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
