"""What calc plugs into the sockets below: the gate that wants a repaired unit tested before it goes home."""

from calc import gates
from shop import sockets

sockets.gates.plug(sockets.Gate("tested after the repair", gates.tested_after_repair, order=40))
