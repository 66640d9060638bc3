"""The page put on the network: address, port, what it means; runs until it is stopped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings

LOOPBACK = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class ServeSettings:
    """What was typed after ``acoustic serve``."""

    root: Path
    port: int


def serve(settings: ServeSettings, say: Callable[[str], None]) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    settings : ServeSettings
    say : callable
        Takes each line for whoever started it.
    """
    app = make_app(PageSettings(settings.root))
    say(f"Open http://{LOOPBACK}:{settings.port} on this machine. Stop with Ctrl+C.")
    uvicorn.run(
        app, host=LOOPBACK, port=settings.port, log_level="warning", access_log=False,
        server_header=False,
    )  # fmt: skip
