"""What hides a line."""

import pytest

from acoustic.drive.hiding import line_spacing, nearest_engine_order
from acoustic.drive.layout_file import parse_drive


def test_spacing_widens_with_order() -> None:
    """Two bins of stretches of 64, 32, 16 and 10 turns."""
    assert [line_spacing(order) for order in (6, 20, 100, 300)] == [2 / 64, 2 / 32, 2 / 16, 0.2]


@pytest.mark.parametrize(
    ("order", "locked", "near"),
    [
        (6.494, False, 6.5),
        (6.55, False, None),
        (0.01, False, None),
        (46.51, False, None),  # half orders are weak up there
        (46.5, True, 46.5),  # but a locked line never leaves them
        (47.95, False, 48),
    ],
)
def test_engine_order_that_hides(small, order, locked, near) -> None:
    """Half orders of a four hide low lines, multiples of its firing order high ones."""
    assert nearest_engine_order(parse_drive(small), order, locked) == near
