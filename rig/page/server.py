"""Serves the page, on this machine's own address alone, until Ctrl-C."""

from __future__ import annotations

import errno
import os
import socket
from collections.abc import Callable
from dataclasses import dataclass

import uvicorn

from rig.errors import RigError
from rig.page.app import Unforeseen, make_app
from rig.page.connections import IDLE_S, Bounded
from rig.page.guard import Guard
from rig.page.night import Night
from rig.page.token import folder_token
from rig.project import Project

HOST = "127.0.0.1"
LEAST_PORT = 1024
HEAD_MOST = 16 << 10
"""Bytes of a request's head."""


@dataclass(frozen=True)
class Announced:
    """Where the page is.

    Parameters
    ----------
    address : str
        With the folder's token: it opens the page as often as it's wanted.
    once : str
        Opens it once: for a browser that is called, as others can read a program's arguments.
    """

    address: str
    once: str


def serve(
    project: Project, name: str, port: int, announce: Callable[[Announced], None],
    unforeseen: Unforeseen,
) -> None:
    """Serve the page of a sweep until it is interrupted.

    Parameters
    ----------
    project : Project
    name : str
        The sweep's; it need not have begun.
    port : int
        0: any free one; else 1024 to 65535.
    announce : callable
        Is told where the page is, once it answers there.
    unforeseen : callable
        Takes note of an error of the program itself, and gives a line about it.

    Raises
    ------
    RigError
        The port can't be had, or the log can't be read.
    KeyboardInterrupt
        After Ctrl-C.
    """
    night = Night(project, name)
    night.seen()  # a damaged log is told before anything is served
    app = make_app(night, unforeseen)
    with _listening(port) as listener:
        port = listener.getsockname()[1]
        token = folder_token(project.folder)
        guard = Guard(app, port, token)
        config = uvicorn.Config(
            guard, http=Bounded, ws="none", lifespan="off", interface="asgi3", loop="asyncio",
            log_config=None, log_level="critical", access_log=False, proxy_headers=False,
            server_header=False, date_header=False, timeout_keep_alive=IDLE_S,
            timeout_graceful_shutdown=1, h11_max_incomplete_event_size=HEAD_MOST,
        )  # fmt: skip
        # The port takes connections from here on; they are answered a moment later.
        at = f"http://{HOST}:{port}/?token="
        announce(Announced(at + token, at + guard.ticket()))
        uvicorn.Server(config).run(sockets=[listener])


def _listening(port: int) -> socket.socket:
    """Give a socket that listens on this machine's own address."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name != "nt":  # there it would let another program listen too
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((HOST, port))
        listener.listen(128)
    except OSError as trouble:
        listener.close()
        why = "is taken" if trouble.errno == errno.EADDRINUSE else f"can't be had: {trouble.strerror}"
        raise RigError(f"port {port} {why}; give another with --port, or --port 0 for any free "
                       "one") from trouble
    return listener
