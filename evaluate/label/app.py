"""The label page's application: what it may ask and do. Photographs are asked for by their content's hash.

What a photograph was called is in no answer before it has a label, unless calls were asked to be shown.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from dialtell.evaluate.label.photos import LabelPhoto, PhotoFolder
from dialtell.evaluate.label.rim import rim_ellipse
from dialtell.evaluate.label.store import LabelStore
from dialtell.evaluate.label.views import LabelViews
from dialtell.evaluate.serving.answers import application
from dialtell.evaluate.serving.doors import Doors, Refusal, told
from dialtell.synth.shared.errors import DialtellError

PAGES = {
    "/": ("text/html; charset=utf-8", ("label.html",)),
    "/label.js": ("text/javascript; charset=utf-8", ("label_lens.js", "label.js")),
    "/label.css": ("text/css; charset=utf-8", ("inspection.css", "label.css")),
}


class Labelling:
    """What the routes do, over one folder. show_calls : do not keep the tool's call back until the label is given."""

    def __init__(self, folder: PhotoFolder, store: LabelStore, views: LabelViews, *, show_calls: bool = False) -> None:
        self.folder, self.store, self.views, self.show_calls = folder, store, views, show_calls
        self.seen: set[str] = set()  # photographs whose call was shown

    # --- what is asked ---

    def overview(self) -> dict[str, Any]:
        """All photographs and whether each is labelled."""
        photos = [{"id": photo.id, "name": photo.name, "labelled": self.store.labelled(photo)} for photo in self.folder]
        return {
            "file": self.store.path.name,
            "labeller": self.store.labeller,
            "show_calls": self.show_calls,
            "photos": photos,
        }

    def details(self, number: object, said: list[str] | None = None) -> dict[str, Any]:
        """A photograph's cells and size; an error in words when it cannot be read."""
        photo = self._named(number)
        told: dict[str, Any] = {"id": photo.id, "name": photo.name, "row": self.store.row(photo), "said": said or []}
        try:
            picture = self.views.picture(self.folder.checked(photo.id))
        except DialtellError as error:
            return told | {"width": 0, "height": 0, "error": str(error)}
        return told | {"width": picture.width, "height": picture.height, "error": ""}

    def dial(self, number: object) -> dict[str, Any]:
        """The dial of a photograph as it is marked, else as it is seen."""
        photo = self._photo(number)
        return self.views.dial(photo, self.store.known(photo))

    def picture(self, number: object) -> bytes:
        """The JPEG of a photograph."""
        return self.views.picture(self._photo(number)).jpeg

    # --- what is done ---

    def change(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Save cells: {"id", "changes": {column: value}}."""
        photo, changes = self._photo(body.get("id")), body.get("changes")
        if not isinstance(changes, dict) or not all(isinstance(value, str) for value in changes.values()):
            raise Refusal(400, "changes are no columns with text")
        seen = self.show_calls or photo.id in self.seen
        return self.details(photo.id, self.store.change(photo, changes, seen=seen))

    def rim(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Save the outline through rim points: {"id", "points": [[x, y], ...]} in px; no points, no outline."""
        photo, points = self._photo(body.get("id")), body.get("points")
        if not isinstance(points, list) or not all(isinstance(point, list) and len(point) == 2 for point in points):
            raise Refusal(400, "points are no pairs of numbers")
        picture = self.views.picture(photo)
        try:
            text = rim_ellipse(points, picture.width, picture.height).text if points else ""
        except OverflowError as error:  # a whole number beyond any float
            raise Refusal(400, "points are no pairs of numbers") from error
        self.store.set_outline(photo, text)
        return self.details(photo.id)

    def undo(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Take the last change back; {} when there is nothing left."""
        number = self.store.undo()
        return self.details(number, ["Taken back."]) if number in self.folder.photos else {}

    def call(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Show the tool's call of a photograph that has its label: {"id"}."""
        photo = self._photo(body.get("id"))
        if not self.show_calls and not self.store.labelled(photo):
            raise Refusal(403, "label the dial first, then the call can be shown")
        told = self.views.call(photo, self.store.known(photo, max_pixels=self.views.max_pixels))
        self.seen.add(photo.id)
        return told

    def _named(self, number: object) -> LabelPhoto:
        """The photograph of an id. Raises Refusal."""
        if not isinstance(number, str) or number not in self.folder.photos:
            raise Refusal(404, "there is no such photograph")
        return self.folder.photos[number]

    def _photo(self, number: object) -> LabelPhoto:
        """The same, still in its place with the same bytes. Raises Refusal, PhotoError."""
        return self.folder.checked(self._named(number).id)


def label_page(desk: Labelling, *, port: int) -> Doors:
    """The application behind its doors; `token` of it is the secret. port : that it is served on."""

    def asking(path: str, ask: Callable[..., Any], form: Callable[[Any], Response] = JSONResponse) -> Route:
        async def answer(request: Request) -> Response:
            return form(await asyncio.to_thread(ask, *request.path_params.values()))

        return Route(path, answer, methods=["GET"])

    def doing(path: str, act: Callable[[Mapping[str, Any]], dict[str, Any]]) -> Route:
        async def answer(request: Request) -> Response:
            return JSONResponse(await asyncio.to_thread(act, await told(request)))

        return Route(path, answer, methods=["POST"])

    def jpeg(content: bytes) -> Response:
        return Response(content, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})

    routes = [
        asking("/photos", desk.overview),
        asking("/photo/{photo:sha256}", desk.details),
        asking("/dial/{photo:sha256}", desk.dial),
        asking("/picture/{photo:sha256}", desk.picture, jpeg),
        doing("/change", desk.change),
        doing("/rim", desk.rim),
        doing("/undo", desk.undo),
        doing("/call", desk.call),
    ]
    return Doors(application(PAGES, routes), "label", port=port)
