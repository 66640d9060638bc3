"""What every engine has is no place on the drawing, and swelling is no tone in the picture."""

from pathlib import Path

from acoustic.drive.layout_file import read_drive
from acoustic.output.drive_drawing import hatched_names

LAYOUT = Path(__file__).resolve().parents[2] / "samples" / "layouts" / "front_four.toml"


def test_the_engine_itself_is_not_hatched() -> None:
    """The crankshaft pulley is not to blame for an air leak or a loose shield."""
    drive = read_drive(LAYOUT)
    everywhere = [p.name for p in drive.parts.values() if drive.knowledge.kinds[p.kind].everywhere]
    assert len(everywhere) == 2
    assert hatched_names(drive, everywhere) == ()
    assert hatched_names(drive, [*everywhere, "water pump"]) == ("water pump",)
