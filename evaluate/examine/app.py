"""The examination's application: its pages, and what they may ask and do. Photographs are asked for by their hash."""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
from collections.abc import AsyncIterator, Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from dialtell.evaluate.collection.file import now
from dialtell.evaluate.examine.agreement import collection_agreement
from dialtell.evaluate.examine.brought_in import bring_in
from dialtell.evaluate.examine.desk import AGAIN, LOOK, Desk
from dialtell.evaluate.examine.listing import page_of, wanted_of
from dialtell.evaluate.examine.phone import Phone
from dialtell.evaluate.examine.plates import PlateTest, numbers_of, plates_found
from dialtell.evaluate.examine.receiving import LARGEST_PHOTO, Receiving, received
from dialtell.evaluate.examine.record import WAITING, ExaminedDials, Places
from dialtell.evaluate.examine.shown import dial_shown
from dialtell.evaluate.examine.taken_along import FORMS
from dialtell.evaluate.pages.templates import digest, own
from dialtell.evaluate.serving.answers import application
from dialtell.evaluate.serving.doors import Doors, Refusal, told
from dialtell.model.reading.known import place_from

R = TypeVar("R")
_PARTS = ("outline", "places", "gestures", "loupe", "beside", "map", "list", "plates", "all")  # of the page's script
PAGES = {
    "/": ("text/html; charset=utf-8", ("examine.html",)),
    "/examine.js": (
        "text/javascript; charset=utf-8",
        (*(f"examine_{part}.js" for part in _PARTS), "examine.js"),
    ),
    "/examine.css": ("text/css; charset=utf-8", ("examine.css",)),
}
_MEDIA = {"csv": "text/csv; charset=utf-8", "json": "application/json", "zip": "application/zip"}
LARGEST_ZIP = 200 * 2**30  # bytes; the disk's room is looked at before anything is taken out


class Examination:
    """What the routes do, over one desk."""

    def __init__(self, desk: Desk, receiving: Receiving, phone: Phone | None) -> None:
        self.desk, self.files, self.phone = desk, desk.files, phone
        self._receiving, self._bringing = receiving, asyncio.Lock()
        self.plates = PlateTest(desk)

    async def _ask(self, function: Callable[[ExaminedDials], R]) -> R:
        def opened() -> R:
            with self.files.opened() as dials:
                return function(dials)

        return await asyncio.to_thread(opened)

    # --- asking ---

    async def state(self, request: Request) -> Response:
        """How far the desk is, once it is further than ?version= or a moment has passed, and the phone's door: None
        where a phone may not be asked for."""
        await self.desk.news(request.query_params.get("version", ""))
        phone = None if self.phone is None else {"door": self.phone.state()}
        return JSONResponse(self.desk.state() | {"phone": phone})

    async def dials(self, request: Request) -> Response:
        """A page of the list of dials: ?text= &call= &zone= &decade= &start=, see listing.Wanted."""
        wanted, version = wanted_of(request.query_params), self.desk.version
        return JSONResponse(await self._ask(lambda dials: page_of(dials, wanted)) | {"version": version})

    async def dial(self, request: Request) -> Response:
        """One dial."""
        return await self._dial(request.path_params["dial"])

    async def _dial(self, number: int) -> Response:
        shown = await self._ask(lambda dials: dial_shown(dials, number))
        return JSONResponse(shown | {"apart": self.desk.apart.get(number, "")})

    async def thumbnail(self, request: Request) -> Response:
        """A small JPEG of a photograph."""
        found = await self._ask(lambda dials: dials.thumbnail(request.path_params["sha256"]))
        if found is None:
            raise Refusal(404, "not looked at yet")
        return Response(found, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})

    async def picture(self, request: Request) -> Response:
        """The JPEG of a photograph that the page shows."""
        row = await self._ask(lambda dials: dials.photograph(request.path_params["sha256"]))
        place = self.files.view(row["sha256"])
        if not place.is_file():
            self.desk.want(LOOK, row["sha256"])
            raise Refusal(404, "not looked at yet")
        content = await asyncio.to_thread(place.read_bytes)
        return Response(content, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})

    async def full(self, request: Request) -> Response:
        """A photograph in full resolution, upright, as JPEG."""
        row = await self._ask(lambda dials: dials.photograph(request.path_params["sha256"]))
        place = await self.desk.full(row["sha256"])
        return FileResponse(place, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})

    async def report(self, request: Request) -> Response:
        """The report of a dial, three pages to print or to send."""
        place = (await self._page(request)).with_suffix(".pdf")
        name = f"dial-{request.path_params['dial']}.pdf"
        return FileResponse(place, media_type="application/pdf", filename=name, headers={"Cache-Control": "no-store"})

    async def _page(self, request: Request) -> Path:
        """Where the inspection page of a dial lies, its report beside it; not while its call is kept back."""
        number = request.path_params["dial"]
        if await self._ask(lambda dials: dials.kept_back(dials.dial(number))):
            raise Refusal(403, "note your own opinion first, then the call can be shown")
        return await self.desk.page(number)

    async def inspection(self, request: Request) -> Response:
        """The inspection page of a dial."""
        content = await asyncio.to_thread((await self._page(request)).read_bytes)
        # a document of its own: its script runs by its digest, and the page may ask this server nothing
        policy = (
            "sandbox allow-scripts; default-src 'none'; img-src data:; style-src 'unsafe-inline'; "
            f"script-src '{digest(own('inspection.js'))}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        )
        return Response(content, media_type="text/html", headers={"Content-Security-Policy": policy})

    async def agreement(self, request: Request) -> Response:
        """How far the person and the program agree, over all dials."""
        return JSONResponse({"agreement": await self._ask(collection_agreement)})

    async def plates_laid(self, request: Request) -> Response:
        """What was found of dials laid on each other: ?dials=3,7 of these alone, ?every=1 see plates_found."""
        given = request.query_params
        chosen = numbers_of(given["dials"].split(",")) if given.get("dials") else None
        found = await self._ask(lambda dials: plates_found(dials, chosen, every=given.get("every") == "1"))
        test = self.plates
        return JSONResponse(found | {"busy": test.busy, "now": test.said, "errors": test.errors})

    async def along(self, request: Request) -> Response:
        """All dials as a file: dials.csv, dials.json, or dials.zip with the photographs."""
        form = request.path_params["form"]
        headers = {"Content-Disposition": f'attachment; filename="dials.{form}"'}
        if form not in FORMS:
            raise Refusal(404, "there is nothing here")
        return StreamingResponse(FORMS[form](self.files), media_type=_MEDIA[form], headers=headers)

    # --- doing ---

    async def new_dial(self, request: Request) -> Response:
        """An empty dial: {"blind"}."""
        blind = (await told(request)).get("blind") is True
        number = await self._ask(lambda dials: dials.new_dial(blind=blind))
        self.desk.version += 1
        return await self._dial(number)

    async def change(self, request: Request) -> Response:
        """Change fields: {name: value}, and "blind" and "aside"."""
        number, body = request.path_params["dial"], await told(request)
        blind, aside = body.pop("blind", None), body.pop("aside", None)
        if not all(said is None or isinstance(said, bool) for said in (blind, aside)):
            raise Refusal(400, "blind and aside are true or false")

        def change(dials: ExaminedDials) -> list[str]:
            dials.change_dial(number, body)
            if blind is not None:
                dials.set_blind(number, blind)
            if aside is not None:
                dials.set_aside(number, aside)
            return [photo["sha256"] for photo in dials.photographs(number) if photo["state"] == WAITING]

        for sha256 in await self._ask(change):
            self.desk.want(AGAIN, sha256)
        self.desk.version += 1
        return await self._dial(number)

    async def note(self, request: Request) -> Response:
        """The person's own opinion: {"zone", "label"}."""
        number, body = request.path_params["dial"], await told(request)
        zone, label = body.get("zone"), body.get("label")
        if not isinstance(zone, str) or not isinstance(label, str):
            raise Refusal(400, "zone and label are no text")
        await self._ask(lambda dials: dials.note(number, zone, label))
        return await self._dial(number)

    async def show(self, request: Request) -> Response:
        """Show a call that was kept back: {}."""
        number = request.path_params["dial"]
        await told(request)
        await self._ask(lambda dials: dials.show_call(number))
        return await self._dial(number)

    async def mark(self, request: Request) -> Response:
        """Where the dial lies as the person says: {"outline": [cx, cy, a, b, degrees], "twelve_deg", "close_up"}."""
        sha256, body = request.path_params["sha256"], await told(request)
        if unknown := set(body) - {"outline", "twelve_deg", "close_up"}:
            raise Refusal(400, f"{sorted(unknown)[0]} is nothing that can be marked")

        return await self._anew(sha256, lambda dials: dials.mark(sha256, body))

    async def place(self, request: Request) -> Response:
        """A place drawn round by a person: {"what", "polygon": [[x, y], ...] px, "by": who}."""
        body = await told(request)
        place = place_from({**{name: body.get(name) for name in ("what", "polygon")}, **_by(body), "at": now()})
        return await self._placed(request, lambda places: (*places, place), place.by)

    async def drop_place(self, request: Request) -> Response:
        """No longer mark a place: {"at": when it was marked, "by"}."""
        body = await told(request)
        at = body.get("at")
        by = _by(body)["by"]
        return await self._placed(request, lambda places: tuple(place for place in places if place.at != at), by)

    async def clear_places(self, request: Request) -> Response:
        """No longer mark any place: {"by"}."""
        by = _by(await told(request))["by"]
        return await self._placed(request, lambda places: (), by)

    async def undo_places(self, request: Request) -> Response:
        """Take the last of these changes back: {}."""
        await told(request)
        sha256 = request.path_params["sha256"]
        return await self._anew(sha256, lambda dials: dials.undo_places(sha256))

    async def _placed(self, request: Request, change: Callable[[Places], Places], by: str) -> Response:
        sha256 = request.path_params["sha256"]
        return await self._anew(sha256, lambda dials: dials.change_places(sha256, change, by))

    async def _anew(self, sha256: str, change: Callable[[ExaminedDials], None]) -> Response:
        """A change of what is marked on a photograph; it is read anew."""

        def changed(dials: ExaminedDials) -> int:
            change(dials)
            return int(dials.photograph(sha256)["dial"])

        number = await self._ask(changed)
        self.desk.want(AGAIN, sha256)
        return await self._dial(number)

    async def part(self, request: Request) -> Response:
        """Lay a photograph under a dial of its own: {}."""
        sha256 = request.path_params["sha256"]
        await told(request)

        def part(dials: ExaminedDials) -> tuple[int, int]:
            was = int(dials.photograph(sha256)["dial"])
            return was, dials.part(sha256)

        was, _ = await self._ask(part)
        self.desk.want(AGAIN, sha256)
        await self.desk.gather(was)
        return await self._dial(was)

    async def part_all(self, request: Request) -> Response:
        """Lay each photograph of a dial but the first under a dial of its own: {}."""
        number = request.path_params["dial"]
        await told(request)

        def part(dials: ExaminedDials) -> list[str]:
            parted = [photo["sha256"] for photo in dials.photographs(number)[1:]]
            for sha256 in parted:
                dials.part(sha256)
            return parted

        for sha256 in await self._ask(part):
            self.desk.want(AGAIN, sha256)
        self.desk.apart.pop(number, None)
        return await self._dial(number)

    async def add(self, request: Request) -> Response:
        """Keep a photograph under a dial: its bytes; ?name= what it was called."""
        number = request.path_params["dial"]
        (sha256, lies), _ = await self._receiving.add(request, number)
        return JSONResponse({"sha256": sha256, "dial": lies}, 201 if lies == number else 200)

    async def begin(self, request: Request) -> Response:
        """Begin a dial with a photograph: its bytes; ?name= what it was called, ?as= what the dial is called, ?blind=1
        its call is kept back. One that was kept before begins none: 200 in place of 201."""
        sha256, lies, fresh = await self._receiving.begin(request)
        return JSONResponse({"sha256": sha256, "dial": lies, "fresh": fresh}, 201 if fresh else 200)

    async def invite(self, request: Request) -> Response:
        """A code for a phone that shall add photographs to a dial: {}."""
        await told(request)
        if self.phone is None:
            raise Refusal(404, "start `dialtell examine --on-my-network` to let a phone add photographs")
        number = request.path_params["dial"]
        await self._ask(lambda dials: dials.dial(number))
        self.desk.version += 1
        return JSONResponse(self.phone.invite(number))

    async def lay(self, request: Request) -> Response:
        """Lay dials on each other: {"dials": [number, ...]}, null for all of like design."""
        chosen = (await told(request)).get("dials")
        if chosen is not None and not isinstance(chosen, list):
            raise Refusal(400, "dials is no list of numbers")
        self.plates.begin(None if chosen is None else numbers_of(chosen))
        return JSONResponse({})

    async def stop_laying(self, request: Request) -> Response:
        """Lay no more dials on each other: {}."""
        await told(request)
        await self.plates.stop()
        return JSONResponse({})

    async def dismiss(self, request: Request) -> Response:
        """No phone may add photographs any more: {}."""
        await told(request)
        if self.phone is not None:
            self.phone.dismiss()
        self.desk.version += 1
        return JSONResponse({})

    async def bring(self, request: Request) -> Response:
        """Bring in dials that were taken along: the file's bytes."""
        async with self._bringing:
            with tempfile.TemporaryFile(dir=self.files.folder) as content:
                await received(request, content, LARGEST_ZIP)
                found = await asyncio.to_thread(bring_in, self.files, content, LARGEST_PHOTO)
        for sha256 in found.photos:
            self.desk.want(LOOK, sha256)
        for number in found.wanted:
            await self.desk.gather(number)
        self.desk.version += 1
        told = {name: getattr(found, name) for name in ("dials", "known", "photographs", "missing", "elsewhere")}
        return JSONResponse(told, 201)


def _by(body: Mapping[str, Any]) -> dict[str, Any]:
    """Who asks for something, as they say. Raises Refusal."""
    by = body.get("by", "")
    if not isinstance(by, str) or len(by) > 100 or not by.isprintable():
        raise Refusal(400, "who marks a place is a name of up to 100 characters")
    return {"by": by.strip()}


def examination(desk: Desk, *, port: int, receiving: Receiving | None = None, phone: Phone | None = None) -> Doors:
    """The application behind its doors; `token` of it is the secret.

    port : that it is served on. receiving, phone : shared with the phone's door, where there is one.
    """
    rooms = Examination(desk, receiving or Receiving(desk), phone)

    routes = [
        Route("/state", rooms.state, methods=["GET"]),
        Route("/dials", rooms.dials, methods=["GET"]),
        Route("/dials", rooms.new_dial, methods=["POST"]),
        Route("/dials/{dial:int}", rooms.dial, methods=["GET"]),
        Route("/dials/{dial:int}", rooms.change, methods=["POST"]),
        Route("/dials/{dial:int}/apart", rooms.part_all, methods=["POST"]),
        Route("/dials/{dial:int}/opinion", rooms.note, methods=["POST"]),
        Route("/dials/{dial:int}/show", rooms.show, methods=["POST"]),
        Route("/dials/{dial:int}/photographs", rooms.add, methods=["POST"]),
        Route("/dials/{dial:int}/inspection", rooms.inspection, methods=["GET"]),
        Route("/dials/{dial:int}/report", rooms.report, methods=["GET"]),
        Route("/dials/{dial:int}/phone", rooms.invite, methods=["POST"]),
        Route("/phone/dismiss", rooms.dismiss, methods=["POST"]),
        Route("/plates", rooms.plates_laid, methods=["GET"]),
        Route("/plates", rooms.lay, methods=["POST"]),
        Route("/plates/stop", rooms.stop_laying, methods=["POST"]),
        Route("/thumbnails/{sha256:sha256}", rooms.thumbnail, methods=["GET"]),
        Route("/pictures/{sha256:sha256}", rooms.picture, methods=["GET"]),
        Route("/pictures/{sha256:sha256}/full", rooms.full, methods=["GET"]),
        Route("/photographs", rooms.begin, methods=["POST"]),
        Route("/photographs/{sha256:sha256}/part", rooms.part, methods=["POST"]),
        Route("/agreement", rooms.agreement, methods=["GET"]),
        Route("/along/dials.{form}", rooms.along, methods=["GET"]),
        Route("/brought", rooms.bring, methods=["POST"]),
        Route("/photographs/{sha256:sha256}/mark", rooms.mark, methods=["POST"]),
        Route("/photographs/{sha256:sha256}/places", rooms.place, methods=["POST"]),
        Route("/photographs/{sha256:sha256}/places/drop", rooms.drop_place, methods=["POST"]),
        Route("/photographs/{sha256:sha256}/places/clear", rooms.clear_places, methods=["POST"]),
        Route("/photographs/{sha256:sha256}/places/undo", rooms.undo_places, methods=["POST"]),
    ]

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        await desk.start()
        try:
            yield
        finally:
            await rooms.plates.stop()
            await desk.close()

    return Doors(application(PAGES, routes, lifespan), "examine", port=port)
