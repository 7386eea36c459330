"""How soon the first call stands on the examination's page, beside `score`; many photographs at once; many dials.

    python tests/trials speed/examine

1. A drawn dial of 4000 x 3000 px is dropped (its bytes sent to the server over its socket) and waited for until its
   call is told; in turn the same photograph, of other bytes, is scored in this process with the weights loaded. The
   median of each, and the median of their ratio. The first of each, with everything cold, stands apart. Then a place is
   marked on it, and waited for until the call that follows is told.
2. `--many` photographs are sent at once, under as many dials: when the last is kept, shown small, and read.
3. A folder of `--dials` dials: how long a page of the list takes to be told, by the way it is asked for; and how long
   a person waits for it in Chromium, where it is here.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from trials.kills.examine_served import Served, drawn
from trials.speed.examine_filled import filled
from trials.speed.examine_seen import seen

from dialtell.evaluate.examine.listing import PAGE
from dialtell.evaluate.score.score import score_photo
from dialtell.evaluate.speed.scoring import draw_photograph
from dialtell.model.net.weights_file import load_weights

ASKED = ("", "?start=9960", "?text=invented%207", "?text=nothing%20of%20it", "?call=printed&zone=numerals&decade=1880")


def first_call(place: Path, repeats: int) -> dict[str, Any]:
    """Seconds, medians and the cold first: drop, score, and how many times the one is the other."""
    photo = place / "drawn.jpg"
    draw_photograph(photo)
    weights = load_weights()
    content, spans, scored, marked = photo.read_bytes(), [], [], []
    hand = {"what": "hand", "polygon": [[1900, 1400], [2300, 1400], [2300, 1700]]}
    served = Served(place / "dials", "--workers", "1")
    try:
        served.ready()
        for k in range(repeats + 1):
            other = content + k.to_bytes(4, "big")  # the same photograph, not kept before
            dial = served.post("/dials", {})["id"]
            begun = time.perf_counter()
            sha256 = served.add(dial, other, "drawn.jpg")["sha256"]
            while served.get(f"/dials/{dial}")["call"] is None:
                time.sleep(0.01)
            spans.append(time.perf_counter() - begun)
            begun = time.perf_counter()
            served.post(f"/photographs/{sha256}/places", hand)
            while served.get(f"/dials/{dial}")["call"] is None:
                time.sleep(0.01)
            marked.append(time.perf_counter() - begun)
            photo.write_bytes(other)
            begun = time.perf_counter()
            score_photo(photo, weights)
            scored.append(time.perf_counter() - begun)
    finally:
        served.kill()
    ratios = [drop / score for drop, score in zip(spans, scored, strict=True)]
    return {
        "repeats": repeats, "drop_s": statistics.median(spans[1:]), "score_s": statistics.median(scored[1:]),
        "times": statistics.median(ratios[1:]), "range": [min(ratios[1:]), max(ratios[1:])],
        "cold_drop_s": spans[0], "cold_score_s": scored[0], "marked_s": statistics.median(marked[1:]),
    }  # fmt: skip


def at_once(place: Path, count: int) -> dict[str, Any]:
    """Seconds from the first byte until all are kept, looked at, read; photographs lost or doubled."""
    rng = np.random.default_rng(1)
    contents = [drawn(k % 200) + rng.bytes(8) for k in range(count)]
    served = Served(place / "many")
    try:
        served.ready()
        dials = [served.post("/dials", {})["id"] for _ in contents]
        begun = time.perf_counter()
        with ThreadPoolExecutor(8) as senders:
            kept = list(
                senders.map(lambda dial, content: served.add(dial, content, "drawn.jpg")["sha256"], dials, contents)
            )
        all_kept = time.perf_counter() - begun
        slowest, shown = 0.0, 0.0
        while True:
            asked = time.perf_counter()
            state = served.get("/state")
            slowest = max(slowest, time.perf_counter() - asked)
            if not shown:
                pages = [served.get(f"/dials?start={start}")["dials"] for start in range(0, count, PAGE)]
                if all(row["cover"] for page in pages for row in page):
                    shown = time.perf_counter() - begun
            if not state["waiting"] and not state["doing"]:
                break
            time.sleep(0.1)
        done = time.perf_counter() - begun
        rows = [served.get(f"/dials/{dial}")["photographs"] for dial in dials]
    finally:
        served.kill()
    read = sum(photo["state"] == "read" for photos in rows for photo in photos)
    return {"photographs": count, "kept_s": all_kept, "thumbnails_s": shown, "read_s": done, "read": read,
            "different": len(set(kept)), "slowest_answer_meanwhile_s": slowest}  # fmt: skip


def listing(place: Path, count: int) -> dict[str, Any]:
    """Milliseconds of each page of the list, median and largest of 15; what is seen of it in a browser."""
    filled(place / "full", count)
    served = Served(place / "full")
    told = {}
    try:
        served.ready()
        for asked in ASKED:
            spans = []
            for _ in range(15):
                begun = time.perf_counter()
                served.get(f"/dials{asked}")
                spans.append(1000 * (time.perf_counter() - begun))
            told[asked or "first page"] = {"median": statistics.median(spans), "largest": max(spans)}
        shown = seen(served.url, count)
    finally:
        served.kill()
    return {"dials": count, "ms": told, "seen": shown}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print what was measured, as JSON."""
    parser = argparse.ArgumentParser(prog="speed/examine", description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--repeats", type=int, default=9)
    parser.add_argument("--many", type=int, default=200)
    parser.add_argument("--dials", type=int, default=10_000)
    args = parser.parse_args(arguments)
    told: dict[str, Any] = {"cores": os.cpu_count(), "load": os.getloadavg()[0]}
    with TemporaryDirectory() as folder:
        place = Path(folder)
        told["list"] = listing(place, args.dials)
        told["first_call"] = first_call(place, args.repeats)
        told["at_once"] = at_once(place, args.many)
    print(json.dumps(told, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
