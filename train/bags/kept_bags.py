"""Groups of bags kept on disk, so that rendering is paid for once: NumPy's archive of plain arrays, no pickle.

A name must say everything the bags depend on; `stamp` names the versions of what draws and reads.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from dialtell.model.net import preprocessing
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.files import whole_file
from dialtell.train.bags.bags import Bag


def stamp() -> str:
    """Versions of the renderer and of the reading, for a file name: bags of others must not be taken."""
    return f"r{RENDERER_VERSION}-p{preprocessing.VERSION}"


def save_bags(path: Path, bags: Sequence[Bag], *, compressed: bool = True) -> None:
    """Write one group, whole or not at all; an empty group is a file too. Raises OutputError.

    compressed : about half the size and twenty times the time.
    """
    empty = not bags
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(path) as file:
            (np.savez_compressed if compressed else np.savez)(
                file,
                allow_pickle=False,
                count=np.array([len(bag.zone) for bag in bags], dtype=np.int64),
                density=np.empty((0, 0, 0), np.uint8) if empty else np.concatenate([bag.density for bag in bags]),
                zone=np.empty(0, np.int8) if empty else np.concatenate([bag.zone for bag in bags]),
                scale=np.empty(0, np.float32) if empty else np.concatenate([bag.scales for bag in bags]),
                strokes=np.empty(0, np.int8) if empty else np.concatenate([bag.own for bag in bags]),
                alike=np.empty(0, np.bool_)
                if empty
                else np.concatenate([_or_none(bag.alike, bag.zone) for bag in bags]),
                alike_zones=np.array([_or_none(bag.alike_zones, bag.hand) for bag in bags], dtype=np.bool_),
                by_patch=np.array([bag.strokes is not None for bag in bags], dtype=np.bool_),
                hand=np.empty((0, 0), np.int8) if empty else np.stack([bag.hand for bag in bags]),
                resolution=np.array([bag.resolution for bag in bags], dtype=np.float64),
                dial=np.array([bag.dial for bag in bags], dtype=np.int64),
                photographic=np.array([bag.photographic for bag in bags], dtype=np.int64),
                index=np.array([bag.index for bag in bags], dtype=np.int64),
            )
    except OSError as error:
        raise OutputError(f"{path} cannot be written ({error.strerror or error}); give another folder") from error


def _or_none(alike: NDArray[np.bool_] | None, like: NDArray[np.int8]) -> NDArray[np.bool_]:
    return np.zeros(len(like), dtype=np.bool_) if alike is None else alike


def load_bags(path: Path) -> list[Bag]:
    """The group as it was saved. ParameterError when the file is not one."""
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
            part = {name: kept[name] for name in kept.files}
        ends = np.cumsum(part["count"])
        return [
            Bag(
                density=part["density"][end - count : end],
                zone=part["zone"][end - count : end],
                resolution=float(part["resolution"][at]),
                hand=part["hand"][at],
                dial=int(part["dial"][at]),
                photographic=int(part["photographic"][at]),
                index=int(part["index"][at]),
                strokes=part["strokes"][end - count : end] if by_patch else None,
                alike=part["alike"][end - count : end],
                alike_zones=part["alike_zones"][at],
                scale=part["scale"][end - count : end],
            )
            for at, (end, count, by_patch) in enumerate(zip(ends, part["count"], part["by_patch"], strict=True))
        ]
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile) as error:
        raise ParameterError(f"{path} holds no bags ({error}); delete it") from error


def kept_bags(folder: Path | None, name: str, make: Callable[[], Sequence[Bag]]) -> list[Bag]:
    """The bags of that name, made and kept in `folder` where they are not there; made only, with folder None."""
    if folder is None:
        return list(make())
    path = folder / f"{stamp()}-{name}.npz"
    if not path.exists():
        save_bags(path, made := list(make()))
        return made
    return load_bags(path)
