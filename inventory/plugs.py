"""What the stock plugs into the sockets below."""

from collections.abc import Mapping
from typing import Any

from calc.on_hand import OnHand, on_hand
from shop import sockets

# --- bench gear


def _test_loads() -> Mapping[str, str]:
    from inventory import bench

    return bench.speaker_loads_boxes()


on_hand.plug(OnHand("test loads", "speaker-loads", _test_loads))


# --- the demo


def _fill_drawers(clock: Any) -> None:
    from inventory import demo

    demo.fill_drawers(clock)


def _take(job: Any, row: Any, by: Any) -> bool:
    from inventory import demo

    return demo.take(job, row, by)


def _as_it_is_now(clock: Any) -> None:
    from inventory import demo

    demo.as_it_is_now(clock)


# The drawers before the jobs, which take out of them; what jobs wait for after these.
sockets.demo_parts.plug(sockets.DemoPart("drawers", load=_fill_drawers, take_part=_take, order=15))
sockets.demo_parts.plug(sockets.DemoPart("stock today", load=_as_it_is_now, order=40))
