"""What every worker process does at its start, whatever it works on."""

from __future__ import annotations

import multiprocessing
import os
import threading


def follow_parent() -> None:
    """No life without the process that hands out the work: killed, it cannot end its workers itself."""
    parent = multiprocessing.parent_process()
    if parent is not None:

        def follow() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=follow, daemon=True).start()
