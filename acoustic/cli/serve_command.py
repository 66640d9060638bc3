"""``acoustic serve``: the same work in a browser, on this machine or the workshop's network."""

from __future__ import annotations

import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated

import typer

from acoustic.errors import SettingsError

PORT = 8470
HERE = Path()


@dataclass(frozen=True, slots=True)
class ServeRequest:
    """Everything typed after ``acoustic serve``."""

    root: Path
    port: int = PORT
    network: bool = False
    tls: bool = False
    certificate: Path | None = None
    key: Path | None = None
    names: tuple[str, ...] = ()
    new_code: bool = False


def add_serve_command(app: typer.Typer) -> None:
    """Add ``acoustic serve`` to the commands."""

    @app.command()
    def serve(  # typer wants one argument per option; they become one request at once
        folder: Annotated[
            Path, typer.Argument(metavar="[ROOT]", help="Folder that holds the cases.")
        ] = HERE,
        port: Annotated[
            int, typer.Option(min=1024, max=65535, metavar="N", help="Port to be reached at.")
        ] = PORT,
        network: Annotated[
            bool,
            typer.Option(
                "--network",
                help="Also for phones on the network: whoever has the access code sees all cases.",
            ),
        ] = False,
        tls: Annotated[
            bool,
            typer.Option(
                "--tls", help="Encrypted, by a certificate that is made and kept beside the cases."
            ),
        ] = False,
        certificate: Annotated[
            Path | None, typer.Option(metavar="FILE", help="Encrypted by this certificate, PEM.")
        ] = None,
        key: Annotated[Path | None, typer.Option(metavar="FILE", help="Its key, PEM.")] = None,
        name: Annotated[
            list[str] | None,
            typer.Option(
                metavar="HOST", help="A further name it is reached by, such as on the internet."
            ),
        ] = None,
        new_code: Annotated[
            bool, typer.Option("--new-code", help="Make a new access code; the old one ends.")
        ] = False,
    ) -> None:
        """Do all this in a browser: open the page of a folder of cases.

        For this machine alone, unless --network is given.
        """
        names = tuple(name or ())
        request = ServeRequest(folder, port, network, tls, certificate, key, names, new_code)
        raise typer.Exit(run_serve(request))


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
        raise SettingsError(
            f"{request.root}: there is no such folder. Name the one of the cases, "
            "or make it, empty, for the first."
        )
    scan = request.network and sys.stdout.isatty()
    serve(ServeSettings(**asdict(request), scan=scan), _say)
    return 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
