"""An application as all of ours are: its own pages, and what it answers where something is wrong, in words."""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any

from starlette.applications import Starlette
from starlette.convertors import Convertor, register_url_convertor
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import Lifespan

from dialtell.evaluate.pages.templates import own
from dialtell.evaluate.serving.doors import Refusal
from dialtell.synth.shared.errors import DialtellError, OutputError, fault_of_ours

log = logging.getLogger("dialtell.serving")


class _Hash(Convertor[str]):
    """What a photograph is asked for by."""

    regex = "[0-9a-f]{64}"

    def convert(self, value: str) -> str:
        return value

    def to_string(self, value: str) -> str:
        return value


register_url_convertor("sha256", _Hash())


def application(
    pages: Mapping[str, tuple[str, tuple[str, ...]]],
    routes: Sequence[Route],
    lifespan: Lifespan[Starlette] | None = None,
) -> Starlette:
    """An application of these pages and routes, in which {NAME:sha256} is a photograph.

    pages : by path, the content type and the files of evaluate/pages that make it, one after another.
    """
    own_pages = [Route(path, _own_page(*page), methods=["GET"]) for path, page in pages.items()]
    app = Starlette(routes=[*own_pages, *routes], lifespan=lifespan, exception_handlers=_HANDLERS)
    app.router.redirect_slashes = False
    return app


def _own_page(form: str, names: tuple[str, ...]) -> Callable[[Request], Awaitable[Response]]:

    async def answer(request: Request) -> Response:
        return Response("\n".join(own(name) for name in names), media_type=form)

    return answer


def _said(request: Request, words: str, status: int) -> Response:
    # what is left of a request that is refused is not waited for
    return JSONResponse({"error": words}, status, {} if request.method == "GET" else {"Connection": "close"})


async def _refused(request: Request, refusal: Refusal) -> Response:
    return _said(request, str(refusal), refusal.status)


async def _in_words(request: Request, error: DialtellError) -> Response:
    if isinstance(error, OutputError):
        log.error("%s", error)
    return _said(request, str(error), 507 if isinstance(error, OutputError) else 422)


async def _gone(request: Request, error: Exception) -> Response:
    return _said(request, "the request was cut off", 400)


async def _nowhere(request: Request, error: Exception) -> Response:
    return _said(request, "there is nothing here", 404)


async def _fault(request: Request, error: Exception) -> Response:
    log.error("%s", fault_of_ours(error))
    log.debug("traceback", exc_info=error)
    return _said(request, f"internal error: {type(error).__name__}", 500)


_HANDLERS: dict[Any, Any] = {
    Refusal: _refused, DialtellError: _in_words, ClientDisconnect: _gone, 404: _nowhere, 405: _nowhere,
    Exception: _fault,
}  # fmt: skip
