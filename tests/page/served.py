"""The page's server as people start it, and a client that sends any bytes."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

PROGRAM = "from rig.cli.main import run; run()"
WAIT_S = 20


@dataclass(frozen=True)
class Answer:
    """A status, the headers by their lower-case names, and the body."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self):
        """The body as JSON."""
        return json.loads(self.body)


class Served:
    """A page that is served while the context lasts."""

    def __init__(self, folder: Path, *words: str, env: dict[str, str] | None = None) -> None:
        self.folder = Path(folder)
        self._words, self._env = words, env

    def __enter__(self):
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, "page", "--project", str(self.folder), "--port", "0",
             "--no-browser", *self._words],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=self._env,
        )
        self.first_line = self.process.stdout.readline()
        self.address = self.first_line.split()[-1]
        self.port = int(re.search(r":(\d+)/", self.address)[1])
        self.token = self.address.split("token=")[1]
        self.host = f"127.0.0.1:{self.port}"
        self.origin = f"http://{self.host}"
        self.cookie = self.get(f"/?token={self.token}", cookie=None).headers["set-cookie"].split(";")[0]
        return self

    def __exit__(self, *_):
        self.process.send_signal(signal.SIGINT)
        self.told = self.process.communicate(timeout=WAIT_S)

    def connect(self) -> socket.socket:
        """Open a connection."""
        return socket.create_connection(("127.0.0.1", self.port), timeout=WAIT_S)

    def raw(self, sent: bytes) -> Answer:
        """Send these bytes and read the answer; the connection ends then."""
        with self.connect() as link:
            link.sendall(sent)
            return read_answer(link)

    def ask(self, method: str, target: str, headers: dict, body: bytes = b"") -> Answer:
        """Send a request with just these headers; a list of values is sent as several."""
        lines = [f"{method} {target} HTTP/1.1"]
        for name, values in headers.items():
            for value in values if isinstance(values, list) else [values]:
                lines += [f"{name}: {value}"] if value is not None else []
        return self.raw("\r\n".join([*lines, "", ""]).encode("latin-1") + body)

    def get(self, target: str, *, cookie: str | None = "", **headers) -> Answer:
        """Ask as a tab of our own does."""
        own = {"Host": self.host, "Cookie": self.cookie if cookie == "" else cookie}
        return self.ask("GET", target, own | {n.replace("_", "-"): v for n, v in headers.items()})

    def post(self, target: str, what, *, cookie: str | None = "", **headers) -> Answer:
        """Send as a tab of our own does."""
        body = what if isinstance(what, bytes) else json.dumps(what).encode()
        own = {"Host": self.host, "Cookie": self.cookie if cookie == "" else cookie,
               "Origin": self.origin, "Content-Type": "application/json",
               "Content-Length": str(len(body))}  # fmt: skip
        more = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.ask("POST", target, own | more, body)


def read_answer(link: socket.socket) -> Answer:
    """Read one answer; status 0 where the other end closes without a word."""
    told = b""
    while b"\r\n\r\n" not in told:
        piece = _received(link)
        if not piece:
            return Answer(0, {}, told)
        told += piece
    head, _, body = told.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    headers = {name.lower(): value.strip() for name, _, value in (one.partition(":") for one in lines)}
    length = int(headers.get("content-length", 0))
    while len(body) < length and (piece := _received(link)):
        body += piece
    return Answer(int(first.split()[1]), headers, body)


def _received(link: socket.socket) -> bytes:
    try:
        return link.recv(65536)
    except ConnectionError:
        return b""
