"""The bench of the invented shop: what is measured and worked out there, and how it is kept safe.

Rows of lists and readings are written in bulk: a job has some eighty, and every one by its verb would take the demo's
loading a minute longer. What went wrong in those three years, `turns.py`, is done by the verbs.
"""

from typing import Final

from calc.demo.bench import Bench
from calc.demo.measuring import IDLE, METER, SUPPLY, TESTED, TESTER

__all__ = ["BENCH", "IDLE", "METER", "SUPPLY", "TESTED", "TESTER"]

BENCH: Final = Bench()
