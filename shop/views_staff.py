"""The owner's page of staff: who works here, what they may do, their keys and locks."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shop import doors, staffing, timeline
from shop.access import allowed
from shop.conflict import both_versions, keeps_theirs
from shop.errors import Refused
from shop.forms import NewPasswordForm, NewStaffForm, PinOfForm, StaffForm
from shop.http import Request, go_to
from shop.models import Staff
from shop.once import once
from shop.roles import Role


def _people():
    return Staff.objects.exclude(role=Role.PAD)


@require_GET
@allowed("manage staff")
@doors.fresh_password
def staff(request: Request) -> HttpResponse:
    locks = doors.locks()
    people = list(_people())
    for one in people:
        one.locked_until = locks.get(one.sign_in)
    return render(request, "shop/staff.html", {"people": people})


@require_http_methods(["GET", "POST"])
@allowed("manage staff")
@doors.fresh_password
@once
def staff_new(request: Request) -> HttpResponse:
    form = NewStaffForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        values = form.cleaned_data
        one = staffing.take_on(
            name=values["name"],
            sign_in=values["sign_in"],
            role=values["role"],
            password=values["new_password"],
            pin=values["new_pin"],
            by=request.user,
        )
        messages.success(request, f"{one.name} can sign in.")
        return go_to(request, "staff")
    return render(request, "shop/staff_new.html", {"form": form}, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "POST"])
@allowed("manage staff")
@doors.fresh_password
@once
def staff_edit(request: Request, pk: int) -> HttpResponse:
    if keeps_theirs(request):
        return go_to(request, "staff-edit", pk)
    one = get_object_or_404(_people().select_for_update() if request.method == "POST" else _people(), pk=pk)
    form = StaffForm(request.POST if request.method == "POST" else None, instance=one)
    if form.is_valid():
        try:
            staffing.change(one, by=request.user, **form.cleaned_data)
        except Refused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "Kept.")
            return go_to(request, "staff")
    if form.changed_meanwhile:
        return both_versions(request, form)
    return _edit_page(request, pk, form=form, status=422 if form.is_bound else 200)


@require_POST
@allowed("manage staff")
@doors.fresh_password
@once
def staff_password(request: Request, pk: int) -> HttpResponse:
    one = get_object_or_404(_people(), pk=pk)
    form = NewPasswordForm(request.POST, for_whom=one)
    if not form.is_valid():
        return _edit_page(request, pk, password_form=form, status=422)
    staffing.set_password(
        one, form.cleaned_data["new_password"], by=request.user, here=request.session.session_key
    )
    doors.stay_in(request, one)
    messages.success(request, f"{one.name} has a new password.")
    return go_to(request, "staff-edit", pk)


@require_POST
@allowed("manage staff")
@doors.fresh_password
@once
def staff_pin(request: Request, pk: int) -> HttpResponse:
    one = get_object_or_404(_people(), pk=pk)
    form = PinOfForm(request.POST)
    if not form.is_valid():
        return _edit_page(request, pk, pin_form=form, status=422)
    staffing.set_pin(one, form.cleaned_data["new_pin"], by=request.user, here=request.session.session_key)
    messages.success(request, f"{one.name} has {'a new' if one.pin else 'no'} PIN.")
    return go_to(request, "staff-edit", pk)


@require_POST
@allowed("manage staff")
@doors.fresh_password
@once
def staff_unlock(request: Request, pk: int) -> HttpResponse:
    one = get_object_or_404(_people(), pk=pk)
    staffing.lift_lock(one, by=request.user)
    messages.success(request, f"{one.name} can try again.")
    return go_to(request, "staff")


def _edit_page(request: Request, pk: int, *, status: int, **forms: object) -> HttpResponse:
    one = get_object_or_404(_people(), pk=pk)
    context = {
        "one": one,
        "locked_until": doors.locks().get(one.sign_in),
        "entries": timeline.of(one)[:50],
        "form": StaffForm(instance=one),
        "password_form": NewPasswordForm(),
        "pin_form": PinOfForm(),
        **forms,
    }
    return render(request, "shop/staff_edit.html", context, status=status)
