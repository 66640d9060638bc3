"""What a sound file is, from its first bytes, and whether it breaks off early.

The name of a file says nothing: phones, messengers and people rename. Byte patterns are
those of the format documents: RIFF and AIFF chunks, RFC 3533 (Ogg), RFC 9639 (FLAC),
RFC 4867 (AMR), RFC 8794 (EBML), ISO/IEC 14496-12 (boxes), ISO/IEC 11172-3 and 13818-7
(MPEG audio and ADTS sync words).
"""

from __future__ import annotations

import os
from typing import BinaryIO

HEAD_BYTES = 4096

_MAGIC: tuple[tuple[int, bytes, str], ...] = (
    (0, b"RIFF", "wav"),
    (0, b"RF64", "rf64"),
    (0, b"riff\x2e\x91\xcf\x11", "w64"),
    (0, b"fLaC", "flac"),
    (0, b"FORM", "aiff"),
    (0, b"caff", "caf"),
    (0, b"OggS", "ogg"),
    (0, b"#!AMR", "amr"),
    (0, b"ID3", "mp3"),
    (0, b"\x1a\x45\xdf\xa3", "webm"),
    (0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "asf"),
    (4, b"ftypqt  ", "mov"),
    (4, b"ftyp3g", "3gp"),
    (4, b"ftyp", "mp4"),
    (4, b"moov", "mov"),
    (4, b"mdat", "mov"),
    (4, b"wide", "mov"),
)

# Containers whose sound is stored sample by sample or without loss: read by libsndfile.
# Lossy codecs go packet by packet instead, so that damaged packets can be counted.
SAMPLE_CONTAINERS = frozenset({"wav", "rf64", "w64", "flac", "aiff", "caf"})


def sniff_container(head: bytes) -> str:
    """Name the container by its first bytes; ``""`` if unknown, ``"text"`` for text."""
    for offset, pattern, container in _MAGIC:
        if head[offset : offset + len(pattern)] == pattern:
            return container
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
        return "aac"  # ADTS: twelve ones, layer bits zero
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0:
        return "mp3"
    return "text" if _is_text(head) else ""


def _is_text(head: bytes) -> bool:
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return len(text) > 1 and all(c.isprintable() or c in "\r\n\t" for c in text)


def breaks_off_early(file: BinaryIO, container: str) -> bool:
    """Whether the outer structure of the file promises more bytes than there are.

    Looks only where the structure tells for certain; other containers are judged by
    their stated duration and their last packet. Leaves the file position anywhere.
    """
    size = file.seek(0, os.SEEK_END)
    if container in {"wav", "aiff"}:
        return _iff_breaks_off(file, size, "little" if container == "wav" else "big")
    if container == "ogg":
        return _ogg_breaks_off(file, size)
    if container == "webm":
        return _ebml_breaks_off(file, size)
    return False


def states_no_length(file: BinaryIO, container: str) -> bool:
    """Whether a RIFF file still carries the placeholder length of an unfinished recording."""
    if container != "wav":
        return False
    file.seek(4)
    return file.read(4) in {b"\0\0\0\0", b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f"}


def index_is_missing(file: BinaryIO, container: str) -> bool:
    """Whether a file of ISO boxes ends before the index (``moov``) it needs."""
    if container not in {"mp4", "mov", "3gp"}:
        return False
    size = file.seek(0, os.SEEK_END)
    position = 0
    while position + 8 <= size:
        file.seek(position)
        head = file.read(16)
        length = int.from_bytes(head[:4], "big")
        if length == 1:
            length = int.from_bytes(head[8:16], "big")
        if head[4:8] == b"moov" or length < 8:
            return False
        position += length
    return True


def _iff_breaks_off(file: BinaryIO, size: int, order: str) -> bool:
    file.seek(4)
    stated = int.from_bytes(file.read(4), "little" if order == "little" else "big")
    unfinished = stated >= 0x7FFFFF00
    return not unfinished and stated + 8 > size + 1  # the pad byte is often left off


def _ogg_breaks_off(file: BinaryIO, size: int) -> bool:
    """Ogg: the last page of the stream carries the end-of-stream flag (RFC 3533, 6)."""
    file.seek(max(0, size - 65536 - 282))  # a page is at most 65,307 bytes long
    tail = file.read()
    start = tail.rfind(b"OggS")
    if start < 0 or start + 27 > len(tail):
        return True
    segments = tail[start + 26]
    table = tail[start + 27 : start + 27 + segments]
    whole = start + 27 + segments + sum(table) <= len(tail)
    return not (whole and tail[start + 5] & 0x04)


_EBML_SEGMENT = 0x18538067
_EBML_CLUSTER = 0x1F43B675
_EBML_BLOCK_GROUP = 0xA0


def _ebml_breaks_off(file: BinaryIO, size: int) -> bool:
    """EBML: an element reaches past the end of the file (RFC 8794, 5 and 6)."""
    position = 0
    while position < size:
        file.seek(position)
        head = file.read(12)
        id_length = _vint_length(head, 4)
        size_length = _vint_length(head[id_length:], 8) if id_length else 0
        if not size_length or id_length + size_length > len(head):
            return True
        element = int.from_bytes(head[:id_length], "big")
        mask = (1 << 7 * size_length) - 1
        length = int.from_bytes(head[id_length : id_length + size_length], "big") & mask
        body = position + id_length + size_length
        if length != mask and body + length <= size:
            position = body + length
        elif element in {_EBML_SEGMENT, _EBML_CLUSTER, _EBML_BLOCK_GROUP}:
            position = body  # unknown or broken length: look inside
        else:
            return True
    return False


def _vint_length(data: bytes, longest: int) -> int:
    """Length of the variable-size integer at the start of `data`; 0 if there is none."""
    if not data or not data[0]:
        return 0
    length = 9 - data[0].bit_length()
    return length if length <= longest else 0
