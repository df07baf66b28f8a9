"""The addresses of the build view: what is proposed, and the sheet in both its forms."""

from __future__ import annotations

import asyncio
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from rig.errors import RigError
from rig.page.build_sheet import Wanted, html_file, pdf_file, wanted_of
from rig.page.building import building
from rig.page.night import Night

SHEET_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'; sandbox"
)
"""The sheet has its styles within; it runs nothing, and in a sandbox nothing in it could."""
LACKING = "padsweep-lacking"
"""The header that says what the PDF's fonts lack, as an address would have it."""


class Builder:
    """Answers what is asked about the build; one sheet is made at a time, in a thread of its own."""

    def __init__(self, night: Night) -> None:
        self._night = night
        self._one_sheet = asyncio.Lock()

    @property
    def routes(self) -> list[Route]:
        """Give its addresses."""
        return [Route("/build", self.view), Route("/sheet.pdf", self.pdf), Route("/sheet.html", self.html)]

    async def view(self, _: Request) -> Response:
        """Give what is proposed for what was kept."""
        return JSONResponse(await run_in_threadpool(building, self._night))

    async def pdf(self, request: Request) -> Response:
        """Give the sheet as PDF, to be stored."""
        wanted = _wanted(request)
        async with self._one_sheet:
            made, lacking = await run_in_threadpool(pdf_file, self._night, wanted)
        return Response(made, media_type="application/pdf", headers={
            "Content-Disposition": 'attachment; filename="sheet.pdf"', LACKING: quote(lacking),
        })  # fmt: skip

    async def html(self, request: Request) -> Response:
        """Give the sheet as a page of its own; what stands in its way as a line."""
        wanted = _wanted(request)
        try:
            async with self._one_sheet:
                made = await run_in_threadpool(html_file, self._night, wanted)
        except RigError as trouble:
            return PlainTextResponse(f"{trouble}\n", 422)
        return Response(made, media_type="text/html", headers={"Content-Security-Policy": SHEET_POLICY})


def _wanted(request: Request) -> Wanted:
    wanted = wanted_of(request.query_params)
    if wanted is None:
        raise HTTPException(400)
    return wanted
