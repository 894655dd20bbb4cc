"""Three years of the invented shop's counter and bench: two hundred jobs, told as stories.

A story is a generator: it does what happens at one moment, through the verbs that staff's taps call, and
yields the moment at which it goes on. All stories are told together, always the one whose moment is next, so
claim and invoice numbers run as they would have. The same day gives the same shop: the dice are seeded.
"""

import datetime as dt

from intake.demo import till
from intake.demo.plans import when_open
from intake.demo.stories import Past
from shop.demo import Clock


def load(clock: Clock) -> None:
    """Tell all the stories up to now, then leave two timers running and the pad's entries waiting."""
    past = Past(clock)
    for plan in past.planner.plans():
        past.begin(plan.came, past.story(plan))
    past.begin(past.planner.before_now(150), past.dispute())
    past.begin(when_open(clock.opened + dt.timedelta(days=20)), till.sales(past))
    past.begin(clock.now - dt.timedelta(days=till.COUNTED + 1), till.counts(past))
    past.tell()
    past.leave_as_it_is_now()
