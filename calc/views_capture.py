"""Recordings for the worksheet of power and level: the signals to play, and reading what was recorded.

Nothing of a recording is kept but the short text that the engine reads out of it: it goes into the worksheet's
address, as if it had been typed into a box.
"""

import threading
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_GET, require_http_methods

from calc import sheets
from calc.engine import capture
from calc.engine.errors import CircuitError
from calc.forms_capture import CaptureForm, SweepForm, ToneForm
from calc.forms_worksheets import said_in
from calc.worksheets.power_and_level import RECORDING, SHEET
from calc.worksheets.sheet import LONGEST_CAPTURE
from intake import job_page
from intake.models import Job
from shop.access import allowed
from shop.http import Request, go_to

# A recording of 20 MB takes some 150 MB to look at. One at a time, so that tablets can't fill the memory.
_one_at_a_time = threading.Lock()


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
def recording(request: Request) -> HttpResponse:
    return _recording(request, None)


@require_http_methods(["GET", "POST"])
@allowed("work on jobs")
def job_recording(request: Request, claim: str) -> HttpResponse:
    return _recording(request, job_page.find(claim))


@require_GET
@allowed("work on jobs")
def tone_file(request: Request) -> HttpResponse:
    form = ToneForm(request.GET, auto_id="tone-%s")
    if form.is_valid():
        said = form.cleaned_data
        try:
            return _wav(capture.tone(**said), f"tone-{said['frequency']:g}-Hz")
        except CircuitError as why:
            form.add_error("frequency", str(why))
    return _page(request, None, {}, tone_form=form, status=422)


@require_GET
@allowed("work on jobs")
def sweep_file(request: Request) -> HttpResponse:
    form = SweepForm(request.GET, auto_id="sweep-%s")
    if form.is_valid():
        return _wav(capture.sweep(**form.cleaned_data), f"sweep-{form.cleaned_data['seconds']}-s")
    return _page(request, None, {}, sweep_form=form, status=422)


def _recording(request: Request, job: Job | None) -> HttpResponse:
    """Show the page; or read a recording and lead to the worksheet with it, and with what was typed there before."""
    typed = said_in(request.POST if request.method == "POST" else request.GET)
    boxes = ("meter", *sheets.names_of(SHEET, typed))
    said = {name: typed[name] for name in boxes if 0 < len(typed.get(name, "")) <= LONGEST_CAPTURE}
    form = (
        CaptureForm(request.POST, request.FILES, auto_id="recording-%s") if request.method == "POST" else None
    )
    if form is None or not form.is_valid():
        return _page(request, job, said, capture_form=form, status=422 if form else 200)
    try:
        text = _read(**form.cleaned_data)
    except CircuitError as why:
        form.add_error("file", str(why))
        return _page(request, job, said, capture_form=form, status=422)
    query = urlencode({**said, "filled": "1", "source": RECORDING, "capture": text})
    return go_to(request, f"{_worksheet(job)}?{query}#answer")


def _read(file: Any, what: str, mains: int, sweep: int) -> str:
    """What a recording says, as a text. Raises CircuitError."""
    if file.size > capture.MOST_BYTES:
        raise CircuitError(
            "The recording is larger than 20 MB. Record less than a minute, at 48,000 samples a second."
        )
    with _one_at_a_time:
        heard = capture.read_wav(file.read())
        if what == capture.What.SWEEP:
            return capture.to_text(capture.swept(heard, sweep=sweep))
        return capture.to_text(capture.steady(heard, mains=mains, played=what == capture.What.TONE))


def _page(
    request: Request, job: Job | None, said: dict[str, str], *, status: int, **forms: Any
) -> HttpResponse:
    context = {
        "job": job,
        "carried": said,
        "back": f"{_worksheet(job)}?{urlencode({**said, 'filled': '1'})}" if said else _worksheet(job),
        "capture_form": forms.get("capture_form") or CaptureForm(auto_id="recording-%s"),
        "tone_form": forms.get("tone_form") or ToneForm(auto_id="tone-%s"),
        "sweep_form": forms.get("sweep_form") or SweepForm(auto_id="sweep-%s"),
    }
    return render(request, "calc/recording.html", context, status=status)


def _worksheet(job: Job | None) -> str:
    return (
        reverse("job-worksheet", args=[job.claim, SHEET.slug])
        if job
        else reverse("worksheet", args=[SHEET.slug])
    )


def _wav(data: bytes, name: str) -> HttpResponse:
    """A file to keep, under its name."""
    response = HttpResponse(data, content_type="audio/wav")
    response["Content-Disposition"] = content_disposition_header(True, f"{name}.wav")
    return response
