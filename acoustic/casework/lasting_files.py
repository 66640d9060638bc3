"""Files that outlive a power cut: written whole, forced to the disk, added to under a lock.

A file is first written beside its place under a name that begins with ``INCOMING``, forced
to the disk, then renamed, then the folder is forced to the disk too. What a cut leaves
behind is at worst such a temporary file, which `write_away_leftovers` clears.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from acoustic.errors import CaseError

INCOMING = ".incoming-"
_CHUNK_BYTES = 1 << 20


def read_whole(path: Path) -> bytes:
    """Content of a file; empty if there is none.

    Raises
    ------
    CaseError
        If it is there and cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise CaseError(f"{path}: cannot be read ({_reason(error)}).") from None


def read_digest(path: Path) -> str:
    """SHA-256 of a file's content, in hex digits."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise CaseError(f"{path}: cannot be read ({_reason(error)}).") from None


def write_lasting(path: Path, content: bytes) -> None:
    """Write a file whole or not at all, and force it to the disk."""
    with write_incoming(path) as handle:
        _write_all(handle, content)


def write_lasting_copy(source: Path, path: Path, sha256: str) -> None:
    """Copy a file whole or not at all, and force it to the disk.

    Raises
    ------
    CaseError
        If its content is no longer that of `sha256`, or it cannot be read or written.
    """
    digest = hashlib.sha256()
    with write_incoming(path) as handle, source.open("rb") as file:
        while chunk := file.read(_CHUNK_BYTES):
            digest.update(chunk)
            _write_all(handle, chunk)
        if digest.hexdigest() != sha256:
            raise CaseError(
                f"{source.name}: changed while it was copied. Wait until it has arrived in full, "
                "then add it again."
            )


def write_away_leftovers(folder: Path) -> None:
    """Remove temporary files a cut left; only for whoever holds the lock of the case."""
    for left in folder.glob(f"{INCOMING}*"):
        left.unlink(missing_ok=True)


def write_folder_to_disk(folder: Path) -> None:
    """Force the names in a folder to the disk."""
    if sys.platform == "win32":
        return  # folders cannot be opened there; its file system keeps a journal of names
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class GrowingFile:
    """A file that is only added to, held under a lock for as long as it is open.

    Made by `write_locked`.
    """

    def __init__(self, path: Path, handle: int) -> None:
        self._path, self._handle = path, handle

    def write_added(self, content: bytes) -> None:
        """Add to the end and force it to the disk; on failure take it off again."""
        size = os.fstat(self._handle).st_size
        try:
            _write_all(self._handle, content)
            os.fsync(self._handle)
        except OSError as error:
            os.ftruncate(self._handle, size)
            raise CaseError(
                f"{self._path}: cannot be written ({_reason(error)}). Make room or choose another "
                "disk; nothing was changed."
            ) from error
        if size == 0:
            write_folder_to_disk(self._path.parent)

    def write_through(self) -> None:
        """Force to the disk what others may have added before."""
        os.fsync(self._handle)


@contextmanager
def write_locked(path: Path) -> Iterator[GrowingFile]:
    """Open a file for adding, and keep others that do so waiting until it is closed."""
    try:
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o666)
    except OSError as error:
        raise CaseError(
            f"{path}: cannot be written ({_reason(error)}). Is the case on a disk you may write to?"
        ) from None
    try:
        _lock_alone(path, handle)
        yield GrowingFile(path, handle)
    finally:
        os.close(handle)  # gives the lock back


def _lock_alone(path: Path, handle: int) -> None:
    try:
        _wait_for_lock(handle, alone=True)
    except OSError as error:
        raise CaseError(
            f"{path}: cannot be locked ({_reason(error)}), so two could write at once. Copy the "
            "case to a disk of this machine."
        ) from None


@contextmanager
def read_undisturbed(path: Path) -> Iterator[None]:
    """Keep those waiting who add to a file, as long as others read beside it.

    Where nothing can be locked (a read-only disk, some network drives) it is read as it is.
    """
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        yield
        return
    try:
        with suppress(OSError):
            _wait_for_lock(handle, alone=False)
        yield
    finally:
        os.close(handle)


def _wait_for_lock(handle: int, alone: bool) -> None:
    if sys.platform == "win32":
        import msvcrt

        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_LOCK, 1)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX if alone else fcntl.LOCK_SH)


@contextmanager
def write_incoming(path: Path) -> Iterator[int]:
    """Give a temporary file that becomes `path` if all goes well."""
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=INCOMING)
        try:
            yield handle
            os.fsync(handle)
        finally:
            os.close(handle)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
        write_folder_to_disk(path.parent)
    except OSError as error:
        raise CaseError(
            f"{path}: cannot be written ({_reason(error)}). Make room or choose another disk; "
            "nothing was changed."
        ) from error
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def _write_all(handle: int, content: bytes) -> None:
    left = memoryview(content)
    while left:
        left = left[os.write(handle, left) :]


def _reason(error: OSError) -> str:
    return error.strerror or str(error)
