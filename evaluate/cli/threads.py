"""How many threads number crunching takes: to be settled before numpy is loaded."""

from __future__ import annotations

import os


def one_thread_for_small_matrices() -> None:
    """Keep OpenBLAS and MKL to one thread unless the user says otherwise: reading a dial solves thousands of tiny
    systems, on which their threads only wait for each other (a quarter of the time of the measurements).

    Has its effect on this process while numpy is not loaded, and on every process started after.
    """
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
