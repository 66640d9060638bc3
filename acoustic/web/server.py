"""The page put on the network: address, access code, what that means; runs until it is stopped."""

from __future__ import annotations

import io
import re
import secrets
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import segno
import uvicorn

from acoustic.casework.lasting_files import read_whole, write_lasting
from acoustic.errors import SettingsError
from acoustic.tables.knowledge import load_knowledge
from acoustic.web.application import make_app
from acoustic.web.certificate import Certificate, read_certificate, write_certificate
from acoustic.web.settings import STATE_FOLDER, PageSettings

LOOPBACK, EVERY_ADDRESS = "127.0.0.1", "0.0.0.0"  # noqa: S104 - only with --network
_OWN_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})
_HOST_NAME = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*")
_CODE_FILE = "code"
_SIGNS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none that is taken for another
_CODE_SIGNS = 8
_MOST_AT_ONCE = 300
_CLOSING_S = 5


@dataclass(frozen=True, slots=True)
class ServeSettings:
    """What was asked after ``acoustic serve``.

    Attributes
    ----------
    root : Path
        Folder that holds the cases.
    port : int
    network : bool
        For the whole network instead of this machine alone.
    tls : bool
        Encrypted, by a certificate of this machine's own or by `certificate` and `key`.
    certificate, key : Path or None
    names : tuple of str
        Further names others reach it by, such as one of a name service.
    new_code : bool
        Make a new access code: everybody is asked for it.
    scan : bool
        Show the address as a code to scan.
    """

    root: Path
    port: int
    network: bool = False
    tls: bool = False
    certificate: Path | None = None
    key: Path | None = None
    names: tuple[str, ...] = ()
    new_code: bool = False
    scan: bool = False


def serve(settings: ServeSettings, say: Callable[[str], None]) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    settings : ServeSettings
    say : callable
        Takes each line for whoever started it.

    Raises
    ------
    SettingsError
        If the port is taken or the certificate cannot be used.
    """
    page = page_settings(settings)
    certificate = _certificate(settings, page)
    load_knowledge()  # now, so that the first visitor need not wait for it
    here = _opened(EVERY_ADDRESS if settings.network else LOOPBACK, settings.port)
    for line in opening_words(settings, page, certificate):
        say(line)
    config = uvicorn.Config(
        make_app(page),
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,  # nobody may say for another where a request comes from
        limit_concurrency=_MOST_AT_ONCE,
        timeout_graceful_shutdown=_CLOSING_S,
        ssl_certfile=certificate.file if certificate else None,
        ssl_keyfile=certificate.key_file if certificate else None,
    )
    with suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[here])


def page_settings(settings: ServeSettings) -> PageSettings:
    """What the application is told: the names it answers to, and the code it asks for."""
    root = settings.root.resolve()
    secure = settings.tls or settings.certificate is not None
    if not settings.network:
        if settings.names:
            raise SettingsError("--name is for others to reach the page: give --network too.")
        return PageSettings(root, _OWN_NAMES, secure=secure, port=settings.port)
    given = frozenset(host_name(name) for name in settings.names)
    code = write_code(root / STATE_FOLDER, anew=settings.new_code)
    address, names = machine_names()
    hosts = _OWN_NAMES | names | given
    return PageSettings(root, hosts, code, secure, address=address, port=settings.port)


def host_name(said: str) -> str:
    """A name the page may be reached by, as the browser will say it.

    >>> host_name("Workshop.Example.")
    'workshop.example'

    Raises
    ------
    SettingsError
        If it is more than a name: an address with port or path.
    """
    name = said.strip().rstrip(".").lower()
    if not _HOST_NAME.fullmatch(name):
        raise SettingsError(f"--name {said!r}: give a name alone, such as workshop.example.")
    return name


def opening_words(
    settings: ServeSettings, page: PageSettings, certificate: Certificate | None
) -> list[str]:
    """What is said at the start: where to go, and what it means to have opened it."""
    if not settings.network:
        where = f"Open {page.scheme}://{LOOPBACK}:{page.port} on this machine."
        return [f"{where} For this machine alone. Stop with Ctrl+C."]
    lines = [
        f"Open {page.own_address} and give the code {page.access_code}.",
        f"Open to the network: whoever reaches this machine and has the code sees all cases in "
        f"{page.root}, adds to them and closes them. Tell it to nobody else.",
    ]
    if certificate is None:
        lines.append(
            "Not encrypted: others on the network can read along, and browsers give the page no "
            "microphone (phones use their own recorder). With --tls both are mended."
        )
    else:
        lines.append(
            "Encrypted. If the browser warns of the certificate, compare its SHA-256 "
            f"fingerprint: {certificate.fingerprint}"
        )
    if settings.scan:
        lines.append(scan_text(page.address_with_code))
    return [*lines, "Stop with Ctrl+C."]


def scan_text(address: str) -> str:
    """An address as a code to scan, drawn with letters for a terminal."""
    drawn = io.StringIO()
    segno.make(address, error="m", micro=False).terminal(out=drawn, compact=True)
    return drawn.getvalue()


def write_code(state: Path, anew: bool = False) -> str:
    """The access code of this folder of cases, made when there is none or `anew`."""
    state.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = state / _CODE_FILE
    held = read_whole(path).decode("ascii", "replace").strip()
    if anew or len(held) != _CODE_SIGNS + 1:
        signs = "".join(secrets.choice(_SIGNS) for _ in range(_CODE_SIGNS))
        held = f"{signs[: _CODE_SIGNS // 2]}-{signs[_CODE_SIGNS // 2 :]}"
        write_lasting(path, held.encode("ascii"))
        path.chmod(0o600)
    return held


def machine_names() -> tuple[str, frozenset[str]]:
    """The address others reach this machine at, and every name it may be called by."""
    name = socket.gethostname().lower()
    found = {name, f"{name}.local"}
    with suppress(OSError):
        found |= {str(one[4][0]) for one in socket.getaddrinfo(name, None, socket.AF_INET)}
    address = name
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # RFC 5737: leads nowhere, and nothing is sent
        address = str(probe.getsockname()[0])
    return address, frozenset({*found, address})


def _certificate(settings: ServeSettings, page: PageSettings) -> Certificate | None:
    if settings.certificate is not None and settings.key is not None:
        return read_certificate(settings.certificate, settings.key)
    if settings.certificate is not None or settings.key is not None:
        raise SettingsError("Give --certificate and --key together.")
    return write_certificate(page.state, page.hosts) if settings.tls else None


def _opened(host: str, port: int) -> socket.socket:
    here = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    here.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        here.bind((host, port))
    except OSError as error:
        here.close()
        raise SettingsError(
            f"Port {port} cannot be opened ({error.strerror or error}). Is the page running "
            "already? Else choose another: --port N."
        ) from None
    return here
