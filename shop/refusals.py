"""How a refusal looks: a page with one plain sentence, or for htmx the same sentence where words go."""

from contextlib import suppress

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import Resolver404, resolve
from django.utils.http import url_has_allowed_host_and_scheme

from shop.access import HELD_TO
from shop.errors import Refused
from shop.http import wants_part


def refused(request: HttpRequest, why: Refused) -> HttpResponse:
    """Answer with the sentence. htmx is told to put it into `#words`, which every page has."""
    held_to = request.session.get(HELD_TO) if hasattr(request, "session") else None
    context = {
        "sentence": str(why),
        "back": held_to or _came_from(request) or _page_above(request, why),
        "held": bool(held_to),
        "status": why.status,
    }
    if wants_part(request):
        response = render(request, "shop/refused.html#refused-words", context, status=why.status)
        response["HX-Retarget"] = "#words"
        response["HX-Reswap"] = "innerHTML show:window:top"
        return response
    return render(request, "shop/refused.html", context, status=why.status)


def _came_from(request: HttpRequest) -> str:
    """The page of ours that this one was reached from, to go back to."""
    referer = request.headers.get("Referer", "")
    return referer if url_has_allowed_host_and_scheme(referer, allowed_hosts={request.get_host()}) else ""


class NotThatWay(Refused):
    """An address that only takes what a form sends was opened, or the other way round."""

    status = 405


def not_that_way(request: HttpRequest, bare: HttpResponse) -> HttpResponse:
    """Answer with a page what the router answered with nothing: most often an address that was opened by hand."""
    response = refused(
        request, NotThatWay("This address is no page: it only takes what a form of ours sends.")
    )
    response["Allow"] = bare["Allow"]
    return response


def _page_above(request: HttpRequest, why: Refused) -> str:
    """For an address that is no page: the nearest one above it that we have, e.g. the job's."""
    above = request.path.strip("/").split("/")[:-1] if isinstance(why, NotThatWay) else []
    while above:
        address = f"/{'/'.join(above)}/"
        with suppress(Resolver404):
            resolve(address)
            return address
        above.pop()
    return ""


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form whose token doesn't fit: most often a page left open over a change of person."""
    return refused(
        request,
        StalePage("This page was opened before the last sign-in. Go back, load it again, then send it."),
    )


class StalePage(Refused):
    """The form belongs to another sign-in."""

    status = 403


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "400.html", status=400)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "403.html", status=403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "404.html", status=404)


def broken(request: HttpRequest) -> HttpResponse:
    """Answer after a mistake of ours. Rendered without the request's context: that may be what broke."""
    return HttpResponse(render_to_string("500.html"), status=500)
