"""Photos of the gear: straight from the tablet's camera, shown to staff only."""

from django.contrib import messages
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.cache import patch_cache_control
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import job_page, work
from intake.forms_bench import PhotoForm
from intake.models import Job, Photo
from shop.access import allowed
from shop.errors import Refused
from shop.http import Request, go_to
from shop.once import once
from shop.pictures import PictureRefused

_SIZES = {"small": "thumb", "full": "image"}
_A_DAY = 24 * 3600


@require_http_methods(["GET", "POST"])
@allowed("write on jobs")
@once
def job_photos(request: Request, claim: str) -> HttpResponse:
    """Show the photos, or keep one more.

    The camera's script sends several, one after another, with `X-Photo`.
    """
    job = job_page.find(claim)
    if request.method != "POST":
        return job_page.show(request, job, part="photos")
    one_of_several = "X-Photo" in request.headers
    form = PhotoForm(request.POST, request.FILES, auto_id="photo-%s")
    if form.is_valid():
        try:
            work.photograph(
                job, file=form.cleaned_data["picture"], caption=form.cleaned_data["caption"], by=request.user
            )
            return HttpResponse(status=204) if one_of_several else job_page.kept(request, job, part="photos")
        except PictureRefused as why:
            form.add_error("picture", str(why))
        except Refused as why:
            form.add_error(None, str(why))
    if one_of_several:
        said = " ".join(sentence for sentences in form.errors.values() for sentence in sentences)
        return HttpResponse(said, status=422, content_type="text/plain; charset=utf-8")
    return job_page.show(request, job, part="photos", status=422, photo_form=form)


@require_GET
@allowed("see jobs")
def photo(request: Request, pk: int, size: str) -> HttpResponse:
    """A picture itself, as we encoded it.

    It never changes, so this tablet may keep it; nobody on the way may.
    """
    if size not in _SIZES:
        raise Http404
    kept = get_object_or_404(Photo, pk=pk)
    try:
        response = FileResponse(getattr(kept, _SIZES[size]).open("rb"), content_type="image/jpeg")
    except FileNotFoundError as gone:
        raise Http404("The picture's file is missing.") from gone
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Disposition"] = "inline"
    response["Content-Security-Policy"] = "default-src 'none'"
    patch_cache_control(response, private=True, max_age=_A_DAY, immutable=True)
    return response


@require_POST
@allowed("write on jobs")
@once
def job_photo_strike(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    work.strike(get_object_or_404(job.photos, pk=pk), by=request.user)
    return _back(request, job, "Struck out. It can be put back below.")


@require_POST
@allowed("write on jobs")
@once
def job_photo_put_back(request: Request, claim: str, pk: int) -> HttpResponse:
    job = job_page.find(claim)
    work.put_back(get_object_or_404(job.photos, pk=pk), by=request.user)
    return _back(request, job, "Put back.")


def _back(request: Request, job: Job, said: str) -> HttpResponse:
    messages.success(request, said)
    return go_to(request, f"{job.get_absolute_url()}#photos")
