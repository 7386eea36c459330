"""An S3 store on the loopback interface, kept in memory by moto, and the environment that leads s3fs there."""

import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import suppress

BUCKET = "archive"
# asks once a second instead of for a minute, and looks for no machine of a cloud
QUICK = {"AWS_MAX_ATTEMPTS": "2", "AWS_EC2_METADATA_DISABLED": "true"}


class S3Store:
    """A server with one bucket. Use as a context manager; `stop` kills it, `start` begins an empty one at its place."""

    def __init__(self):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.environment = {
            "AWS_ENDPOINT_URL": self.url, "AWS_ACCESS_KEY_ID": "right", "AWS_SECRET_ACCESS_KEY": "right",
            "AWS_DEFAULT_REGION": "us-east-1", **QUICK,
        }  # fmt: skip
        self.process = None

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.stop()

    def start(self):
        words = [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(self.port)]
        self.process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        end = time.monotonic() + 60
        while time.monotonic() < end:
            with suppress(OSError):
                self._ask("PUT", f"/{BUCKET}")
                return
            time.sleep(0.1)
        raise TimeoutError("the S3 store does not start")

    def stop(self):
        self.process.kill()
        self.process.wait()

    def put(self, key, data):
        """An object; its address."""
        self._ask("PUT", f"/{BUCKET}/{key}", data)
        return f"s3://{BUCKET}/{key}"

    def refuse(self):
        """From now on ask who comes: nobody has rights."""
        self._ask("POST", "/moto-api/reset-auth", b"0")

    def _ask(self, method, path, data=None):
        # moto takes whom a request is from on trust
        headers = {
            "Authorization": "AWS4-HMAC-SHA256 Credential=right/20260101/us-east-1/s3/aws4_request",
            "Content-Type": "application/octet-stream",
        }
        request = urllib.request.Request(self.url + path, data=data, method=method, headers=headers)
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.read()
