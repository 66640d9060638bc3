"""Files written whole or not at all.

Everything this program leaves on disk goes through `write_bytes_whole`: first to a
temporary file in the same folder, then renamed over the target, so a reader never meets
half a file. `require_writable` is asked before the work starts, so that nobody waits for
an answer that cannot be kept.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from acoustic.errors import OutputError

PICTURE_FORMATS = {".png": "png", ".svg": "svg", ".pdf": "pdf"}


def require_writable(path: Path, what: str) -> None:
    """Raise `OutputError` if `path` cannot become a file.

    Parameters
    ----------
    path : Path
        Where the file is to be.
    what : str
        The option that asked for it, for the message.
    """
    if path.is_dir():
        raise OutputError(f"{what} {path}: this is a folder. Add a file name to it.")
    folder = path.parent
    if not folder.is_dir():
        raise OutputError(
            f"{what} {path}: the folder {folder} does not exist. Make it first or choose another."
        )
    if not os.access(folder, os.W_OK) or (path.exists() and not os.access(path, os.W_OK)):
        raise OutputError(f"{what} {path}: no permission to write here. Choose another folder.")


def require_picture_place(path: Path, what: str = "--picture") -> None:
    """Raise `OutputError` unless `path` can become a picture we know how to write."""
    if path.suffix.lower() not in PICTURE_FORMATS:
        known = ", ".join(PICTURE_FORMATS)
        raise OutputError(
            f"{what} {path}: the name must end in one of {known}. Such as {path.stem}.png."
        )
    require_writable(path, what)


def write_bytes_whole(path: Path, content: bytes) -> None:
    """Write `content` to `path` whole or not at all.

    Raises
    ------
    OutputError
        If the place cannot be written or the disk is full; what was there stays.
    """
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).chmod(_usual_mode())
        Path(temporary).replace(path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        reason = error.strerror or str(error)
        raise OutputError(
            f"{path}: cannot be written ({reason}). Choose another place or make room."
        ) from error


def write_text_whole(path: Path, text: str) -> None:
    """Write `text` to `path` as UTF-8, whole or not at all."""
    write_bytes_whole(path, text.encode("utf-8"))


def _usual_mode() -> int:
    """Permissions an ordinary new file would get; a temporary file's are private."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
