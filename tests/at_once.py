"""Several tablets at the same moment: threads with a database connection each, let go together.

The test must be `django_db(transaction=True)`: what it made has to be committed for the threads to see it.
"""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from django.db import connection


def at_once(acts: list[Callable[[], Any]]) -> list[Any]:
    """Run each act in a thread of its own, all let go together. Return what each returned or raised."""
    gate = threading.Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        gate.wait(10)
        try:
            return act()
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))
