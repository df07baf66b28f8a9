"""What the page answers: itself, its parts, takes, what was found, and changes of picks.yaml."""

from __future__ import annotations

import asyncio
import itertools
import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from rig.choose.keeping import EditedMeanwhile
from rig.choose.picks import CONTROLS, PICKS
from rig.errors import RigError
from rig.log.takes import take_path
from rig.page.build_app import Builder
from rig.page.deciding import decide, decisions, put_back
from rig.page.guard import BODY_MOST
from rig.page.keys import KEYS
from rig.page.night import Night, Seen
from rig.page.rows import rows
from rig.page.standing import news, progress, standing
from rig.page.within import read_within
from rig.project.photo import DRAWING, Broken, embeddable
from rig.project.places import load_places

BODY_S = 10.0
NEWS_MOST = 40
"""Lines of what happened that are told at a time: the latest."""
KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
UNPROCESSABLE, CONFLICT, UNFORESEEN = 422, 409, 500
Unforeseen = Callable[[BaseException], str]
"""Takes note of an error of the program itself, and says so in a line."""


def make_app(night: Night, unforeseen: Unforeseen) -> Starlette:
    """Make the application over one sweep of a project.

    Parameters
    ----------
    night : Night
    unforeseen : callable
        See `Unforeseen`.
    """
    page = Page(night)
    page.warm()

    def told(_: Request, trouble: Exception) -> Response:
        return _line(str(trouble), UNPROCESSABLE)

    def edited(_: Request, trouble: Exception) -> Response:
        assert isinstance(trouble, EditedMeanwhile)
        return _line(str(trouble), CONFLICT, **both(trouble))

    def bug(_: Request, error: Exception) -> Response:
        return _line(unforeseen(error), UNFORESEEN)

    app = Starlette(
        routes=[
            Route("/", page.itself), Route("/static/{name}", page.part),
            Route("/takes/{number:int}", page.take), Route("/photo", page.photo),
            Route("/finds", page.finds), Route("/picks", page.picks), Route("/events", page.events),
            Route("/picks", page.decide, methods=["POST"]),
            Route("/undo", page.undo, methods=["POST"]), *Builder(night).routes,
        ],
        exception_handlers={EditedMeanwhile: edited, RigError: told, Exception: bug},
    )  # fmt: skip
    app.router.redirect_slashes = False
    return app


class Page:
    """Answers each request; what reads or writes a file does so in a thread of its own."""

    def __init__(self, night: Night) -> None:
        self.night = night
        self._shown: tuple[Seen, bytes] | None = None
        self._parts = {one.name: one.read_bytes() for one in
                       resources.files("rig.page").joinpath("static").iterdir()
                       if Path(one.name).suffix in KINDS}  # fmt: skip
        self._shell = Environment(
            loader=PackageLoader("rig.page"), autoescape=True, trim_blocks=True, lstrip_blocks=True
        ).get_template("page.html")

    @property
    def _folder(self) -> Path:
        return self.night.project.folder

    def warm(self) -> None:
        """Make what takes long once, so that the first to open it needn't wait."""
        with suppress(RigError):
            self._finds()

    async def itself(self, _: Request) -> Response:
        """Give the page, which asks for all else."""
        toy = self.night.project.toy
        return HTMLResponse(self._shell.render(
            toy=toy.name, sweep=self.night.name, keys=KEYS, controls=CONTROLS,
            scripts=sorted(name for name in self._parts if name.endswith(".js")),
        ))  # fmt: skip

    async def part(self, request: Request) -> Response:
        """Give one of the page's scripts, styles and drawings, by its plain name."""
        name = request.path_params["name"]
        if name not in self._parts:
            raise HTTPException(404)
        return Response(self._parts[name], media_type=KINDS[Path(name).suffix],
                        headers={"Cache-Control": "no-cache"})  # fmt: skip

    async def take(self, request: Request) -> Response:
        """Give the take of a touch that the log knows, whole, as it lies on the disk."""
        number = request.path_params["number"]
        return await run_in_threadpool(self._take, number)

    async def photo(self, _: Request) -> Response:
        """Give the photo of the board, encoded anew from its bare points."""
        return await run_in_threadpool(self._photo)

    async def finds(self, _: Request) -> Response:
        """Give how the sweep stands and what it found."""
        return await run_in_threadpool(self._finds)

    async def picks(self, _: Request) -> Response:
        """Give what was decided."""
        return await run_in_threadpool(self._picks)

    async def events(self, request: Request) -> Response:
        """Give what happened behind event number `after`."""
        after = request.query_params.get("after", "0")
        if not after.isascii() or not after.isdigit() or len(after) > 15:
            raise HTTPException(400)
        return await run_in_threadpool(self._events, int(after))

    async def decide(self, request: Request) -> Response:
        """Keep, set aside, name, note, wish a control, or take that back."""
        asked = await _asked(request)
        return await run_in_threadpool(self._decide, asked)

    async def undo(self, request: Request) -> Response:
        """Put an entry back as it was."""
        asked = await _asked(request)
        return await run_in_threadpool(lambda: JSONResponse(put_back(self._folder, asked)))

    def _take(self, number: int) -> Response:
        seen = self.night.seen()
        if number not in seen.takes:
            raise HTTPException(404)
        names = ("sweeps", self.night.name, *take_path(number).split("/"))
        return Response(read_within(self._folder, *names), media_type="audio/flac",
                        headers={"Cache-Control": "private, max-age=3600"})  # fmt: skip

    def _photo(self) -> Response:
        places = load_places(self._folder)
        if places is None or (self._folder / places.picture).is_symlink():
            raise HTTPException(404)
        try:
            kind, data = embeddable(self._folder / places.picture)
        except (Broken, OSError):
            raise HTTPException(404) from None
        if kind == DRAWING:  # it could hold anything: it may be looked at, not run
            return Response(data, media_type=kind, headers={
                "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox"
            })  # fmt: skip
        return Response(data, media_type=kind)

    def _finds(self) -> Response:
        night = self.night
        events, seen = night.events(), night.seen()
        changing = {"standing": standing(night.project, night.name, seen, events),
                    "picks": self._decided(seen)}  # fmt: skip
        return Response(self._rows(seen)[:-1] + b"," + _json(changing)[1:], media_type="application/json")

    def _rows(self, seen: Seen) -> bytes:
        """Give what is shown of the finds as JSON, made once for each reading of the log."""
        if self._shown is None or self._shown[0] is not seen:
            self._shown = seen, _json(rows(seen, self.night.project.toy))
        return self._shown[1]

    def _picks(self) -> Response:
        return JSONResponse(self._decided(self.night.seen()))

    def _decided(self, seen: Seen) -> dict[str, Any]:
        stamp = _stamp(self._folder / PICKS)  # before it is read: what comes later is read anew
        return decisions(self._folder, seen.found) | {"stamp": stamp}

    def _events(self, after: int) -> Response:
        night = self.night
        events = night.events()
        new = itertools.takewhile(lambda one: one.id > after, reversed(events))
        told = [line for one in new if (line := news(one))][:NEWS_MOST][::-1]
        return JSONResponse({
            "last": events[-1].id if events else 0, "news": told,
            "progress": progress(events), "version": night.version_to_give(),
            "picks": _stamp(self._folder / PICKS),
            "standing": standing(night.project, night.name, night.last_seen, events) if told else None,
        })  # fmt: skip

    def _decide(self, asked: Any) -> Response:
        seen = self.night.seen()
        done = decide(self._folder, seen, asked)
        return JSONResponse(done | {"picks": self._decided(seen)})


def both(trouble: EditedMeanwhile) -> dict[str, Any]:
    """Give the two versions of an entry that was changed on both sides."""
    return {"mine": trouble.mine and asdict(trouble.mine),
            "theirs": trouble.theirs and asdict(trouble.theirs)}  # fmt: skip


async def _asked(request: Request) -> Any:
    """Read what a tab sent, as JSON."""
    body = bytearray()
    try:
        async with asyncio.timeout(BODY_S):
            async for piece in request.stream():
                body += piece
                if len(body) > BODY_MOST:
                    raise HTTPException(413)
        return json.loads(body)
    except TimeoutError:
        raise HTTPException(408, headers={"Connection": "close"}) from None
    except (ValueError, RecursionError, ClientDisconnect):
        raise HTTPException(400) from None


def _json(told: dict[str, Any]) -> bytes:
    """Write names and values as JSON; there is at least one."""
    return json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def _stamp(path: Path) -> str:
    """Give what differs where a file was changed."""
    try:
        facts = path.stat()
    except OSError:
        return ""
    return f"{facts.st_mtime_ns}.{facts.st_size}.{facts.st_ino}"


def _line(text: str, status: int, **more: Any) -> Response:
    return JSONResponse({"told": text} | more, status_code=status)
