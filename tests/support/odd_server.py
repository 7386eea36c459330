"""A web server on the loopback interface that answers as told, and a clock that only moves when slept on."""

import io
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit

from PIL import Image


def picture(kind="JPEG", size=(48, 40), colour=(230, 228, 220)):
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, kind)
    return out.getvalue()


def grainy(kind="JPEG"):
    """A picture whose bytes are nearly all picture, so that a cut leaves the head whole."""
    out = io.BytesIO()
    Image.effect_noise((200, 150), 80).save(out, kind)
    return out.getvalue()


def answer(body=b"", status=200, kind="image/jpeg", **headers):
    """A behaviour: send this. Header names with _ for -; Content-Length is stated unless given (None: leave it out)."""

    def behave(handler):
        stated = {"Content_Type": kind, "Content_Length": str(len(body)), **headers}
        handler.send_response(status)
        for name, value in stated.items():
            if value is not None:
                handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return behave


def redirect(place, status=302):
    return answer(status=status, Location=place)


class OddServer:
    """routes : path -> behaviour, or a list of behaviours of which the last one stays. asked : paths with query, in
    order."""

    def __init__(self):
        self.routes, self.asked, self.agents = {}, [], []
        odd = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                odd.asked.append(self.path)
                odd.agents.append(self.headers["User-Agent"])
                behave = odd.routes.get(self.path) or odd.routes.get(urlsplit(self.path).path) or answer(status=404)
                if isinstance(behave, list):
                    behave = behave.pop(0) if len(behave) > 1 else behave[0]
                behave(self)

            def log_message(self, *args):
                pass

        class Server(ThreadingHTTPServer):
            block_on_close = False

            def handle_error(self, request, client_address):  # a client that hung up is no news
                pass

        self._server = Server(("127.0.0.1", 0), Handler)
        self.port = self._server.server_address[1]
        self.place = ("127.0.0.1", self.port)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True)
        self._thread.start()

    def url(self, path):
        return f"http://127.0.0.1:{self.port}{path}"

    def close(self):
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class StillClock:
    """Stands in for time: nobody waits, slept seconds are noted."""

    def __init__(self):
        self.time, self.slept = 1000.0, []

    def clock(self):
        return self.time

    def sleep(self, seconds):
        self.slept.append(seconds)
        self.time += seconds
