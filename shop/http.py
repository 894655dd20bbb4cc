"""What a view needs of HTTP: the typed request, the page or its part, where to go next."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils.cache import patch_vary_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django_htmx.http import HttpResponseClientRedirect
from django_htmx.middleware import HtmxDetails

from shop.models import Shop, Staff


class Request(HttpRequest):
    """A request as our middleware leaves it."""

    htmx: HtmxDetails
    user: Staff  # anonymous only in views marked `@open_to_all`
    shop: Shop | None  # None until the shop has been set up


def wants_part(request: HttpRequest) -> bool:
    """Say whether htmx asked for a part of a page (a boosted link or a restored page wants all of it)."""
    htmx = request.htmx
    return bool(htmx) and not htmx.boosted and not htmx.history_restore_request


def page_or_part(
    request: HttpRequest, template: str, context: dict[str, Any], *, part: str, status: int = 200
) -> HttpResponse:
    """Render the page, or for htmx the `{% partialdef part %}` inside it."""
    name = f"{template}#{part}" if wants_part(request) else template
    response = render(request, name, context, status=status)
    patch_vary_headers(response, ["HX-Request", "HX-Boosted", "HX-History-Restore-Request"])
    return response


def go_to(request: HttpRequest, to: Any, *args: Any, **kwargs: Any) -> HttpResponse:
    """Send the browser on after a POST.

    htmx follows a 302 silently and swaps what it finds into the target, so it gets `HX-Redirect` instead.
    """
    url = resolve_url(to, *args, **kwargs)
    return HttpResponseClientRedirect(url) if request.htmx else redirect(url)


def safe_next(request: HttpRequest, fallback: str) -> str:
    """Return where the form says to go on to, if that is on this shop's own address; else the fallback."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    # An address without its slash would be read as the name of a page: see resolve_url.
    if wanted.startswith("/") and url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    ):
        return wanted
    return resolve_url(fallback)
