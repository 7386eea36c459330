"""The examination's queue: a worker that dies takes no other photograph with it."""

from __future__ import annotations

from concurrent.futures.process import BrokenProcessPool

import pytest
from examine_asked import StandIn, add, asked, new_dial, settled

from dialtell.evaluate.examine.desk import DIED
from dialtell.evaluate.examine.kept_files import KeptFiles


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
