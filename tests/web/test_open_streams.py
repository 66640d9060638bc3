"""How many event streams of a link are open at once."""

import pytest

from acoustic.web.open_streams import MOST_STREAMS, OpenStreams


def test_so_many_and_no_more_until_one_is_closed():
    """Of one link; another has its own, and one that breaks is closed too."""
    streams = OpenStreams()
    opened = [streams.counted("a") for _ in range(MOST_STREAMS)]
    for one in opened:
        assert not streams.is_full("a")
        one.__enter__()
    assert streams.is_full("a")
    assert not streams.is_full("b")
    opened[0].__exit__(None, None, None)
    assert not streams.is_full("a")
    with pytest.raises(OSError, match="gone"), streams.counted("a"):
        assert streams.is_full("a")
        raise OSError("gone")
    assert not streams.is_full("a")
