"""What the stock plugs into the sockets below."""

from collections.abc import Mapping

from calc.on_hand import OnHand, on_hand

# --- bench gear


def _test_loads() -> Mapping[str, str]:
    from inventory import bench

    return bench.speaker_loads_boxes()


on_hand.plug(OnHand("test loads", "speaker-loads", _test_loads))
