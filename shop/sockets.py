"""Sockets: where the floors above plug in, so that this one stays ignorant of them.

An app plugs in from its `AppConfig.ready()`. In which order doesn't matter: each registry sorts by `order`, then
by name.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

T = TypeVar("T")


class Socket(Generic[T]):
    """A registry of one kind of plug. Plugging the same name in twice is a mistake."""

    def __init__(self) -> None:
        self._plugs: dict[str, T] = {}

    def plug(self, item: T) -> T:
        name = item.name  # type: ignore[attr-defined]
        if name in self._plugs:
            raise ValueError(f"{name!r} is plugged in already.")
        self._plugs[name] = item
        return item

    def __iter__(self) -> Iterator[T]:
        return iter(sorted(self._plugs.values(), key=lambda p: (p.order, p.name)))  # type: ignore[attr-defined]

    def __getitem__(self, name: str) -> T:
        return self._plugs[name]

    def __contains__(self, name: str) -> bool:
        return name in self._plugs


@dataclass(frozen=True)
class Hit:
    """One line of the search box's answer."""

    title: str
    detail: str
    url: str
    icon: str = "find"
    number: str = ""  # what is printed on it: a claim or an invoice number; shown in figures before the title
    is_claim: bool = False  # the number is a claim: shown in its groups
    state: str = ""  # where it stands: shown as a badge


@dataclass(frozen=True)
class Finder:
    """Answers the one search box. `find(text, limit)` returns at most `limit` hits, best first.

    `straight(text)` returns the address of the one thing that the text names whole (a number with its check
    character), so that a scanner opens it; None where the text isn't such a number. It raises `Refused` with a
    sentence where the text is meant as one and is wrong: nothing is opened then.
    """

    name: str  # heads its hits: "Jobs", "People"
    act: str  # who may see these hits: an act of the roles table
    find: Callable[[str, int], Iterable[Hit]]
    straight: Callable[[str], str | None] | None = None
    order: int = 50


@dataclass(frozen=True)
class Panel:
    """A box on somebody else's page. `context(request, thing)` returns what the template needs, or None for no box."""

    name: str
    # "front page", "job" (its money and papers), "job bench" (what is measured), "way out" (where gear leaves: as it
    # is, handed back, let go), "person", "gear", "invoice"
    place: str
    act: str
    template: str
    context: Callable[[Any, Any], dict[str, Any] | None]
    order: int = 50
    icon: str = ""  # beside its name where a page lists its panels


@dataclass(frozen=True)
class Gate:
    """May refuse a move of the workflow. `check(job, to, by)` returns None, or the sentence that says why not yet."""

    name: str
    check: Callable[[Any, str, Any], str | None]
    order: int = 50


@dataclass(frozen=True)
class Report:
    """A line on the reports page."""

    name: str
    title: str
    words: str
    url_name: str
    act: str = "see reports"
    order: int = 50


@dataclass(frozen=True)
class DemoPart:
    """A part of the invented shop. Lower floors come first by `order`.

    `load(clock)` fills its own tables in one go. `at_bench(job, by, when)` is for a floor that writes on jobs that a
    lower floor is making: it is called while each is on the bench, `when` being "before" or "after" the repair, then
    when it is "soaked", and where it is to go home "as it is".
    `take_part(job, row, by)` is asked for every part that a lower floor would charge, or sell without a job: True if it
    came out of a drawer, and was charged if there is a job.
    """

    name: str
    load: Callable[[Any], None] | None = None
    at_bench: Callable[[Any, Any, str], None] | None = None
    take_part: Callable[[Any, Any, Any], bool] | None = None
    order: int = 50


finders: Socket[Finder] = Socket()
panels: Socket[Panel] = Socket()
gates: Socket[Gate] = Socket()
reports: Socket[Report] = Socket()
demo_parts: Socket[DemoPart] = Socket()


@dataclass(frozen=True)
class ShownPanel:
    """A panel with its context, ready for `{% panel shown %}` (of `{% load panels %}`)."""

    name: str
    template: str
    context: dict[str, Any] = field(default_factory=dict)
    icon: str = ""


def panels_for(place: str, request: Any, thing: Any = None) -> list[ShownPanel]:
    """The panels of a page that this person may see."""
    from shop.roles import may

    shown = []
    for panel in panels:
        if panel.place == place and may(request.user.role, panel.act):
            context = panel.context(request, thing)
            if context is not None:
                shown.append(ShownPanel(panel.name, panel.template, context, panel.icon))
    return shown
