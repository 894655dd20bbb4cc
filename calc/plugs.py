"""What calc plugs into the sockets below.

Readings and kept worksheets on a job, and the gates that want a repaired unit tested and an unsafe one tagged.
"""

from typing import Any

from calc import gates
from intake import pickup
from shop import sockets


def _readings(request: Any, job: Any) -> dict[str, Any]:
    # Imported when a page first shows it: the engine's units take a quarter of a second to load.
    from calc import views

    return views.panel(request, job)


sockets.gates.plug(sockets.Gate("tested and soaked", gates.tested_and_soaked, order=40))
sockets.gates.plug(sockets.Gate("unsafe with a tag", gates.unsafe_with_a_tag, order=41))


pickup.to_know.plug(pickup.ToKnow("unsafe", gates.unsafe_words))


def _unsafe(request: Any, job: Any) -> dict[str, Any] | None:
    from calc import views_unsafe

    return views_unsafe.panel(request, job)


sockets.panels.plug(sockets.Panel("unsafe", "way out", "see safety", "calc/_unsafe.html", _unsafe, order=10))


def _safety(request: Any, job: Any) -> dict[str, Any]:
    from calc import views_runs

    return views_runs.panel(request, job)


def _build(request: Any, gear: Any) -> dict[str, Any]:
    from calc import views_runs

    return views_runs.build_panel(request, gear)


sockets.panels.plug(
    sockets.Panel("safety", "job bench", "see safety", "calc/_safety.html", _safety, order=10, icon="caution")
)
sockets.panels.plug(sockets.Panel("build", "gear", "see safety", "calc/_build.html", _build, order=20))
sockets.panels.plug(
    sockets.Panel("readings", "job bench", "see jobs", "calc/_readings.html", _readings, order=30)
)


def _worksheets(request: Any, job: Any) -> dict[str, Any]:
    from calc import views_worksheets

    return views_worksheets.panel(request, job)


sockets.panels.plug(
    sockets.Panel("worksheets", "job bench", "see jobs", "calc/_kept_sheets.html", _worksheets, order=35)
)


def _report(request: Any, job: Any) -> dict[str, Any]:
    return {"job": job}


sockets.panels.plug(
    sockets.Panel("report", "job", "see jobs", "calc/_report_panel.html", _report, order=80, icon="report")
)


def _load_bench(clock: Any) -> None:
    from calc.demo import BENCH

    BENCH.load(clock)


def _at_bench(job: Any, by: Any, when: str) -> None:
    from calc.demo import BENCH

    BENCH.at_bench(job, by, when)


def _look_back(clock: Any) -> None:
    from calc.demo import BENCH

    BENCH.look_back(clock)


# Before the jobs, which are measured there.
sockets.demo_parts.plug(sockets.DemoPart("bench", load=_load_bench, at_bench=_at_bench, order=10))
sockets.demo_parts.plug(sockets.DemoPart("near misses", load=_look_back, order=45))


def _near_misses(request: Any, job: Any) -> dict[str, Any]:
    from calc import views_safety

    return views_safety.near_miss_panel(request, job)


sockets.panels.plug(
    sockets.Panel(
        "near misses",
        "job bench",
        "see safety",
        "calc/_job_near_misses.html",
        _near_misses,
        order=90,
        icon="note",
    )
)
sockets.reports.plug(
    sockets.Report(
        "safety",
        "A year of safety",
        "What was waived, what failed and passed later, unsafe gear, meters that are due, near misses.",
        "safety-year",
        order=70,
    )
)
