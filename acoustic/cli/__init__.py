"""HOW PEOPLE COME IN by command line: parse, call the public face, show.

Reading order: progress, options, screen_command, change_command, hear_command,
orders_command, plan_command, demo_command, adding, case_answers, report_command,
case_commands, bundle_commands, case_links, serve_command, app.

``acoustic`` starts at `main`. Nothing heavy is imported before a command runs, so that
``acoustic --help`` answers at once.
"""

from __future__ import annotations

import os
from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments after the program's name; those of the process when left out.

    Returns
    -------
    int
        0 screened (or done), 2 input error, 3 recording unfit.
    """
    # The matrices are small: threads on them make no answer come sooner, they only heat the
    # machine. To be said before numpy is loaded, and not if somebody chose otherwise.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    from acoustic.cli.app import run

    return run(argv)
