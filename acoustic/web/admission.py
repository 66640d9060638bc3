"""Who may come in: visitors told apart by a cookie, admitted by the access code, form tokens.

Every visitor has a random number in a cookie. A form carries a token made of that number
and a secret of this machine, so a form that was not sent from our page is refused. Those
who gave the access code are kept in a small file, by the digest of a new number, so that a
restart asks nobody again and signing out holds at once.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import sqlite3
import time
from contextlib import closing
from pathlib import Path

from acoustic.casework.lasting_files import read_whole, write_lasting

_SECRET_FILE, _ADMITTED_FILE = "secret", "admitted.sqlite"
_NUMBER_BYTES = 24
_WAIT_S = 10.0


class Admission:
    """Makes and checks visitors' numbers, form tokens and admissions.

    Parameters
    ----------
    state : Path
        Folder of the page's own files; made if need be.
    access_code : str
        Empty if everybody who can reach the page may come in.
    session_s : float
        How long an admission holds. [s]
    """

    def __init__(self, state: Path, access_code: str, session_s: float) -> None:
        state.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._secret = _write_secret(state / _SECRET_FILE)
        self._code, self._session_s = access_code, session_s
        self._file = state / _ADMITTED_FILE
        with closing(self._opened()) as file:
            file.execute("CREATE TABLE IF NOT EXISTS admitted (digest PRIMARY KEY, until REAL)")

    @property
    def asks_code(self) -> bool:
        """Whether an access code is asked for."""
        return bool(self._code)

    def new_number(self) -> str:
        """A number for a visitor that nobody can guess."""
        return secrets.token_urlsafe(_NUMBER_BYTES)

    def form_token(self, number: str) -> str:
        """The token that forms shown to this visitor carry."""
        return hmac.new(self._secret, f"form {number}".encode(), "sha256").hexdigest()

    def is_token(self, number: str, token: str) -> bool:
        """Whether a form came from a page shown to this visitor."""
        return hmac.compare_digest(self.form_token(number).encode(), token.encode())

    def is_code(self, typed: str) -> bool:
        """Whether the access code was typed; blanks and capitals do not matter."""
        plain = "".join(typed.split()).replace("-", "").upper()
        return hmac.compare_digest(self._code.replace("-", "").encode(), plain.encode())

    def admit(self) -> str:
        """Give a new number that is admitted; the number from before the code is let go."""
        number, now = self.new_number(), time.time()
        with closing(self._opened()) as file:
            file.execute("DELETE FROM admitted WHERE until < ?", (now,))
            file.execute(
                "INSERT INTO admitted VALUES (?, ?)",
                (self._digest(number), now + self._session_s),
            )
        return number

    def is_admitted(self, number: str) -> bool:
        """Whether this visitor may see the cases."""
        if not self._code:
            return True
        with closing(self._opened()) as file:
            row = file.execute(
                "SELECT until FROM admitted WHERE digest = ?", (self._digest(number),)
            ).fetchone()
        return row is not None and row[0] > time.time()

    def sign_out(self, number: str) -> None:
        """From now on this number is admitted no more."""
        with closing(self._opened()) as file:
            file.execute("DELETE FROM admitted WHERE digest = ?", (self._digest(number),))

    def _opened(self) -> sqlite3.Connection:
        return sqlite3.connect(self._file, timeout=_WAIT_S, isolation_level=None)

    def _digest(self, number: str) -> str:
        """Bound to the code: a new code lets nobody in who gave the old one."""
        return hashlib.sha256(f"{self._code} {number}".encode()).hexdigest()


def _write_secret(path: Path) -> bytes:
    """The secret of this folder of cases, made when there is none yet."""
    held = read_whole(path)
    if len(held) < _NUMBER_BYTES:
        held = secrets.token_bytes(32)
        write_lasting(path, held)
        path.chmod(0o600)
    return held
