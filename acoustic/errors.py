"""One family of errors, told apart by who can mend the trouble.

::

    AcousticError
    ├── RecordingError     the clip: missing, damaged, not sound
    │   └── UnfitRecordingError     readable, but nothing to screen in it: silent, too short
    ├── SpeedError         the engine speed: unknown, out of range, a bad log
    ├── DriveError         the layout file: wrong key, value or connection
    ├── TableError         the shipped knowledge: a table row that cannot be used
    ├── CaseError          a case folder: not one, damaged, or a recording that does not fit it
    ├── SettingsError      a setting or option outside what makes sense
    └── OutputError        a place that cannot be written

Each message is one or more plain sentences: what is wrong, where, and what to do
next. Expected trouble inside a readable clip (clipping, wind) is not an error but a
`QualityRemark`.
"""


class AcousticError(Exception):
    """Anything a user can cause and mend; shown as text, never as a trace."""


class RecordingError(AcousticError):
    """The clip cannot be used."""


class UnfitRecordingError(RecordingError):
    """The clip can be read but holds nothing to screen: silent, or far too short."""


class SpeedError(AcousticError):
    """The engine speed cannot be used."""


class DriveError(AcousticError):
    """The layout file cannot be used; the message lists every fault found in it."""


class TableError(AcousticError):
    """A row of the shipped tables cannot be used."""


class CaseError(AcousticError):
    """A case folder, or something to be kept in it, cannot be used."""


class SettingsError(AcousticError):
    """A setting or option is outside its range."""


class OutputError(AcousticError):
    """A result cannot be written where it was asked for."""
