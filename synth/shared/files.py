"""Files of the user: never overwritten unasked, never left half written, never more widely readable than asked for."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import stat
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from dialtell.synth.shared.errors import OutputError, said_in_words
from dialtell.synth.shared.locks import locked, stands

_ASKING = threading.Lock()
_WRITERS = 8  # that write the same file at once under names a later one looks at


def require_free_folder(folder: Path, files: Sequence[str], *, overwrite: bool) -> None:
    """Raise OutputError when a folder, made if missing, cannot take these files."""
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is no folder; give a folder, made if missing")
    if folder.is_dir():
        for name in files:
            if (folder / name).exists() and not overwrite:
                raise OutputError(
                    f"{folder / name} exists; give another folder, or --overwrite to replace what is there"
                )
    elif not folder.parent.is_dir():
        raise OutputError(f"{folder} cannot be made, there is no folder {folder.parent}; make it first")


# suffixes that promise a form; any other is taken as part of the name
_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".avif", ".gif", ".bmp", ".svg", ".heic", ".heif")
_FORMS = frozenset((
    *_PICTURES, ".html", ".htm", ".pdf", ".md", ".markdown", ".txt", ".json", ".jsonl", ".csv", ".tsv", ".xls", ".xlsx",
    ".ods", ".doc", ".docx", ".odt", ".rtf", ".ps", ".eps", ".zip", ".safetensors",
))  # fmt: skip
PAGE, MARKDOWN, TEXT, JSON, TABLE = (
    ("a page (HTML)", (".html", ".htm")),
    ("Markdown", (".md", ".markdown", ".txt")),
    ("plain text (other forms: see --json, --csv)", (".txt", ".md")),
    ("JSON", (".json", ".txt")),
    ("a table (CSV)", (".csv", ".txt")),
)


def require_form(path: Path, form: tuple[str, tuple[str, ...]]) -> None:
    """Raise OutputError when a file's name promises another form than is written, one of PAGE, MARKDOWN, TEXT, JSON and
    TABLE; a name without suffix, or with one that promises nothing, passes."""
    what, own = form
    suffix = path.suffix.lower()
    if suffix in _FORMS and suffix not in own:
        raise OutputError(
            f"{path} ends in {path.suffix}, but what is written is {what}; give a name ending in {own[0]}"
        )


def require_free(path: Path, *, overwrite: bool) -> None:
    """Raise OutputError when `path` is taken (unless overwrite) or lies in no folder."""
    if path.is_dir():
        raise OutputError(f"{path} is a folder; give a file in it")
    if os.path.lexists(path) and not overwrite:
        raise OutputError(f"{path} exists; give another path, or --overwrite to replace it")
    if path.exists() and not path.is_file():
        raise OutputError(f"{path} is a device or a pipe, which cannot be replaced; give another path")
    if not path.parent.is_dir():
        raise OutputError(
            f"{path} cannot be written, there is no folder {path.parent}; make it first, or give a folder that exists"
        )


def write_text(path: Path, text: str, *, overwrite: bool = False) -> None:
    """Write UTF-8 text as write_bytes does. What UTF-8 cannot hold (bytes of a file name) comes out as a backslash
    escape."""
    write_bytes(path, text.encode("utf-8", "backslashreplace"), overwrite=overwrite)


def write_bytes(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write a file whole and safe from a power cut (see whole_file), for a command that begins anew every time.

    Raises OutputError when it exists and `overwrite` is false, or when it cannot be written.
    """
    require_free(path, overwrite=overwrite)
    try:
        with whole_file(path, synced=True) as file:
            file.write(content)
            require_free(path, overwrite=overwrite)  # it may have been taken since
    except OSError as error:
        reason, remedy = error.strerror or type(error).__name__, "give another place"
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            remedy = "make room and run the same command again, or give another place"
        raise OutputError(f"{path} cannot be written ({reason}); {remedy}") from error


def write_whole(path: Path, content: bytes, *, overwrite: bool) -> None:
    """Write a file whole (see whole_file), for a command that goes on where one before it stopped.

    OutputError when it exists with other content and `overwrite` is false, is no file, or cannot be written.
    """
    with said_in_words(path):
        if path.exists() and not path.is_file():  # a pipe or device would be waited for
            raise OutputError(f"{path} exists and is no file; move it away or give another name")
        if os.path.lexists(path) and not overwrite and not (path.is_file() and path.read_bytes() == content):
            raise OutputError(
                f"{path} exists and is not this command's result; move it away, give another name or --overwrite"
            )
        with whole_file(path) as file:
            file.write(content)


@contextmanager
def whole_file(path: Path, *, synced: bool = False) -> Iterator[BinaryIO]:
    """Open a file whose name only ever stands for all of it: a draft beside `path`, readable by its owner only, that
    takes the name at the end of the block and goes when the block fails. What a killed run left is taken away.

    A file that is replaced keeps its permissions, a new one gets what the umask leaves. A link is replaced, never
    written through. synced : have it on the disk before it takes the name. Raises OSError.
    """
    mode = _mode(path)
    with _begun(path) as (file, draft):
        try:
            yield file
            file.flush()
            os.chmod(draft, mode)
            if synced:
                os.fsync(file.fileno())
            if os.name == "nt":  # which moves no open file
                file.close()
            os.replace(draft, path)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise


def append(path: Path, content: bytes, *, afresh: bool = False, synced: bool = False) -> None:
    """Add to the end of a file, all of it or nothing; a link is followed. afresh : empty it first. Raises OSError."""
    with path.open("wb" if afresh else "ab", buffering=0) as file:
        before = file.tell()
        try:
            left = memoryview(content)
            while left:  # an unbuffered write may take a part only
                left = left[file.write(left) :]
            if synced:
                os.fsync(file.fileno())
        except OSError:
            file.truncate(before)
            raise


def _mode(path: Path) -> int:
    """Permissions of what is written: those of the file it replaces, else rw-rw-rw- less the umask."""
    try:
        found = path.lstat()
    except FileNotFoundError:
        pass
    else:
        if stat.S_ISREG(found.st_mode):
            return stat.S_IMODE(found.st_mode)
    with _ASKING:  # a umask can only be read by setting it: for that moment to a stricter one
        mask = os.umask(0o077)
        os.umask(mask)
    return 0o666 & ~mask


@contextmanager
def _begun(path: Path) -> Iterator[tuple[BinaryIO, Path]]:
    """A new draft of a file, held as long as it is open, and its place."""
    stem = f".dialtell-{hashlib.sha256(os.fsencode(path.name)).hexdigest()[:10]}-"
    drafts = [path.with_name(f"{stem}{number}.part") for number in range(_WRITERS)]
    for draft in drafts:
        _sweep(draft)
    for draft in (*drafts, path.with_name(f"{stem}{secrets.token_hex(8)}.part")):
        try:  # x: a link laid here must not lead the bytes elsewhere
            file = open(draft, "xb", opener=lambda name, flags: os.open(name, flags, 0o600))
        except FileExistsError:
            continue
        with file:
            if locked(file.fileno()) is not False and stands(file.fileno(), draft):  # not swept away before it was held
                yield file, draft
                return
    raise FileExistsError(errno.EEXIST, "too many write it at once", str(path))


def _sweep(draft: Path) -> None:
    """Take away a draft that a killed run of ours left: one that nobody holds."""
    try:
        handle = os.open(draft, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    except OSError:
        return
    try:
        found = os.fstat(handle)
        ours = stat.S_ISREG(found.st_mode) and locked(handle) and found.st_uid == os.geteuid()
        if ours and stands(handle, draft):  # nobody can lay another there while it does
            draft.unlink(missing_ok=True)
    finally:
        os.close(handle)


def content_hash(path: Path) -> str:
    """SHA-256 of a file's bytes; "" where it cannot be read, or is a pipe or device, which may never end."""
    try:
        if not path.is_file():
            return ""
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return ""
