"""Coming in, changing person, leaving; one's own PIN and password."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shop import doors, staffing
from shop.access import allowed, open_to_all
from shop.errors import Refused
from shop.forms import EnterForm, MyPasswordForm, MyPinForm, PinForm
from shop.http import Request, go_to, safe_next
from shop.models import Staff


@require_http_methods(["GET", "POST"])
@open_to_all
@doors.a_door
def enter(request: Request) -> HttpResponse:
    form = EnterForm(request.POST if request.method == "POST" else None)
    context = {"form": form, "next": safe_next(request, "home")}
    if request.method == "GET":
        return render(request, "shop/enter.html", context)
    if form.is_valid():
        try:
            doors.come_in(request, **form.cleaned_data)
        except doors.LockedOut as refusal:
            return render(request, "shop/locked.html", status=refusal.status)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            return go_to(request, context["next"])
    return render(request, "shop/enter.html", context, status=422)


@require_http_methods(["GET", "POST"])
@allowed("change person")
@doors.a_door
def enter_again(request: Request) -> HttpResponse:
    onward = safe_next(request, "home")
    context = {"action": request.get_full_path(), "hidden": [("next", onward)]}
    if request.method == "GET":
        return render(request, "shop/enter_again.html", {**context, "hidden": []})
    try:
        doors.say_it_again(request, request.POST.get(doors.PASSWORD_FIELD, ""))
    except Refused as refusal:
        return render(
            request, "shop/enter_again.html", {**context, "error": str(refusal)}, status=refusal.status
        )
    return go_to(request, onward)


@require_POST
@allowed("change person")
@doors.a_door
def leave(request: Request) -> HttpResponse:
    doors.go_out(request)
    return go_to(request, "enter")


@require_http_methods(["GET", "POST"])
@allowed("change person")
@doors.a_door
def change_person(request: Request) -> HttpResponse:
    form = PinForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            doors.take_over(request, form.cleaned_data["who"], form.cleaned_data["pin"])
        except Refused as refusal:
            form.add_error("pin", str(refusal))
        else:
            return go_to(request, "home")
    people = Staff.objects.working().with_pin()
    context = {
        "form": form,
        "people": people,
        "who": _chosen(people, request.POST.get("who") or request.GET.get("who")),
        "full": doors.mark_of(request) is not None,
    }
    return render(request, "shop/change_person.html", context, status=422 if form.is_bound else 200)


def _chosen(people, pk: str | None) -> Staff | None:
    return next((one for one in people if str(one.pk) == pk), None)


@require_GET
@open_to_all
def locked(request: Request) -> HttpResponse:
    return render(request, "shop/locked.html")


# --- one's own keys


@require_http_methods(["GET", "POST"])
@allowed("change person")
@doors.a_door
def my_pin(request: Request) -> HttpResponse:
    form = MyPinForm(request.POST if request.method == "POST" else None)
    if form.is_valid() and _password_given(request, form):
        here = request.session.session_key
        staffing.set_pin(request.user, form.cleaned_data["new_pin"], by=request.user, here=here)
        messages.success(request, "Your PIN is kept." if request.user.pin else "You have no PIN now.")
        return go_to(request, "my-pin")
    return _my_keys(request, pin_form=form, status=422 if form.is_bound else 200)


@require_POST
@allowed("change person")
@doors.a_door
def my_password(request: Request) -> HttpResponse:
    form = MyPasswordForm(request.POST, for_whom=request.user)
    if form.is_valid() and _password_given(request, form):
        password, here = form.cleaned_data["new_password"], request.session.session_key
        staffing.set_password(request.user, password, by=request.user, here=here)
        doors.stay_in(request, request.user)
        messages.success(request, "Your password is changed. Wherever else you were signed in, you are out.")
        return go_to(request, "my-pin")
    return _my_keys(request, password_form=form, status=422)


def _password_given(request: Request, form: forms.Form) -> bool:
    try:
        doors.say_it_again(request, form.cleaned_data["password"])
    except Refused as refusal:
        form.add_error("password", str(refusal))
        return False
    return True


def _my_keys(request: Request, *, status: int, **bound: forms.Form) -> HttpResponse:
    # Both forms ask for the password: their ids must differ on the one page.
    context = {"pin_form": MyPinForm(), "password_form": MyPasswordForm(), **bound}
    context["password_form"].auto_id = "id_own_%s"
    return render(request, "shop/my_keys.html", context, status=status)
