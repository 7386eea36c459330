"""A test that waits for a pipe or a device is ended, and fails."""

import contextlib
import signal


@contextlib.contextmanager
def ended_after(seconds):
    """TimeoutError in what runs within, once so many seconds have passed."""

    def late(*_):
        raise TimeoutError("waited for a pipe or device")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)
