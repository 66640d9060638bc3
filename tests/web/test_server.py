"""How the page is put on the network: address, code, certificate, and what is said of it."""

import socket
import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from acoustic.errors import SettingsError
from acoustic.web.certificate import read_certificate, write_certificate
from acoustic.web.server import (
    ServeSettings,
    machine_names,
    opening_words,
    page_settings,
    scan_text,
    serve,
    write_code,
)


def test_without_being_asked_it_is_for_this_machine_alone(tmp_path):
    """No code, own names only, and the address says so."""
    settings = ServeSettings(tmp_path, 8470)
    page = page_settings(settings)
    assert page.hosts == {"localhost", "127.0.0.1", "[::1]"}
    assert page.access_code == ""
    (line,) = opening_words(settings, page, None)
    assert "http://127.0.0.1:8470" in line
    assert "For this machine alone" in line


def test_open_to_the_network_it_says_what_that_means(tmp_path):
    """Address, code, who can do what; and that it is not encrypted."""
    settings = ServeSettings(tmp_path, 8470, network=True, scan=True)
    page = page_settings(settings)
    address, names = machine_names()
    assert address in names <= page.hosts
    said = "\n".join(opening_words(settings, page, None))
    assert f"http://{address}:8470" in said
    assert page.access_code in said
    assert "sees all cases" in said
    assert "Not encrypted" in said
    assert scan_text(page.address_with_code) in said
    assert page.address_with_code.endswith(f"/enter#{page.access_code}")


def test_the_code_is_kept_until_a_new_one_is_asked_for(tmp_path):
    """Hard to guess, readable by its owner alone."""
    first = write_code(tmp_path / "state")
    assert len(first) == 9
    assert write_code(tmp_path / "state") == first
    assert write_code(tmp_path / "state", anew=True) != first
    mode = stat.S_IMODE((tmp_path / "state" / "code").stat().st_mode)
    assert mode == 0o600


def test_a_certificate_is_made_once_and_holds_for_all_names(tmp_path):
    """Python's own reader takes it; a further name, or its end, makes a new one."""
    hosts = ["localhost", "127.0.0.1", "[::1]", "workshop.local"]
    made = write_certificate(tmp_path, hosts)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.file, made.key_file)
    told = ssl._ssl._test_decode_cert(str(made.file))
    names = {name for _, name in told["subjectAltName"]}
    assert {"localhost", "127.0.0.1", "workshop.local"} <= names
    until = datetime.strptime(told["notAfter"], "%b %d %H:%M:%S %Y %Z").replace(tzinfo=UTC)
    assert timedelta(days=30) < until - datetime.now(UTC) < timedelta(days=398)
    assert stat.S_IMODE(made.key_file.stat().st_mode) == 0o600
    assert write_certificate(tmp_path, hosts[:2]).fingerprint == made.fingerprint
    assert read_certificate(made.file, made.key_file).fingerprint == made.fingerprint
    assert write_certificate(tmp_path, [*hosts, "other.local"]).fingerprint != made.fingerprint


def test_a_certificate_that_is_none_is_refused(tmp_path):
    """Missing, no PEM, or without its key."""
    wrong = tmp_path / "x.pem"
    wrong.write_text("none")
    with pytest.raises(SettingsError, match="no such file"):
        read_certificate(wrong, tmp_path / "y.pem")
    with pytest.raises(SettingsError, match="no certificate in PEM form"):
        read_certificate(wrong, wrong)
    with pytest.raises(SettingsError, match="--certificate and --key together"):
        serve(ServeSettings(tmp_path, 8470, certificate=wrong), str)


def test_a_port_that_is_taken_is_told(tmp_path):
    """With the way out."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(SettingsError, match="choose another: --port"):
            serve(ServeSettings(tmp_path, other.getsockname()[1]), str)


def test_a_folder_that_is_not_there_is_told(tmp_path, capsys):
    """By the command, before anything starts."""
    from acoustic.cli import main

    assert main(["serve", str(tmp_path / "none")]) == 2
    assert "there is no such folder" in capsys.readouterr().err


def test_nothing_of_the_page_is_loaded_before_it_is_asked_for():
    """The other commands start as fast as before."""
    import subprocess
    import sys

    program = (
        "import sys; from acoustic.cli.app import app\n"
        "print(sorted({'starlette', 'uvicorn', 'jinja2', 'segno'} & set(sys.modules)))"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=root
    )
    assert done.stdout.strip() == "[]"


def test_a_further_name_is_answered_to_and_nothing_else(tmp_path):
    """As a browser says it; only where others are let in at all, and only a name."""
    asked = ServeSettings(tmp_path, 8470, network=True, names=("Workshop.Example.",))
    page = page_settings(asked)
    assert "workshop.example" in page.hosts
    assert "other.example" not in page.hosts
    with pytest.raises(SettingsError, match="--network"):
        page_settings(ServeSettings(tmp_path, 8470, names=("workshop.example",)))
    for wrong in ("https://workshop.example", "workshop.example:8470", "a b", "*", ""):
        with pytest.raises(SettingsError, match="name alone"):
            page_settings(ServeSettings(tmp_path, 8470, network=True, names=(wrong,)))
