"""What the servers answer where something is wrong, in words; and their own pages."""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable
from typing import Any

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from dialtell.evaluate.examine.doors import Refusal
from dialtell.evaluate.pages.templates import own
from dialtell.synth.shared.errors import DialtellError, OutputError

log = logging.getLogger("dialtell.examine")


def own_page(form: str, names: tuple[str, ...]) -> Callable[[Request], Awaitable[Response]]:
    """A route that answers with files of evaluate/pages, one after another. form : the content type."""

    async def answer(request: Request) -> Response:
        return Response("\n".join(own(name) for name in names), media_type=form)

    return answer


async def _refused(request: Request, refusal: Refusal) -> Response:
    return JSONResponse({"error": str(refusal)}, refusal.status)


async def _in_words(request: Request, error: DialtellError) -> Response:
    if isinstance(error, OutputError):
        log.error("%s", error)
        return JSONResponse({"error": str(error)}, 507)
    return JSONResponse({"error": str(error)}, 422)


async def _gone(request: Request, error: Exception) -> Response:
    return JSONResponse({"error": "the request was cut off"}, 400)


async def _nowhere(request: Request, error: Exception) -> Response:
    return JSONResponse({"error": "there is nothing here"}, 404)


async def _fault(request: Request, error: Exception) -> Response:
    log.debug("traceback", exc_info=error)
    return JSONResponse({"error": f"internal error: {type(error).__name__}"}, 500)


HANDLERS: dict[Any, Any] = {
    Refusal: _refused, DialtellError: _in_words, ClientDisconnect: _gone, 404: _nowhere, 405: _nowhere,
    Exception: _fault,
}  # fmt: skip
