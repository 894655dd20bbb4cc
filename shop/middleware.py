"""What happens around every request."""

from collections.abc import Callable
from urllib.parse import urlsplit

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django_htmx.http import HttpResponseClientRedirect

from shop import refusals
from shop.errors import Refused
from shop.models import Shop

Answer = Callable[[HttpRequest], HttpResponse]

POLICY = "; ".join(
    [
        "default-src 'self'",
        "img-src 'self' data: blob:",
        "object-src 'none'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
        "form-action 'self'",
    ]
)


class SecurityPolicy:
    """Send the Content-Security-Policy with every answer, and keep customers' data out of shared caches."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        if not request.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "private, no-store")
        return response


class SignInRequired(LoginRequiredMiddleware):
    """Send whoever isn't signed in to the front door, and from there back to the page they were on."""

    def handle_no_permission(self, request: HttpRequest, view_func: Answer) -> HttpResponse:
        # A part or a POST has no page of its own to come back to: the one it was asked from has.
        whole_page = request.method in {"GET", "HEAD"} and not request.htmx
        back = request.get_full_path() if whole_page else _asked_from(request)
        door = f"{resolve_url('enter')}?{urlencode({'next': back})}"
        return HttpResponseClientRedirect(door) if request.htmx else redirect(door)


def _asked_from(request: HttpRequest) -> str:
    page = request.headers.get("HX-Current-URL") or request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(page, allowed_hosts={request.get_host()}):
        return "/"
    parts = urlsplit(page)
    return parts.path + (f"?{parts.query}" if parts.query else "")


class ShopPlace:
    """Put the shop on the request, and its time zone in force. Before the first start show nothing else."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.shop = Shop.current()
        if request.shop is None:
            if not request.path.startswith("/first-start/"):
                return redirect("first-start")
            return self.get_response(request)
        with timezone.override(request.shop.zone):
            return self.get_response(request)


class PlainRefusals:
    """Show a refusal of the business as a page with its sentence, where the view didn't show it itself."""

    def __init__(self, get_response: Answer):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        return refusals.not_that_way(request, response) if response.status_code == 405 else response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, Refused):
            return refusals.refused(request, exception)
        return None
