"""The one way in which a page changes a row that another tablet may be changing too.

The person sees the form with what the row said; sends it; and if the row moved on meanwhile, what the two of
them changed is put together. Only where both changed the same field does the person see both versions, with
everything typed kept, and choose.
"""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db.models import Model
from django.http import HttpResponse

from shop import timeline
from shop.conflict import RevisedForm, chosen, side_by_side
from shop.errors import ChangedMeanwhile, Refused
from shop.http import Request, go_to, page_or_part

_TRIES = 5


def edit(
    request: Request,
    *,
    about: Model,
    form_class: type[RevisedForm],
    now: Callable[[], tuple[Any, int]],
    save: Callable[[RevisedForm], None],
    done: str,
    template: str = "intake/line_edit.html",
    **context: Any,
) -> HttpResponse:
    """Show the form, or save it, or show both versions.

    `about` is whose timeline says who was first. `now()` reads the row and its revision afresh; `save(form)`
    calls the verb with what the form cleaned; `done` is where to go on to.
    """
    currency = request.shop.currency

    def answer(form: RevisedForm, status: int = 200, **more: Any) -> HttpResponse:
        shown = {"form": form, "action": request.path, "done": done, **context, **more}
        return page_or_part(request, template, shown, part="edit", status=status)

    if request.method != "POST":
        return answer(form_class.opened_on(*now(), currency))
    data = chosen(request.POST)
    for _ in range(_TRIES):
        form = form_class(data, currency=currency)
        if not form.is_valid():
            return answer(form, status=422)
        try:
            save(form)
        except ChangedMeanwhile:
            row, revision = now()
            theirs = form_class.texts_of(row, currency)
            merged = form.met_by(theirs)
            if merged.clashes:
                both = side_by_side(form, merged, theirs, revision=revision)
                return answer(form, status=409, last=timeline.of(about).first(), **both)
            data = data.copy()
            for name, text in merged.texts.items():
                data[name] = text
            data["revision"] = str(revision)
        except Refused as refusal:
            form.add_error(None, str(refusal))
            return answer(form, status=refusal.status)
        else:
            messages.success(request, "Kept.")
            return go_to(request, done)
    form.add_error(None, "Too many people change this at once. Wait a moment, then send it again.")
    return answer(form, status=409)
