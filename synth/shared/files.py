"""Files of the user: never overwritten unasked, never left half written, never more widely readable than asked for."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from dialtell.synth.shared.errors import OutputError

_ASKING = threading.Lock()


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
    """Write a file whole: under a temporary name beside `path`, readable by its owner only, then moved into place.

    A file that is replaced keeps its permissions, a new one gets what the umask leaves. A link is replaced, never
    written through. Raises OutputError.
    """
    require_free(path, overwrite=overwrite)
    try:
        mode = _mode(path)
        prefix = f".dialtell-{hashlib.sha256(os.fsencode(path.name)).hexdigest()[:10]}-"
        _sweep(path.parent, prefix)
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=prefix, suffix=".part")
        held = _held(Path(draft))
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.chmod(draft, mode)
                os.fsync(handle)
            require_free(path, overwrite=overwrite)  # it may have been taken since
            os.replace(draft, path)
        except BaseException:
            Path(draft).unlink(missing_ok=True)
            raise
        finally:
            if held is not None:
                os.close(held)
    except OSError as error:
        reason, remedy = error.strerror or type(error).__name__, "give another place"
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            remedy = "make room and run the same command again, or give another place"
        raise OutputError(f"{path} cannot be written ({reason}); {remedy}") from error


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


def _sweep(folder: Path, prefix: str) -> None:
    """Take away drafts of the same file that a killed run left: those nobody holds."""
    for draft in folder.glob(f"{prefix}*.part"):
        held = _held(draft)
        if held is not None:
            draft.unlink(missing_ok=True)
            os.close(held)


def _held(draft: Path) -> int | None:
    """A handle that holds this draft of ours until it is closed; None when another run holds it, or it is no draft of
    ours, or this system has no such locks."""
    try:
        import fcntl
    except ImportError:
        return None
    try:
        handle = os.open(draft, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return None
    found = os.fstat(handle)
    try:
        if stat.S_ISREG(found.st_mode) and found.st_uid == os.geteuid():
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return handle
    except OSError:
        pass
    os.close(handle)
    return None


@contextmanager
def said_in_words(path: Path) -> Iterator[None]:
    """Turn an OSError about `path` into an OutputError that says what to do."""
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise OutputError(
                f"{path} cannot be written: the disk is full; make room and run the same command again, which goes on "
                "where this one stopped"
            ) from error
        raise OutputError(f"{path} cannot be written ({error.strerror}); give another place") from error


def write_whole(path: Path, data: bytes, *, overwrite: bool) -> None:
    """Write a file so that its name only ever stands for all of it; a link is replaced, never written through.

    OutputError when it exists with other content and `overwrite` is false, is no file, or cannot be written.
    """
    with said_in_words(path):
        if path.exists() and not path.is_file():  # a pipe or device would be waited for
            raise OutputError(f"{path} exists and is no file; move it away or give another name")
        if os.path.lexists(path) and not overwrite and not (path.is_file() and path.read_bytes() == data):
            raise OutputError(
                f"{path} exists and is not this command's result; move it away, give another name or --overwrite"
            )
        part = path.with_name(f".{path.name}.part")
        try:
            part.unlink(missing_ok=True)  # of a run that was killed
            with part.open("xb") as file:  # x: a link laid here must not lead the bytes elsewhere
                file.write(data)
            os.replace(part, path)
        finally:
            part.unlink(missing_ok=True)
