"""The safety lists of the full shop's job on the bench, at every stand that a list can have, and their pages."""

from typing import Any

from django.urls import reverse

from calc import runs, safety
from calc.checklists import Has, Stage
from calc.checklists.ours import OURS
from calc.models import ListRun
from intake.models import Job
from shop.models import Staff
from tests.calc.doing import do_lines, done


def build(job: Job, *, owner: Staff, bench: Staff) -> None:
    """Run the lists of a job that may be read under power: one passed, others begun, stopped, failed, to be signed."""
    safety.describe(
        job, protection="class-i", line_volts="127 V", contains=[Has.MOULD], words="", by=bench, seen=0
    )
    safety.put_on(job, slug="lead-acid", by=bench)
    safety.take_off(job, slug="live", words="Nothing was live.", by=owner)
    done(job, bench, Stage.BEFORE_OPENING)
    do_lines(runs.begin(job, slug="mould", by=bench), bench)
    for slug, until in (
        ("first-power", _first(Stage.FIRST_POWER, "reading")),
        ("after-repair", "tested"),
        ("soak", "end"),
    ):
        do_lines(runs.begin(job, slug=slug, by=bench), bench, until=until)
    for _ in range(2):
        _stop(runs.begin(job, slug="earth", by=bench), bench)
    runs.sign_off(_last(job, "earth"), passed=False, words="It needs a new cord.", by=bench)
    _stop(runs.begin(job, slug="earth", by=bench), bench)


def _first(stage: Stage, ask: str) -> str:
    lines = next(each for each in OURS.values() if each.stage is stage).lines
    return next(line.key for line in lines if line.ask == ask)


def _stop(run: ListRun, by: Staff) -> None:
    last = run.marks.order_by("pk").last()
    key = run.version.lines.first().key
    runs.sign(run, key=key, outcome="failed", words="It is damaged", seen=last.pk if last else 0, by=by)


def _last(job: Job, slug: str) -> ListRun:
    return job.list_runs.filter(version__slug=slug).order_by("-pk").first()


def pages(job: Job, other: Job) -> dict[str, list[str]]:
    """The addresses of the pages, by the name of the address. `other` has no run."""
    every = job.list_runs.order_by("pk")
    opening = _last(job, "first-power")
    asked: dict[str, list[tuple[dict[str, Any], str]]] = {
        "job-lists": [({"claim": each.claim}, "") for each in (job, other)],
        "job-build": [({"claim": each.claim}, "") for each in (job, other)],
        "list-run": [
            *(({"pk": run.pk}, "") for run in every),
            ({"pk": opening.pk}, f"?again={opening.version.lines.first().key}"),
        ],
        "list-run-sign-off": [
            ({"pk": _last(job, "mould").pk}, ""),
            ({"pk": _last(job, "earth").pk}, "?passed=0"),
            ({"pk": _last(job, "before-opening").pk}, ""),
        ],
        "job-waive": [({"claim": job.claim, "slug": "soak"}, "")],
        "job-list-take-off": [({"claim": job.claim, "slug": "mould"}, "")],
    }
    return {
        name: [reverse(name, kwargs=kwargs) + query for kwargs, query in each] for name, each in asked.items()
    }


def refused(job: Job) -> list[tuple[str, dict[str, Any]]]:
    """Addresses, with what is sent to them in vain."""
    reading = _last(job, "first-power")
    seen = reading.marks.order_by("-pk").first().pk
    sign = reverse("list-run-sign", args=[reading.pk])
    key = _first(Stage.FIRST_POWER, "reading")
    return [
        (sign, {"key": key, "written": "a lot", "seen": seen}),
        (sign, {"key": key, "written": "a lot", "seen": "0"}),
        (reverse("list-run-sign-off", args=[_last(job, "mould").pk]), {"passed": "1"}),
        (reverse("job-build", args=[job.claim]), {"protection": "wood", "seen": "1"}),
        (
            reverse("job-build", args=[job.claim]),
            {"protection": "class-i", "line_volts": "unknown", "seen": "0"},
        ),
        (reverse("job-waive", args=[job.claim, "soak"]), {}),
        (reverse("job-list-take-off", args=[job.claim, "mould"]), {}),
        (reverse("job-list-begin", args=[job.claim, "live"]), {}),
        (reverse("job-list-put-on", args=[job.claim]), {}),
    ]
