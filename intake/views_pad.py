"""The sign-in pad: a customer with a tablet in their hands, one question a screen.

What they write lives in this tablet's session alone until they sign. Nothing is shown that was in the
database before, but the shop's name, its fee and its terms.
"""

import time
from collections.abc import Mapping
from typing import Any

from django import forms
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from intake import dropoff
from intake.forms_pad import Question, Step, collected, steps
from shop import doors
from shop.access import HELD_TO, allowed
from shop.errors import Refused
from shop.forms import PinForm
from shop.http import Request, go_to
from shop.models import Staff, Terms
from shop.once import once

ANSWERS = "pad_answers"
TOUCHED = "pad_touched"
# The page itself forgets after 90 seconds of silence (static/js/idle.js). This is for a tablet that was off.
FORGOTTEN_AFTER = 600  # seconds

_PAGES = {"gear": "pad_gear.html", "terms": "pad_terms.html", "sign": "pad_sign.html"}
_QUESTIONS = {
    "you": ("Who are you?", ""),
    "phones": ("Which number can we call?", "We call when we know what it needs, and when it is ready."),
    "email": ("Your e-mail address?", ""),
    "address": ("Your address?", ""),
    "gear": ("What did you bring?", "Leave empty what you don’t know."),
    "complaint": ("What is wrong with it?", "When does it happen, and how does it sound?"),
    "came-with": ("What came with it?", "So that everything goes home with you again."),
    "history": ("Did any of this happen to it?", "It helps us to find the fault, and to open it safely."),
    "more": ("Is that all?", ""),
    "when": ("When do you need it?", "We can’t promise a day, but we see it on our list."),
    "cost": ("What may it cost?", ""),
    "terms": ("Our terms", "Read these, please. You sign them on the next screen."),
    "sign": ("Sign here", ""),
}


# --- staff hand it over and take it back


@require_POST
@allowed("open the pad")
@once
def pad_open(request: Request) -> HttpResponse:
    doors.hand_over(request, then=reverse("pad-entries"))
    return go_to(request, "pad")


@require_http_methods(["GET", "POST"])
@allowed("take the tablet back")
@doors.a_door
def pad_leave(request: Request) -> HttpResponse:
    """The way back to staff, from the sign-in pad and from a page that the tablet was handed over for."""
    then, page = request.session.get(doors.THEN, "/"), request.session.get(HELD_TO)
    form = LeaveForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        staff = form.who(doors.lent_by(request))
        try:
            if staff is None:
                raise doors.WrongKey
            doors.take_over(request, staff, form.cleaned_data["pin"])
        except doors.WrongKey:
            # No name: the customer still holds the tablet.
            form.add_error(
                "pin", "That isn’t the PIN of whoever handed this tablet over, or of the sign-in word below."
            )
        except Refused as refusal:
            form.add_error("pin", str(refusal))
        else:
            return go_to(request, then)
    context = {"form": form, "then": then, "page": page}
    return render(request, "intake/pad_leave.html", context, status=422 if form.is_bound else 200)


class LeaveForm(forms.Form):
    """The PIN of whoever handed the tablet over, or of another with their sign-in word."""

    pin = PinForm.base_fields["pin"]
    sign_in = forms.CharField(
        label="Somebody else’s sign-in word",
        required=False,
        max_length=40,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    use_required_attribute = False

    def who(self, opened_by: Staff | None) -> Staff | None:
        word = self.cleaned_data["sign_in"].lower()
        return Staff.objects.working().filter(sign_in=word).first() if word else opened_by


# --- the customer's screens


@require_GET
@allowed("fill the pad")
def pad(request: Request) -> HttpResponse:
    answers = _answers(request)
    if answers:  # somebody is in the middle: back to their question, which forgets by itself
        return redirect("pad-step", _first_open(request, answers).slug)
    return render(request, "intake/pad.html")


@require_http_methods(["GET", "POST"])
@allowed("fill the pad")
@once
def pad_step(request: Request, step: str) -> HttpResponse:
    answers = _answers(request)
    path = steps(answers, ask_address=request.shop.ask_address)
    at = next((n for n, each in enumerate(path) if each.slug == step), None)
    if at is None:
        raise Http404
    given, first_open = _given(request, answers, path)
    if at > path.index(first_open):
        return go_to(request, "pad-step", first_open.slug)
    if request.method == "GET":
        return _ask(request, path, at, _form(request, path[at], given, answers.get(step)), given)
    form = _form(request, path[at], given, request.POST)
    if not form.is_valid():
        return _ask(request, path, at, form, given, status=422)
    if step == "sign":
        _sign(request, given, form.cleaned_data["strokes"])
        return go_to(request, "pad-done")
    _keep(request, answers, step, form)
    onward = steps(answers, ask_address=request.shop.ask_address)[at + 1]
    return go_to(request, "pad-step", onward.slug)


@require_POST
@allowed("fill the pad")
def pad_again(request: Request) -> HttpResponse:
    _forget(request)
    return go_to(request, "pad")


pad_again.once = False  # to wipe twice is to wipe once, and the page sends it by itself after a silence


@require_GET
@allowed("fill the pad")
def pad_done(request: Request) -> HttpResponse:
    return render(request, "intake/pad_done.html")


def _ask(
    request: Request,
    path: list[Step],
    at: int,
    form: Question,
    given: Mapping[str, Mapping[str, Any]],
    status: int = 200,
) -> HttpResponse:
    step = path[at]
    question, said = _QUESTIONS[step.name]
    context = {
        "form": form,
        "step": step,
        "at": at + 1,
        "of": len(path),
        "back": path[at - 1].slug if at else "",
        "question": question,
        "said": said,
        "gear_before": _named(given, step.gear) if step.gear and step.name != "gear" else "",
        "nth": step.gear if step.gear > 1 else 0,
    }
    if step.name == "cost":
        if len(_pieces(given)) > 1:
            context["said"] = "This is for each piece of gear."
        context["fee"] = dropoff.fee_words(request.shop, request.shop.diagnosis_fee)
    if step.name in ("terms", "sign"):
        context["terms"] = _terms()
    if step.name == "sign":
        answers = collected(given, request.shop)
        context["agreed"] = [dropoff.agreed_words(request.shop, one) for one in dropoff.described(answers)]
        context["signer"] = answers["name"]
    return render(request, f"intake/{_PAGES.get(step.name, 'pad_step.html')}", context, status=status)


def _sign(request: Request, given: Mapping[str, Mapping[str, Any]], drawing: str) -> None:
    """Keep what was signed, and forget it on this tablet."""
    dropoff.sign_on_pad(
        answers=collected(given, request.shop),
        drawing=drawing,
        terms=_terms(),
        shop=request.shop,
        device=request.headers.get("User-Agent", ""),
    )
    _forget(request)


# --- what the session holds


def _answers(request: Request) -> dict[str, dict[str, list[str]]]:
    """What was written so far, by screen, as it was sent."""
    if time.time() - request.session.get(TOUCHED, 0) > FORGOTTEN_AFTER:
        _forget(request)
    return request.session.get(ANSWERS, {})


def _keep(request: Request, answers: dict[str, dict[str, list[str]]], step: str, form: Question) -> None:
    answers[step] = {name: request.POST.getlist(name) for name in form.fields}
    request.session[ANSWERS], request.session[TOUCHED] = answers, time.time()


def _forget(request: Request) -> None:
    request.session.pop(ANSWERS, None)
    request.session.pop(TOUCHED, None)


def _given(
    request: Request, answers: Mapping[str, Mapping[str, list[str]]], path: list[Step]
) -> tuple[dict[str, dict[str, Any]], Step]:
    """What the screens' forms make of the answers, up to the first screen that isn't rightly answered."""
    given: dict[str, dict[str, Any]] = {}
    for step in path[:-1]:
        form = _form(request, step, given, answers.get(step.slug))
        if not form.is_bound or not form.is_valid():
            return given, step
        given[step.slug] = form.cleaned_data
    return given, path[-1]


def _first_open(request: Request, answers: Mapping[str, Mapping[str, list[str]]]) -> Step:
    path = steps(answers, ask_address=request.shop.ask_address)
    return _given(request, answers, path)[1]


def _form(
    request: Request, step: Step, given: Mapping[str, Mapping[str, Any]], sent: Mapping[str, list[str]] | None
) -> Question:
    """The form of a screen, empty or with what was sent."""
    before = dict(given.get("phones", {}))
    first = {}
    if step.name == "terms":
        first = before = {"version": _terms().version}
    data = None
    if sent is not None:
        data = QueryDict(mutable=True)
        for name in step.form.base_fields:
            data.setlist(name, sent.getlist(name) if isinstance(sent, QueryDict) else sent.get(name, []))
    return step.form(data, shop=request.shop, given=before, initial=first)


def _terms() -> Terms:
    terms = Terms.current()
    if terms is None:
        raise Refused("There are no terms to sign yet. Hand the tablet back, please.")
    return terms


def _pieces(given: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """The screens of the pieces of gear that were described."""
    return [slug for slug in given if slug.startswith("gear-")]


def _named(given: Mapping[str, Mapping[str, Any]], n: int) -> str:
    """How the customer called a piece of gear."""
    said = given[f"gear-{n}"]
    return dropoff.name_of(said["kind"], said["maker"], said["model"])
