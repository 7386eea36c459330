"""The examination's application asked without a socket, and its work done in this process by stand-ins."""

from __future__ import annotations

import io
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
from starlette.testclient import TestClient

from dialtell.evaluate.examine.app import examination
from dialtell.evaluate.examine.desk import Desk
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.phone import PhoneDoors
from dialtell.evaluate.examine.receiving import Receiving
from dialtell.evaluate.examine.work import Looked, ReadPhoto
from dialtell.synth.shared.errors import PhotoError

PORT = 4711
ORIGIN = f"http://127.0.0.1:{PORT}"
WEIGHTS = {"name": "stand-in", "version": "1", "sha256": "0" * 64}
# no word or number of the page itself: what no answer may hold while the call is kept back
TELLTALES = ("hand-painted", "entinel", "3.2109", "1.2345", "support")


def record(known, twelve=0.0):
    """A reading's record that repeats what was marked."""
    outline = known.outline
    return {
        "call": "hand-painted", "log10_lr": 1.2345, "support": "sentinel support", "reason": "Sentinel reason.",
        "probability_hand": 0.9, "withheld": False, "known": known.record(), "warnings": ["Sentinel warning."],
        "geometry": {
            "center_px": [50.0, 40.0] if outline is None else [outline.cx, outline.cy],
            "axes_px": [30.0, 30.0] if outline is None else [outline.a, outline.b],
            "ellipse_angle_deg": 0.0 if outline is None else outline.degrees,
            "rotation_deg": twelve if known.twelve_deg is None else known.twelve_deg,
        },
        "zones": [{"zone": "numerals", "judged": True, "call": "printed", "log10_lr": -3.2109, "reason": "Sentinel.",
                   "polygon_px": [[10, 10], [20, 10], [20, 20]]}],
    }  # fmt: skip


class StandIn(Desk):
    """A desk whose work is done at once, without processes: b"bad" is no photograph, all else is painted."""

    asked: list

    async def _run(self, slot, function, *values):
        self.asked = [*getattr(self, "asked", []), (function.__name__, values)]
        name = function.__name__
        if name in ("look", "read") and values[0].read_bytes() == b"bad":
            raise PhotoError(f"{values[0]} is not an image; give a photograph")
        if name == "write_full":
            values[1].write_bytes(b"full")
            return None
        if name == "look":
            values[1].write_bytes(b"view")
            return Looked(b"thumbnail", 100, 80)
        if name == "read":
            return ReadPhoto(record(values[1]), "0" * 16, WEIGHTS)
        if name == "read_together":
            return {**record(values[0][0][1]), "reason": f"Sentinel of {len(values[0])}.",
                    "warnings": [f"Sentinel {values[0][0][0].name} differs."]}, WEIGHTS  # fmt: skip
        values[1].with_suffix(".pdf").write_bytes(b"%PDF of sentinel")
        values[1].write_text(f"<p>sentinel page of {len(values[0])}, {values[3]}", "utf-8")
        return None


@contextmanager
def asked(folder: Path, desk=StandIn, phone=None) -> Iterator[TestClient]:
    """A client that was let in; `desk` and `token` are those of the server it asks.

    phone : whose door stands beside, asked at its own address."""
    files = KeptFiles(folder)
    files.prepare()
    made = desk(files)
    receiving = Receiving(made)
    app = examination(made, port=PORT, receiving=receiving, phone=phone)
    outside = None if phone is None else PhoneDoors(phone, receiving)

    async def either(scope, receive, send):
        to_phone = phone is not None and scope["type"] == "http" and scope["server"][0] == phone.address.split(":")[0]
        await (outside if to_phone else app)(scope, receive, send)

    with TestClient(either, base_url=ORIGIN, follow_redirects=False, raise_server_exceptions=False) as client:
        client.headers["Origin"] = ORIGIN
        client.cookies.set(app.named, app.token)
        client.desk, client.token = made, app.token
        yield client


def new_dial(client, **said):
    return client.post("/dials", json=said).json()["id"]


def add(client, dial, content=b"photograph", name="a.jpg"):
    reply = client.post(f"/dials/{dial}/photographs", params={"name": name}, content=content,
                        headers={"Content-Type": "application/octet-stream"})  # fmt: skip
    assert reply.status_code in (200, 201), reply.text
    return reply.json()


def settled(client, dial, seconds=10.0):
    """The dial when nothing more is to be done."""
    end = time.monotonic() + seconds
    while True:
        state, told = client.get("/state").json(), client.get(f"/dials/{dial}").json()
        if not state["waiting"] and not state["doing"] and all(p["state"] != "waiting" for p in told["photographs"]):
            return told
        assert time.monotonic() < end, (state, told)
        time.sleep(0.01)


def drawn(shade=30, form=".jpg"):
    """Bytes of a small photograph of a dial."""
    image = np.full((240, 300, 3), shade, np.uint8)
    cv2.circle(image, (150, 120), 100, (235, 235, 230), -1, cv2.LINE_AA)
    return io.BytesIO(cv2.imencode(form, image)[1].tobytes()).getvalue()
