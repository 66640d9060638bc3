"""Lines of the envelope beside the tones at their order."""

import numpy as np
import pytest

from acoustic.verdict.heard_realm import HeardRealm
from acoustic.verdict.line_likelihood import line_table
from acoustic.verdict.sources import Realm


def test_a_line_at_a_tones_order_is_one_coincidence_whoever_is_believed_to_make_it(
    spectrum_of, settings
) -> None:
    """A tone that a part is believed to make already does not clear the line beside it."""
    table = line_table(spectrum_of({17.3: 0.0}), settings.likelihood)
    weights = []
    for free in (1.0, 0.02):
        tones = HeardRealm(Realm.TONES, [0], [table])
        lines = HeardRealm(Realm.ENVELOPE, [0], [table])
        tones.price(())
        tones.settle(np.full(tones.hot_count, free))
        lines.price(())
        alone = lines.strangers
        lines.beside(tones)
        weights.append((lines.strangers - alone).max())
    # At one place to within some 0.1 %: hundreds of times likelier than anywhere, in one of 80.
    assert weights[0] == pytest.approx(weights[1])
    assert weights[0] > 2.0
