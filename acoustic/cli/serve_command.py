"""``acoustic serve``: the same work in a browser, on this machine or the workshop's network."""

from __future__ import annotations

import sys
from dataclasses import asdict, dataclass
from pathlib import Path

from acoustic.errors import SettingsError

PORT = 8470


@dataclass(frozen=True, slots=True)
class ServeRequest:
    """Everything typed after ``acoustic serve``."""

    root: Path
    port: int = PORT
    network: bool = False
    tls: bool = False
    certificate: Path | None = None
    key: Path | None = None
    new_code: bool = False


def run_serve(request: ServeRequest) -> int:
    """Serve the page until it is stopped; return the exit code.

    Raises
    ------
    SettingsError
        If what the page needs is not installed, or there is no such folder.
    """
    try:
        from acoustic.web.server import ServeSettings, serve
    except ModuleNotFoundError as error:
        raise SettingsError(
            f"The page needs more than is installed ({error.name} is missing). Install it: "
            'python -m pip install "accessory-drive-acoustic[web]".'
        ) from None
    if not request.root.is_dir():
        raise SettingsError(f"{request.root}: there is no such folder. Name the one of the cases.")
    scan = request.network and sys.stdout.isatty()
    serve(ServeSettings(**asdict(request), scan=scan), _say)
    return 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
