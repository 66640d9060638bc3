"""Accessory-drive acoustic fault screener: from a clip and a layout to ranked sources.

The public face, in the order of use::

    read_drive, Drive, find_order_table, draw_drive       what turns
    read_recording, read_speed_log, Recording             what was heard
    screen, Clip, Complaint, ScreenSettings, Screening    what it means
    render_text, screening_to_dict, draw_screening        what people see
    AcousticError                                         anything a user can cause and mend

Each name is loaded when it is first used, so that ``import acoustic`` costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from acoustic.drive.drive import Drive
    from acoustic.drive.layout_file import read_drive
    from acoustic.drive.order_table import find_order_table
    from acoustic.errors import AcousticError
    from acoustic.listening import Clip
    from acoustic.output.drive_drawing import draw_drive
    from acoustic.output.json_report import screening_to_dict
    from acoustic.output.picture import draw_screening
    from acoustic.output.text import render_text
    from acoustic.recording.audio_file import read_recording
    from acoustic.recording.recording import Recording
    from acoustic.recording.speed_log import read_speed_log
    from acoustic.screening import ScreenSettings, screen
    from acoustic.tables.sound_words import Complaint
    from acoustic.verdict.suspects import Screening

__version__ = "0.1.0"

__all__ = [
    "AcousticError",
    "Clip",
    "Complaint",
    "Drive",
    "Recording",
    "ScreenSettings",
    "Screening",
    "draw_drive",
    "draw_screening",
    "find_order_table",
    "read_drive",
    "read_recording",
    "read_speed_log",
    "render_text",
    "screen",
    "screening_to_dict",
]

_HOME = {
    "AcousticError": "acoustic.errors",
    "Clip": "acoustic.listening",
    "Complaint": "acoustic.tables.sound_words",
    "Drive": "acoustic.drive.drive",
    "Recording": "acoustic.recording.recording",
    "ScreenSettings": "acoustic.screening",
    "Screening": "acoustic.verdict.suspects",
    "draw_drive": "acoustic.output.drive_drawing",
    "draw_screening": "acoustic.output.picture",
    "find_order_table": "acoustic.drive.order_table",
    "read_drive": "acoustic.drive.layout_file",
    "read_recording": "acoustic.recording.audio_file",
    "read_speed_log": "acoustic.recording.speed_log",
    "render_text": "acoustic.output.text",
    "screen": "acoustic.screening",
    "screening_to_dict": "acoustic.output.json_report",
}


def __getattr__(name: str) -> Any:
    """Load a public name from its module when it is first asked for."""
    if name not in _HOME:
        raise AttributeError(f"module 'acoustic' has no attribute {name!r}")
    found = getattr(importlib.import_module(_HOME[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
