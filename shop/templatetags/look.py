"""Tags for the parts every page has: icons, states, fields, claim numbers, dates: /pattern/ shows them."""

import datetime as dt
from typing import Any

from django import forms, template
from django.forms import BoundField
from django.templatetags.static import static
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from shop import wording

register = template.Library()

# What a kind of gear looks like; a kind without a drawing of its own is shown as gear.
_DRAWN = {"head", "combo", "cabinet", "effect", "echo", "keyboard", "pedal", "lid"}
_DRAWN_AS = {
    "organ": "keyboard",
    "electric-piano": "keyboard",
    "synth": "keyboard",
    "echo-unit": "echo",
    "rack": "effect",
}


@register.simple_tag
def icon(name: str, spoken: str = "") -> SafeString:
    """An icon from our sprite. Without `spoken` it is decoration and stands beside a word."""
    use = static("img/shapes.svg")
    if spoken:
        return format_html(
            '<svg class="icon" role="img" aria-label="{}"><use href="{}#{}"></use></svg>', spoken, use, name
        )
    return format_html(
        '<svg class="icon" aria-hidden="true" focusable="false"><use href="{}#{}"></use></svg>', use, name
    )


@register.simple_tag
def gear_icon(kind: str) -> SafeString:
    """The icon of a kind of gear."""
    slug = wording.state_slug(str(kind))
    slug = _DRAWN_AS.get(slug, slug)
    return icon(slug if slug in _DRAWN else "gear")


@register.simple_tag
def state_badge(state: str, label: str = "") -> SafeString:
    """Where a job stands, as word, shape and colour."""
    slug = wording.state_slug(str(state))
    return format_html(
        '<span class="state state-{}">{}<span class="state-word">{}</span></span>',
        slug,
        icon(slug if slug in wording.STATES else "job"),
        label or wording.state_words(slug),
    )


@register.simple_tag
def claim(value: str, size: str = "") -> SafeString:
    """A claim number in figures of one width, in groups, its check character boxed.

    The hyphens stay in the text, so that a claim copied or read aloud is the one that search knows.
    """
    groups = wording.claim_groups(str(value))
    if len(groups) != 3:
        return format_html('<span class="claim {}">{}</span>', size, value)
    if len(groups[1]) > 4:  # a month of ten thousand jobs: smaller, so that a gear tag still holds it
        size = f"{size} long"
    return format_html(
        '<span class="claim {}"><span class="claim-month">{}-</span>{}-'
        '<span class="claim-check">{}</span></span>',
        size,
        *groups,
    )


@register.simple_tag
def when(moment: dt.datetime | None) -> str:
    """A moment in the shop's time zone: "Wed 25 Nov 2026, 14:05". Nothing for None."""
    if moment is None:
        return ""
    local = timezone.localtime(moment)
    return _time(local.isoformat(timespec="minutes"), wording.moment_words(local))


@register.simple_tag
def day(value: dt.date | dt.datetime | None) -> str:
    """A day in the shop's time zone: "Wed 25 Nov 2026". Nothing for None."""
    if value is None:
        return ""
    local = timezone.localdate(value) if isinstance(value, dt.datetime) else value
    return _time(local.isoformat(), wording.day_words(local))


@register.simple_tag
def ago(value: dt.date | dt.datetime | None) -> str:
    """How long ago or how far ahead: "3 days ago", "tomorrow". Nothing for None."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        local = timezone.localtime(value)
        return _time(local.isoformat(timespec="minutes"), wording.ago_words(local, timezone.localtime()))
    return _time(value.isoformat(), wording.ago_words(value, timezone.localdate()))


@register.simple_tag
def hours(minutes: int | None) -> str:
    """A length of time given in minutes: "1 h 25 min". Nothing for None."""
    return "" if minutes is None else wording.span_words(int(minutes))


@register.simple_tag
def dots(at: int, of: int) -> SafeString:
    """Where somebody is in a row of questions: dots, and the words for whoever can't see them."""
    marks = (
        (mark_safe(' class="done"' if n < at else ' aria-current="step"' if n == at else ""), n)
        for n in range(1, of + 1)
    )
    return format_html(
        '<ol class="dots" aria-label="Question {} of {}">{}</ol>',
        at,
        of,
        format_html_join("", '<li{}><span class="unseen">{}</span></li>', marks),
    )


@register.inclusion_tag("shop/_field.html")
def field(
    bound: BoundField, unit: str = "", before: str = "", size: str = "", label: bool = True
) -> dict[str, Any]:
    """A form field whole: label, help, what is wrong, control with `before` and `unit` at its ends.

    `label=False` leaves the label to those who can't see, where the page's own question says the same.

    Help and errors are named by `aria-describedby`, also where Django leaves it out (groups of choices).
    """
    wrong = bool(bound.errors)
    said = [f"{bound.auto_id}_said"] if bound.help_text else []
    said += [f"{bound.auto_id}_wrong"] if wrong else []
    attrs = {"aria-describedby": " ".join(said)} if said else {}
    if wrong:
        attrs["aria-invalid"] = "true"
    kind = _kind(bound.field.widget)
    return {
        "field": bound,
        "kind": kind,
        "control": "" if kind == "choices" else bound.as_widget(attrs=attrs),
        "described": " ".join(said),
        "wrong": wrong,
        "unit": unit,
        "before": before,
        "size": size,
        "label": label,
    }


def _kind(widget: forms.Widget) -> str:
    if isinstance(widget, forms.RadioSelect | forms.CheckboxSelectMultiple):
        return "choices"
    if isinstance(widget, forms.CheckboxInput):
        return "tick"
    return "hidden" if widget.is_hidden else "line"


def _time(machine: str, words: str) -> SafeString:
    return format_html('<time datetime="{}">{}</time>', machine, words)
