"""One file to mail, holding a case or an answer to one: what may be in it, what makes it unsafe.

It is a plain zip: first ``manifest.json`` (schema, title, time, every file with its size and
SHA-256), then the files in a fixed order. Whoever opens one did not make it, so nothing in it
is believed: names must be of the few kinds a case has, and sizes are counted, not read off.

Followed as far as they apply to a file from a stranger (both from memory): OWASP File Upload
Cheat Sheet (allowed kinds only, names and lengths limited, sizes limited, content against
kind, nothing runnable stored) and OWASP ASVS 4.0.3, 5.2 and 12.1 to 12.3 (number of files and
uncompressed size limited, links and paths refused). Overlapping entries as in CPython issue
109858, which Python before 3.11.8 lets through.
"""

from __future__ import annotations

import hashlib
import json
import re
import stat
import struct
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from acoustic.errors import CaseError
from acoustic.recording.containers import sniff_container

MANIFEST_FILE, ANSWER_FILE = "manifest.json", "answer.jsonl"

Kind = Literal["case file", "layout", "history", "recording", "screening", "answer", ""]
What = Literal["case", "answer"]

SOUND_ENDINGS = frozenset({
    "3g2", "3ga", "3gp", "3gpp", "aac", "aif", "aifc", "aiff", "amr", "asf", "au", "awb", "bwf",
    "caf", "flac", "m4a", "m4b", "m4r", "m4v", "mka", "mkv", "mov", "mp2", "mp3", "mp4", "mpga",
    "oga", "ogg", "opus", "qt", "qta", "rf64", "snd", "sound", "spx", "w64", "wav", "wave",
    "weba", "webm", "wma", "wmv",
})  # fmt: skip
"""Endings of recordings that are let in; none is run by opening it."""

_KINDS: tuple[tuple[Kind, re.Pattern[str]], ...] = (
    ("case file", re.compile(r"case\.toml")),
    ("history", re.compile(r"history\.jsonl")),
    ("answer", re.compile(re.escape(ANSWER_FILE))),
    ("layout", re.compile(r"[^/.][^/]*\.toml")),
    ("recording", re.compile(rf"recordings/[0-9a-f]{{16}}\.(?:{'|'.join(sorted(SOUND_ENDINGS))})")),
    ("screening", re.compile(r"screenings/[0-9]{4,9}\.json")),
)
_KINDS_OF: dict[What, frozenset[Kind]] = {
    "case": frozenset({"case file", "layout", "history", "recording", "screening"}),
    "answer": frozenset({"answer", "screening"}),
}
_LONGEST_NAME = 200
_FORBIDDEN = re.compile(r'[\\:*?"<>|]')
# Names that stand for a device on Windows, with any ending (Microsoft, "Naming Files").
_DEVICE = re.compile(r"(?:con|prn|aux|nul|conin\$|conout\$|(?:com|lpt)[0-9¹²³])", re.IGNORECASE)
_STORED, _DEFLATED = 0, 8
_ENCRYPTED = 0x1 | 0x40 | 0x2000
_DOS_FOLDER = 0x10
_LOCAL_HEADER_BYTES = 30
_END = struct.Struct("<4s4H2LH")
END_BYTES = _END.size + 20
"""What stands at the end of a zip: the end record, and before it what would tell a 64-bit one."""


@dataclass(frozen=True, slots=True)
class PackLimits:
    """How much a packed file may hold. [byte]

    Attributes
    ----------
    files : int
        Entries, folders and the manifest included.
    file_bytes, total_bytes : int
        Uncompressed, of one file and of all.
    text_bytes : int
        Uncompressed, of one file that is no recording.
    pack_bytes : int
        Of the packed file itself; compression can only make it smaller than its content.
    directory_bytes : int
        Of the zip's list of entries.
    ratio : float
        Uncompressed to compressed size of one file, beyond the first `free_bytes`. [-]
    """

    files: int = 1_000
    file_bytes: int = 300_000_000
    total_bytes: int = 1_000_000_000
    text_bytes: int = 16_000_000
    pack_bytes: int = 1_010_000_000
    directory_bytes: int = 400_000
    ratio: float = 100.0
    free_bytes: int = 1_000_000


CASE_LIMITS = PackLimits()
ANSWER_LIMITS = PackLimits(
    files=8, file_bytes=16_000_000, total_bytes=32_000_000, pack_bytes=33_000_000,
    directory_bytes=4_000,
)  # fmt: skip

Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Line = Annotated[str, Field(max_length=200)]
_STRICT = ConfigDict(extra="forbid", frozen=True, strict=True, populate_by_name=True)


class PackedFile(BaseModel):
    """One file as the manifest promises it."""

    model_config = _STRICT

    name: Annotated[str, Field(min_length=1, max_length=_LONGEST_NAME)]
    size_bytes: Annotated[int, Field(ge=0)]
    sha256: Sha256


class Manifest(BaseModel):
    """What a packed file says of itself.

    `by` is who answers and `events` the digests of the events of the case that the answer was
    given to; both are empty for a case.
    """

    model_config = _STRICT

    schema_: Literal["case-pack/1"] = Field(default="case-pack/1", alias="schema")
    what: What
    title: Line
    packed: AwareDatetime
    version: Annotated[str, Field(max_length=40)]
    files: tuple[PackedFile, ...]
    by: Line = ""
    events: tuple[Sha256, ...] = ()


@dataclass(frozen=True, slots=True)
class ListedEntry:
    """What a zip's list of entries says of one; any of it may be a lie.

    Attributes
    ----------
    name : str
        As it stands there, before anything mends it.
    mode : int
        Mode of the file as Unix keeps it; 0 if it says nothing.
    attributes : int
        Attributes as DOS keeps them.
    flags, method : int
    packed_bytes : int
        Compressed size.
    start : int
        Where its own header begins in the file.
    """

    name: str
    mode: int
    attributes: int
    flags: int
    method: int
    packed_bytes: int
    start: int

    @property
    def is_folder(self) -> bool:
        """Whether it is only the name of a folder."""
        return self.name.endswith("/") and self.packed_bytes <= 2  # 2: deflated nothing


def kind_of(name: str) -> Kind:
    """Which file of a case has such a name; empty if none has."""
    return next((kind for kind, pattern in _KINDS if pattern.fullmatch(name)), "")


def allowed_in(what: What, name: str) -> bool:
    """Whether a case, or an answer to one, has files of such a name."""
    return kind_of(name) in _KINDS_OF[what]


def sort_key(name: str) -> tuple[int, str]:
    """Place of a file in the order it is packed: what is read first stands first."""
    return [kind for kind, _ in _KINDS].index(kind_of(name)), name


def shown(text: str) -> str:
    """A stranger's words made fit to print: no sign that steers a terminal or turns the text."""
    plain = "".join(" " if c in "\r\n\t" else c for c in text)
    return "".join("\ufffd" if unicodedata.category(c)[0] == "C" else c for c in plain)


def name_fault(name: str) -> str:
    """Why a name must not become a file, as the end of a sentence; empty if it may.

    Examples
    --------
    >>> name_fault("../case.toml")
    'leads out of its folder'
    >>> name_fault("recordings/0123456789abcdef.m4a")
    ''
    """
    if not name or len(name.encode("utf-8", "surrogatepass")) > _LONGEST_NAME:
        return f"is empty or longer than {_LONGEST_NAME} bytes"
    if any(unicodedata.category(c)[0] == "C" for c in name):
        return "holds signs that cannot be seen"
    if name.startswith(("/", "\\")) or re.match(r"[A-Za-z]:", name):
        return "starts at the root of a disk"
    parts = re.split(r"[/\\]", name)
    if ".." in parts:
        return "leads out of its folder"
    if _FORBIDDEN.search(name):
        return "holds a sign that some systems do not allow"
    for part in parts:
        if part in {"", "."} or part != part.strip() or part.endswith("."):
            return "holds an empty part, or one that begins or ends in a space or dot"
        if _DEVICE.fullmatch(part.split(".")[0].strip()):
            return "is the name of a device on some systems"
    return ""


def require_safe_names(names: Iterable[str]) -> None:
    """Raise `CaseError` if a name may not become a file, or two would become the same one."""
    seen: dict[str, str] = {}
    for name in names:
        fault = name_fault(name.removesuffix("/"))
        if fault:
            raise CaseError(f"the name {shown(name)[:80]!r} {fault}. {_UNSAFE}")
        folded = unicodedata.normalize("NFKC", name.removesuffix("/")).casefold()
        if folded in seen:
            both = f"{shown(seen[folded])!r} and {shown(name)!r}"
            raise CaseError(f"{both} would be one and the same file. {_UNSAFE}")
        seen[folded] = name


def require_plain_end(end: bytes, pack_bytes: int, limits: PackLimits) -> None:
    """Raise `CaseError` unless the end of a file is that of a zip of bearable size, and only that.

    Nothing may stand before the first entry or behind the list of entries: such a file could
    be a zip to one program and something else to another.

    Parameters
    ----------
    end : bytes
        The last `END_BYTES` of the file, or all of a shorter one.
    pack_bytes : int
        Size of the file.
    limits : PackLimits
    """
    if pack_bytes > limits.pack_bytes:
        raise CaseError(f"has {_size(pack_bytes)}, more than {_size(limits.pack_bytes)}. {_UNSAFE}")
    if len(end) < _END.size or end[-_END.size :][:4] != b"PK\x05\x06":
        raise CaseError(
            "is no packed case, or breaks off. Ask for it again, as a file and not as text."
        )
    _, disk, first_disk, here, entries, size, start, comment = _END.unpack(end[-_END.size :])
    if (disk, first_disk, comment) != (0, 0, 0) or here != entries:
        raise CaseError(f"is a zip in several pieces or with a remark. {_UNSAFE}")
    if entries > limits.files or size > limits.directory_bytes:
        raise CaseError(f"holds {entries} files or more, above {limits.files}. {_UNSAFE}")
    if end[:4] == b"PK\x06\x07" or start + size + _END.size != pack_bytes:
        raise CaseError(f"holds more than its list of files tells, or less. {_UNSAFE}")


def require_safe_entries(
    entries: Sequence[ListedEntry], pack_bytes: int, limits: PackLimits
) -> None:
    """Raise `CaseError` if the list of entries of a zip shows it to be unsafe.

    Links, devices, encryption, odd compression, unsafe or double names, too many entries, and
    entries that lie over each other (one small piece given out as many large files).
    """
    if len(entries) > limits.files:
        raise CaseError(f"holds {len(entries)} files, more than {limits.files}. {_UNSAFE}")
    require_safe_names(entry.name for entry in entries)
    for entry in entries:
        name = shown(entry.name)
        kind = stat.S_IFMT(entry.mode)
        fits = kind in ({0, stat.S_IFDIR} if entry.is_folder else {0, stat.S_IFREG})
        if not fits or (entry.attributes & _DOS_FOLDER and not entry.is_folder):
            raise CaseError(f"{name!r} is a link or a device, not a file. {_UNSAFE}")
        if entry.flags & _ENCRYPTED:
            raise CaseError(f"{name!r} is locked with a password. Ask for it without one.")
        if entry.method not in {_STORED, _DEFLATED}:
            raise CaseError(f"{name!r} is compressed in a way not used here. {_UNSAFE}")
    by_start = sorted(entries, key=lambda entry: entry.start)
    ends = [_least_end(entry) for entry in by_start]
    over = [end > after.start for end, (_, after) in zip(ends, pairwise(by_start), strict=False)]
    if any(over) or (ends and (ends[-1] > pack_bytes or by_start[0].start != 0)):
        raise CaseError(f"its files lie over each other or outside of it. {_UNSAFE}")


def require_bearable(manifest: Manifest, limits: PackLimits) -> None:
    """Raise `CaseError` if what the manifest promises may not be unpacked."""
    require_safe_names([MANIFEST_FILE, *(file.name for file in manifest.files)])
    if len(manifest.files) + 1 > limits.files:
        raise CaseError(f"holds more than {limits.files} files, too many to mail.")
    for file in manifest.files:
        sound = kind_of(file.name) == "recording"
        most = limits.file_bytes if sound else min(limits.text_bytes, limits.file_bytes)
        if file.size_bytes > most:
            size = f"has {_size(file.size_bytes)}, more than {_size(most)}"
            raise CaseError(f"{shown(file.name)!r} {size}.")
    total = sum(file.size_bytes for file in manifest.files)
    if total > limits.total_bytes:
        raise CaseError(f"holds {_size(total)}, more than {_size(limits.total_bytes)}.")


class Counted:
    """Counts a file while it is unpacked, so that no header needs to be believed.

    Parameters
    ----------
    file : PackedFile
        As the manifest promises it.
    packed_bytes : int
        Its compressed size.
    limits : PackLimits
    """

    def __init__(self, file: PackedFile, packed_bytes: int, limits: PackLimits) -> None:
        self.file = file
        self._most = min(file.size_bytes, limits.free_bytes + limits.ratio * packed_bytes)
        self._is_sound = kind_of(file.name) == "recording"
        self._bytes, self._digest = 0, hashlib.sha256()

    def take(self, chunk: bytes) -> bytes:
        """Count a piece and give it on; raise `CaseError` as soon as it is too much."""
        if not self._bytes and self._is_sound and sniff_container(chunk) == "text":
            raise CaseError(f"{self.file.name!r} is a text, not sound. {_UNSAFE}")
        self._bytes += len(chunk)
        self._digest.update(chunk)
        if self._bytes > self._most:
            raise CaseError(f"{self.file.name!r} unpacks to more than it says. {_UNSAFE}")
        return chunk

    def require_all(self) -> None:
        """Raise `CaseError` unless it is what the manifest promised, to the last byte."""
        whole = self._bytes == self.file.size_bytes
        if not whole or self._digest.hexdigest() != self.file.sha256:
            raise CaseError(
                f"{self.file.name!r} is not what the manifest says: it was damaged or changed on "
                "the way. Ask for it again."
            )
        if self._is_sound and self.file.sha256[:16] not in self.file.name:
            raise CaseError(f"{self.file.name!r} is not named by its content. {_UNSAFE}")


def render_manifest(manifest: Manifest) -> bytes:
    """Text of a manifest."""
    values = manifest.model_dump(mode="json", by_alias=True)
    return json.dumps(values, indent=1).encode("ascii") + b"\n"


def parse_manifest(raw: bytes) -> Manifest:
    """What a packed file says of itself.

    Raises
    ------
    CaseError
        If it cannot be read.
    """
    try:
        return Manifest.model_validate_json(raw)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(key) for key in first["loc"])
        later = " It may be of a later version of this program." if where == "schema" else ""
        raise CaseError(
            f"{MANIFEST_FILE} cannot be read ({shown(where)}: {shown(first['msg'])}).{later}"
        ) from None


def line_digests(history: bytes) -> tuple[str, ...]:
    """SHA-256 of each event of a history file as it stands; what is added changes none."""
    lines = (line for line in history.split(b"\n") if line.strip())
    return tuple(hashlib.sha256(line).hexdigest() for line in lines)


def count_alike(first: Sequence[str], second: Sequence[str]) -> int:
    """How many events two histories have in common from the beginning on."""
    pairs = enumerate(zip(first, second, strict=False))
    return next((n for n, (a, b) in pairs if a != b), min(len(first), len(second)))


def _least_end(entry: ListedEntry) -> int:
    name = len(entry.name.encode("utf-8", "surrogatepass"))
    if not entry.flags & 0x800:
        name = len(entry.name)  # one byte a sign
    return entry.start + _LOCAL_HEADER_BYTES + name + entry.packed_bytes


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e5 else f"{count / 1e3:.1f} kB"


_UNSAFE = "Nothing was unpacked. Ask whoever sent it how it was made."
