"""What the counter and the bench plug into the ground floor's sockets."""

from intake import gates
from shop import sockets

sockets.gates.plug(sockets.Gate("timer stopped", gates.timer_stopped, order=10))
sockets.gates.plug(sockets.Gate("estimate made", gates.estimate_made, order=20))
sockets.gates.plug(sockets.Gate("owner answered", gates.owner_answered, order=30))
