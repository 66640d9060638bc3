"""A packed file on disk: written in one fixed order, and read without believing it."""

from __future__ import annotations

import hashlib
import os
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from acoustic.casework.lasting_files import write_folder_to_disk, write_incoming
from acoustic.casework.packing import (
    END_BYTES,
    MANIFEST_FILE,
    Counted,
    ListedEntry,
    Manifest,
    PackedFile,
    PackLimits,
    What,
    allowed_in,
    kind_of,
    parse_manifest,
    render_manifest,
    require_bearable,
    require_plain_end,
    require_safe_entries,
    shown,
)
from acoustic.errors import CaseError

_CHUNK_BYTES = 1 << 16
_LARGEST_MANIFEST = 4_000_000
_TROUBLE = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, struct.error, EOFError, RuntimeError,
    NotImplementedError, ValueError, IndexError, OverflowError,
)  # fmt: skip
"""What reading a damaged zip may raise."""


@dataclass(frozen=True, slots=True)
class Content:
    """Something to pack: its name in the pack, and its bytes or the file that holds them."""

    name: str
    content: bytes | Path


@dataclass(frozen=True, slots=True)
class OpenedPack:
    """A packed file whose list of entries and manifest were found safe.

    Attributes
    ----------
    manifest : Manifest
    files : tuple of PackedFile
        Those that are let in.
    left_out : tuple of str
        Names of the others.
    """

    manifest: Manifest
    files: tuple[PackedFile, ...]
    left_out: tuple[str, ...]
    _archive: zipfile.ZipFile
    _limits: PackLimits

    def read_pieces(self, file: PackedFile) -> Iterator[bytes]:
        """Read the content of one file piece by piece, counted and checked to the last byte.

        Raises
        ------
        CaseError
            As soon as it is more than promised, or at the end if it is something else.
        """
        entry = self._archive.getinfo(file.name)
        counted = Counted(file, entry.compress_size, self._limits)
        yield from map(counted.take, _read_entry(self._archive, entry))
        counted.require_all()


@contextmanager
def read_pack(path: Path, what: What, limits: PackLimits) -> Iterator[OpenedPack]:
    """Read a packed file that may come from anybody.

    Parameters
    ----------
    path : Path
    what : str
        Whether a case is expected, or an answer.
    limits : PackLimits

    Raises
    ------
    CaseError
        If it is missing, damaged, unsafe or something else; the message names the file.
    """
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(0, size - END_BYTES))
            require_plain_end(file.read(END_BYTES), size, limits)
            with zipfile.ZipFile(file) as archive:
                yield _read_checked(archive, size, what, limits)
    except CaseError as error:
        raise CaseError(f"{path.name}: {error}") from None
    except OSError as error:
        raise CaseError(f"{path}: cannot be read ({error.strerror or error}).") from None
    except _TROUBLE as error:
        raise CaseError(
            f"{path.name}: is damaged ({shown(str(error))[:100]}). Ask for it again."
        ) from None


def _read_checked(
    archive: zipfile.ZipFile, size: int, what: What, limits: PackLimits
) -> OpenedPack:
    entries = archive.infolist()
    require_safe_entries([_listed(entry) for entry in entries], size, limits)
    there = {entry.filename for entry in entries if not entry.is_dir()}
    if MANIFEST_FILE not in there:
        raise CaseError(f"is no packed case: there is no {MANIFEST_FILE} in it.")
    manifest = parse_manifest(_read_manifest(archive))
    if manifest.what != what:
        other = "acoustic bundle merge" if manifest.what == "answer" else "acoustic bundle open"
        raise CaseError(f"holds a packed {manifest.what}, no {what}. Use: {other} FILE FOLDER.")
    require_bearable(manifest, limits)
    missing = [file.name for file in manifest.files if file.name not in there]
    if missing:
        raise CaseError(f"{missing[0]!r} is missing from it. Ask for it again.")
    wanted = tuple(file for file in manifest.files if allowed_in(what, file.name))
    left_out = there - {MANIFEST_FILE} - {file.name for file in wanted}
    return OpenedPack(manifest, wanted, tuple(sorted(map(shown, left_out))), archive, limits)


def _read_manifest(archive: zipfile.ZipFile) -> bytes:
    raw = b""
    for piece in _read_entry(archive, archive.getinfo(MANIFEST_FILE)):
        raw += piece
        if len(raw) > _LARGEST_MANIFEST:
            raise CaseError(f"{MANIFEST_FILE} is larger than 4 MB. Nothing was unpacked.")
    return raw


def _read_entry(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> Iterator[bytes]:
    with archive.open(entry) as stream:
        while piece := stream.read(_CHUNK_BYTES):
            yield piece


def _listed(entry: zipfile.ZipInfo) -> ListedEntry:
    return ListedEntry(
        name=entry.orig_filename,
        mode=entry.external_attr >> 16,
        attributes=entry.external_attr & 0xFFFF,
        flags=entry.flag_bits,
        method=entry.compress_type,
        packed_bytes=entry.compress_size,
        start=entry.header_offset,
    )


def write_pack(
    place: Path,
    contents: Sequence[Content],
    describe: Callable[[tuple[PackedFile, ...]], Manifest],
    limits: PackLimits,
) -> Manifest:
    """Pack into one new file, whole or not at all; the same content gives the same bytes.

    Parameters
    ----------
    place : Path
        The new file; one that is there is never overwritten.
    contents : sequence of Content
        In the order they are to stand.
    describe : callable
        Gives the manifest for the files once their sizes and digests are known.
    limits : PackLimits
        Nothing is packed that could not be unpacked again.

    Raises
    ------
    CaseError
    """
    require_free(place)
    files = tuple(_read_promise(one) for one in contents)
    manifest = describe(files)
    try:
        require_bearable(manifest, limits)
    except CaseError as error:
        raise CaseError(f"{place}: cannot be packed: {error}") from None
    promised = {file.name: file for file in files}
    with write_incoming(place) as handle, os.fdopen(os.dup(handle), "wb") as stream:
        with zipfile.ZipFile(stream, "w") as archive:
            _write_entry(archive, MANIFEST_FILE, iter([render_manifest(manifest)]))
            for one in contents:
                counted = Counted(promised[one.name], promised[one.name].size_bytes, limits)
                _write_entry(archive, one.name, map(counted.take, _read_content(one)))
                counted.require_all()
        stream.flush()
    return manifest


def require_free(place: Path) -> None:
    """Raise `CaseError` unless a new file can be made there."""
    if place.exists() or place.is_symlink():
        raise CaseError(f"{place}: exists already and is left as it is. Name another file.")
    if not place.parent.is_dir():
        raise CaseError(f"{place}: the folder {place.parent} does not exist. Make it first.")
    if not os.access(place.parent, os.W_OK):
        raise CaseError(f"{place}: no permission to write here. Choose another folder.")


def _write_entry(archive: zipfile.ZipFile, name: str, pieces: Iterator[bytes]) -> None:
    entry = zipfile.ZipInfo(name)  # 1980: the time stands in the manifest
    entry.create_system, entry.external_attr = 3, 0o100644 << 16
    sound = kind_of(name) == "recording"  # compressed already, nearly always
    entry.compress_type = zipfile.ZIP_STORED if sound else zipfile.ZIP_DEFLATED
    with archive.open(entry, "w") as stream:
        for piece in pieces:
            stream.write(piece)


def _read_promise(one: Content) -> PackedFile:
    digest, size = hashlib.sha256(), 0
    for piece in _read_content(one):
        digest.update(piece)
        size += len(piece)
    return PackedFile(name=one.name, size_bytes=size, sha256=digest.hexdigest())


def _read_content(one: Content) -> Iterator[bytes]:
    if isinstance(one.content, bytes):
        yield one.content
        return
    try:
        with one.content.open("rb") as file:
            while piece := file.read(_CHUNK_BYTES):
                yield piece
    except OSError as error:
        raise CaseError(f"{one.content}: cannot be read ({error.strerror or error}).") from None


def write_unpacked(pack: OpenedPack, folder: Path) -> None:
    """Unpack every file that is let in into an empty folder, and force them to the disk."""
    for file in pack.files:
        try:
            _write_file(folder / file.name, pack.read_pieces(file))
        except OSError as error:
            reason = error.strerror or error
            raise CaseError(f"{file.name!r} cannot be unpacked here ({reason}).") from None
    for inside in (*(path for path in folder.iterdir() if path.is_dir()), folder):
        write_folder_to_disk(inside)


def _write_file(place: Path, pieces: Iterator[bytes]) -> None:
    place.parent.mkdir(exist_ok=True)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL  # never through a link, never over a file
    flags |= getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(place, flags, 0o644), "wb") as stream:
        for piece in pieces:
            stream.write(piece)
        stream.flush()
        os.fsync(stream.fileno())
