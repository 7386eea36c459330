"""The examination's queue: a worker that dies takes no other photograph with it."""

from __future__ import annotations

import resource
import struct
import zlib
from concurrent.futures.process import BrokenProcessPool

import pytest
from examine_asked import StandIn, add, asked, drawn, new_dial, settled

from dialtell.evaluate.examine import work
from dialtell.evaluate.examine.desk import DIED
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.shown import named
from dialtell.model.reading.known import MAX_PIXELS
from dialtell.synth.shared.errors import PhotoError


class Deadly(StandIn):
    """b"kills" ends whoever reads it."""

    async def _run(self, slot, function, *values):
        if values[0].read_bytes() == b"kills" and function.__name__ == "read":
            raise BrokenProcessPool
        return await super()._run(slot, function, *values)


def test_what_ends_its_worker_is_named_and_the_rest_is_read(tmp_path):
    with asked(tmp_path / "dials", Deadly) as client:
        dial = new_dial(client)
        for content in (b"one", b"kills", b"two"):
            add(client, dial, content)
        told = settled(client, dial)
    assert [photo["state"] for photo in told["photographs"]] == ["read", "failed", "read"]
    assert told["photographs"][1]["error"] == DIED


class NotTogether(StandIn):
    """Fails to read several together."""

    async def _run(self, slot, function, *values):
        if function.__name__ == "read_together":
            raise RuntimeError("sentinel")
        return await super()._run(slot, function, *values)


def test_what_cannot_be_read_together_is_said(tmp_path):
    with asked(tmp_path / "dials", NotTogether) as client:
        dial = new_dial(client)
        for content in (b"one", b"two"):
            add(client, dial, content)
        told = settled(client, dial)
    assert told["call"] is None and "sentinel" in told["apart"]
    assert all(photo["call"]["call"] == "hand-painted" for photo in told["photographs"])


@pytest.mark.parametrize("name", ["../../x.jpg", "a/b.PNG", "x.sh", "", "x" * 300 + ".heic", ".heic"])
def test_no_name_leads_out_of_the_folder(tmp_path, name):
    files = KeptFiles(tmp_path / "dials")
    files.prepare()
    with (tmp_path / "content").open("w+b") as content:
        content.write(b"photograph")
        digest, file = files.keep(content, name)
    assert [path.name for path in (files.folder / "photographs").iterdir()] == [file]
    assert file.startswith(digest) and file.removeprefix(digest) in (".jpg", ".png", ".photo", ".heic")
    assert files.photograph("../../etc/passwd").parent == files.folder / "photographs"


def _bomb(side):
    """A grey PNG of side x side px, all black, as small as a PNG of that size is."""
    packer = zlib.compressobj(9)
    rows = b"".join(packer.compress(b"\0" * (side + 1)) for _ in range(side)) + packer.flush()

    def chunk(kind, content):
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


@pytest.mark.parametrize("function", ["look", "write_full"])
def test_a_picture_that_would_burst_is_refused_unopened(tmp_path, function):
    content = _bomb(30_000)
    assert len(content) < 1_000_000  # and 900 million bytes once opened
    place = tmp_path / "bomb.png"
    place.write_bytes(content)
    sound = tmp_path / "sound.jpg"
    sound.write_bytes(drawn())
    getattr(work, function)(sound, tmp_path / "sound-view.jpg", MAX_PIXELS)  # what it needs is in memory now
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(PhotoError, match="pixels"):
        getattr(work, function)(place, tmp_path / "view.jpg", MAX_PIXELS)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 200_000  # kilobytes
    assert not (tmp_path / "view.jpg").exists()


def test_photographs_are_called_as_the_person_calls_them():
    record = {"photo": '/tmp/häuser/"a"/ff.jpg', "warnings": ["ff.jpg and the whole view differ."]}
    told = named(record, {'/tmp/häuser/"a"/ff.jpg': 'Ä "1".jpg', "ff.jpg": 'Ä "1".jpg'})
    assert told == {"photo": 'Ä "1".jpg', "warnings": ['Ä "1".jpg and the whole view differ.']}
