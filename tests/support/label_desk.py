"""A folder of small photographs and the label page served over it as the command serves it, for tests."""

from __future__ import annotations

import http.client
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
from page_served import served

from dialtell.evaluate.label.app import Labelling, label_page
from dialtell.evaluate.label.photos import PhotoFolder
from dialtell.evaluate.label.store import LabelStore
from dialtell.evaluate.label.views import LabelViews
from dialtell.evaluate.serving import server
from dialtell.model.reading.known import UNKNOWN

WIDTH, HEIGHT = 300, 240
CENTRE, RADIUS = (150.0, 120.0), 100.0
# what no answer may hold before the label is given; no word or number of the page itself
CALL = {
    "call": "hand-painted", "log10_lr": 1.2345, "support": "sentinel support", "reason": "Sentinel reason.",
    "warnings": [], "zones": [{"zone": "numerals", "judged": True, "call": "printed", "log10_lr": -3.2109}],
}  # fmt: skip
TELLTALES = ("hand-painted", "1.23", "entinel", "3.21", "log10_lr")


def draw(path: Path, shade: int) -> Path:
    """A dial, divided in sixty with twelve figures, on a dark ground; `shade` makes its bytes its own."""
    image = np.full((HEIGHT, WIDTH, 3), shade, np.uint8)
    cv2.circle(image, (150, 120), 100, (235, 235, 230), -1, cv2.LINE_AA)
    for hour in range(12):
        way = np.array([np.sin(hour * np.pi / 6), -np.cos(hour * np.pi / 6)])
        ends = [(round(150 + r * way[0]), round(120 + r * way[1])) for r in (58, 78)]
        cv2.line(image, *ends, (25, 20, 20), 3, cv2.LINE_AA)
    for minute in range(60):
        way = np.array([np.sin(minute * np.pi / 30), -np.cos(minute * np.pi / 30)])
        # in sixteenths of a pixel, so that the divisions stand evenly
        ends = [(round(16 * (150 + r * way[0])), round(16 * (120 + r * way[1]))) for r in (85, 92)]
        cv2.line(image, *ends, (25, 20, 20), 2 if minute % 5 == 0 else 1, cv2.LINE_AA, 4)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(cv2.imencode(".png", image)[1].tobytes())
    return path


class Views(LabelViews):
    """Calls everything painted, without weights."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[str] = []

    def call(self, photo, known=UNKNOWN):
        self.asked.append(photo.id)
        return CALL


@contextmanager
def desk(folder: Path, table: Path | None = None, *, port: int = 0, **settings) -> Iterator[SimpleNamespace]:
    """What is served until the block ends: folder, store, views, port, token, url."""
    photos = PhotoFolder(folder)
    with LabelStore(table or folder / "labels.csv") as store, server.listening("127.0.0.1", port) as listener:
        views = Views()
        app = label_page(Labelling(photos, store, views, **settings), port=listener.getsockname()[1])
        with served(app, listener):
            yield SimpleNamespace(folder=photos, store=store, views=views, port=app.port, token=app.token,
                                  url=f"http://127.0.0.1:{app.port}/?token={app.token}")  # fmt: skip


def ask(server, method, path, body=None, **changed):
    """Status, headers and body of a request by a page that may ask, but for the headers named in `changed`."""
    headers = {
        "Host": f"127.0.0.1:{server.port}",
        "Cookie": f"dialtell-label-{server.port}={server.token}",
        "Origin": f"http://127.0.0.1:{server.port}",
        "Content-Type": "application/json",
    } | {name.replace("_", "-"): value for name, value in changed.items()}
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    try:
        data = body if body is None or isinstance(body, bytes) else json.dumps(body).encode()
        connection.putrequest(method, path, skip_host=True)
        for name, value in (headers | ({} if data is None else {"Content-Length": str(len(data))})).items():
            if value is not None:
                connection.putheader(name, value)
        connection.endheaders(data)
        reply = connection.getresponse()
        try:
            content = reply.read()
        except ConnectionResetError:  # it was refused before all of it was read
            content = b""
        return reply.status, dict(reply.getheaders()), content
    finally:
        connection.close()


def first(server):
    return next(iter(server.folder.photos))
