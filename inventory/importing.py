"""Parts out of a file: what each line would do, doing it, and undoing it.

Nothing is written before somebody looked at the plan and said yes. Saying yes names the plan that was looked at: if
the stock moved on meanwhile, so that a line would do something else, it has to be looked at again.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from hashlib import sha256
from typing import Any, Final

from django.db import transaction
from django.db.models import Max, ProtectedError
from django.utils import timezone

from calc.engine.quantities import QuantityError
from inventory import parts, stock
from inventory.files import PartLine, read_value, same
from inventory.models import Drawer, Import, ImportLine, Kind, Move, Part
from inventory.values import in_words, read_part, said_of, unit_of
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet, Refused
from shop.models import Shop, Staff

FACTS: Final = (
    "kind", "name", "value", "tolerance", "volts", "watts", "amps", "impedance", "hottest", "designation",
    "technology", "leads", "taper", "shaft", "make", "note", "price", "keep",
)  # fmt: skip


class Does(StrEnum):
    """What a line does. The page shows each by word, shape and colour."""

    NEW = "new"
    CHANGE = "change"
    NOTHING = "nothing"
    UNREAD = "unread"  # it can't be read, and is left out


@dataclass
class Planned:
    """What a line of the file would do, in fields to be written and in words."""

    line: int
    called: str
    does: Does = Does.NOTHING
    part: Part | None = None
    facts: dict[str, Any] = field(default_factory=dict)  # columns of a Part
    drawer: str | None = None  # its code, where it changes
    drawer_is_new: bool = False
    quantity: int | None = None
    level: str | None = None
    cost: Decimal = Decimal(0)
    comes_in: bool = False  # there was none: what is there now came in, at that cost
    words: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Plan:
    """What a file would do."""

    lines: tuple[Planned, ...]

    def of(self, does: Does) -> list[Planned]:
        return [each for each in self.lines if each.does == does]

    @property
    def new(self) -> int:
        return len(self.of(Does.NEW))

    @property
    def changed(self) -> int:
        return len(self.of(Does.CHANGE))

    @property
    def unread(self) -> int:
        return len(self.of(Does.UNREAD))

    @property
    def same(self) -> int:
        return len(self.of(Does.NOTHING))

    @property
    def seal(self) -> str:
        """Names the plan: it is another as soon as one line would do something else."""
        said = (
            (e.line, e.does, e.part.pk if e.part else 0, e.words, repr(sorted(e.facts.items())))
            for e in self.lines
        )
        return sha256(repr(list(said)).encode()).hexdigest()


# --- The plan ------------------------------------------------------------------------------------------------


def plan(lines: Iterable[PartLine], *, hold: bool = False) -> Plan:
    """Say what each line would do, in a fixed number of queries.

    With `hold` the parts are held for this transaction, and other files wait.
    """
    shelf = _Shelf(hold)
    planned = [shelf.plan(line) for line in lines]
    met: dict[Any, int] = {}
    for each in planned:  # a part number and a name may both name the same part
        if each.does is Does.UNREAD:
            continue
        new = (each.facts.get("kind"), same(each.called), same(each.facts.get("make", "")))
        first = met.setdefault(each.part.pk if each.part else new, each.line)
        if first != each.line:
            each.does, each.words = Does.UNREAD, [f"It is the same part as line {first}."]
    return Plan(tuple(planned))


class _Shelf:
    """What is on the shelf as a plan is made: parts by their number and by what they are called, drawers by code."""

    def __init__(self, hold: bool):
        rows = Part.objects.order_by("-is_in_use", "pk")
        if hold:  # in the order in which all hold parts; then new ones too: one file at a time
            list(Part.objects.select_for_update().order_by("pk").values_list("pk"))
            Shop.objects.select_for_update().get(
                pk=1
            )  # SQLite's IMMEDIATE transactions hold everything anyway
        self.parts = {part.pk: part for part in rows}
        self.called: dict[str, list[Part]] = {}
        for part in self.parts.values():
            self.called.setdefault(same(part.name), []).append(part)
        drawers = list(Drawer.objects.all())
        self.drawers = {drawer.pk: drawer.code for drawer in drawers}
        self.by_code = {same(drawer.code): drawer for drawer in drawers}

    def plan(self, line: PartLine) -> Planned:
        planned = Planned(line.line, line.called)
        if line.wrong:
            return _unread(planned, line.wrong)
        drawer = self.by_code.get(same(line.said.get("drawer", "")))
        if drawer is not None and not drawer.is_in_use:
            return _unread(planned, [f"The drawer {drawer.code} is out of use."])
        if line.said.get("cost", 0) >= stock.DEAREST:
            return _unread(planned, ["cost of one: that is more than can be kept here."])
        try:
            planned.part = self._part(line)
            facts = self._facts(line, planned)
        except (QuantityError, ValueError) as why:
            return _unread(planned, [str(why)])
        if planned.part is None:
            self._new(planned, line, facts)
        else:
            planned.called = planned.called or planned.part.name
            self._change(planned, planned.part, line, facts)
        return planned

    def _part(self, line: PartLine) -> Part | None:
        """The part that a line is about; None for a new one."""
        said = line.said
        if "number" in said:
            if said["number"] not in self.parts:
                raise ValueError(
                    f"There is no part {said['number']}. Leave its number empty, and it is a new one."
                )
            return self.parts[said["number"]]
        alike = [
            part
            for part in self.called.get(same(line.called), [])
            if said.get("kind", part.kind) == part.kind
            and same(said.get("make", part.make)) == same(part.make)
        ]
        if alike and any(part.is_in_use for part in alike):
            alike = [part for part in alike if part.is_in_use]
        if len(alike) > 1:
            numbers = " and ".join(str(part.pk) for part in alike[:6])
            raise ValueError(f"Several parts are called that. Write which is meant: part no. {numbers}.")
        return alike[0] if alike else None

    def _facts(self, line: PartLine, planned: Planned) -> dict[str, Any]:
        """The columns of the part that the line fills; of a new part also what its name says.

        Raises:
            ValueError: the kind can't be told, or the value isn't one of that kind.
            QuantityError: the name can be read in two ways.
        """
        said = {name: value for name, value in line.said.items() if name in FACTS and name != "value"}
        kind = said.get("kind") or (planned.part.kind if planned.part else "")
        if planned.part is None:
            of_name = read_part(line.called, kind or None).facts
            kind = kind or of_name.get("kind", "")
            if not kind:
                raise ValueError("What kind of part it is can't be told. Give it a column “kind”.")
            limits = {
                each.name: each.max_length for each in Part._meta.get_fields() if hasattr(each, "max_length")
            }
            of_name = {
                name: value
                for name, value in of_name.items()
                if not (isinstance(value, str) and len(value) > (limits.get(name) or 0))
            }
            said = {**of_name, **said, "kind": str(kind)}
        elif "number" not in line.said:
            said.pop("name", None)  # by which it was found: capitals are no change
        if "value" in line.said:
            said["value"] = read_value(line.said["value"], kind)
        return said

    def _new(self, planned: Planned, line: PartLine, facts: dict[str, Any]) -> None:
        said = line.said
        planned.does, planned.facts = Does.NEW, facts
        self._to_drawer(planned, said.get("drawer"), "")
        quantity = said.get("quantity")
        if isinstance(quantity, str):
            planned.level = quantity
        elif quantity:
            planned.quantity, planned.comes_in = quantity, True
        planned.cost = said.get("cost", Decimal(0))
        part = Part(**facts)
        described = ", ".join(said_of(part))
        planned.words.insert(0, f"a new {part.get_kind_display()}{': ' if described else ''}{described}")
        if planned.level:
            planned.words.append(f"not counted: {planned.level}")
        elif planned.quantity:
            at = f" at {shown(planned.cost)} each" if planned.cost else ", cost not said"
            planned.words.append(f"{planned.quantity:,} come in{at}")
        for name, label in (("price", "price of one"), ("keep", "reorder at")):
            if name in facts:
                planned.words.append(f"{label}: {shown(facts[name])}")

    def _change(self, planned: Planned, part: Part, line: PartLine, facts: dict[str, Any]) -> None:
        for name, value in facts.items():
            before = getattr(part, name)
            if not _is_same(before, value):
                planned.facts[name] = value
                label = str(Part._meta.get_field(name).verbose_name).split(",")[0]
                kind = facts.get("kind", part.kind)
                planned.words.append(
                    f"{label}: {as_text(name, before, part.kind) or 'nothing'} → {as_text(name, value, kind)}"
                )
        if not part.is_in_use:
            planned.facts["is_in_use"] = True
            planned.words.append("back in use")
        there = self.drawers.get(part.drawer_id, "")
        self._to_drawer(planned, line.said.get("drawer"), there)
        if not self._count(planned, part, line.said.get("quantity")):
            return
        if planned.words:
            planned.does = Does.CHANGE
        else:
            planned.words = ["stands there already"]
        cost = line.said.get("cost")
        if cost is not None and planned.quantity and not part.quantity:
            planned.cost, planned.comes_in = cost, True
            planned.words.append(f"come in at {shown(cost)} each")
        elif cost is not None and cost != part.cost:
            planned.words.append("its cost stays: that comes from what is received")

    def _count(self, planned: Planned, part: Part, said: int | str | None) -> bool:
        """What the line says of how many there are. Say whether it can be."""
        if said is None:
            return True
        if isinstance(said, str) != part.is_loose:
            _unread(
                planned,
                [
                    "It isn't counted: say plenty, low or out."
                    if part.is_loose
                    else f"It is counted: “{said}” is no number."
                ],
            )
            return False
        if isinstance(said, str):
            if said != part.level:
                planned.level = said
                planned.words.append(f"there is: {part.level} → {said}")
        elif said != part.quantity:
            planned.quantity = said
            planned.words.append(f"how many: {part.quantity:,} → {said:,}")
        return True

    def _to_drawer(self, planned: Planned, code: str | None, there: str) -> None:
        if not code or same(code) == same(there):
            return
        drawer = self.by_code.get(same(code))
        planned.drawer = drawer.code if drawer else code.upper()  # as it stands on a label
        planned.drawer_is_new = drawer is None
        new = " (a new drawer)" if planned.drawer_is_new else ""
        planned.words.append(
            f"drawer: {there} → {planned.drawer}{new}" if there else f"drawer {planned.drawer}{new}"
        )


def _unread(planned: Planned, wrong: list[str]) -> Planned:
    planned.does, planned.words = Does.UNREAD, list(wrong)
    return planned


def _is_same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= 1e-5 * max(abs(one), abs(other))  # six digits are written
    return one == other


def as_text(name: str, value: Any, kind: str) -> str:
    """A column's value as people write it."""
    if value is None or value == "":
        return ""
    if name == "kind":
        return Kind(value).label
    if isinstance(value, bool):
        return "yes" if value else "no"
    unit = unit_of(kind, name)
    return in_words(value, unit) if unit and isinstance(value, float) else shown(value)


def shown(value: Any) -> str:
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value)


# --- Doing it ------------------------------------------------------------------------------------------------


@transaction.atomic
def read_in(name: str, lines: Iterable[PartLine], *, seal: str, by: Staff) -> Import:
    """Do what the plan says that was looked at; lines that can't be read are left out.

    Raises:
        ChangedMeanwhile: a line would do something else now.
        NotAllowedYet: it would do nothing.
    """
    now = plan(lines, hold=True)
    if now.seal != seal:
        raise ChangedMeanwhile("The stock changed while you looked. Look at it again, please.")
    todo = [each for each in now.lines if each.does in (Does.NEW, Does.CHANGE)]
    if not todo:
        raise NotAllowedYet("No line of the file does anything.")
    file = Import.objects.create(name=name, by=by)
    drawers = {same(drawer.code): drawer for drawer in Drawer.objects.all()}
    ImportLine.objects.bulk_create([_do(each, file, drawers, by) for each in todo])
    timeline.write(
        file,
        by=by,
        words=f"read in {name}",
        after={"new": now.new, "changed": now.changed, "left out": now.unread or ""},
    )
    return file


def _do(each: Planned, file: Import, drawers: dict[str, Drawer], by: Staff) -> ImportLine:
    before: dict[str, Any] = {}
    facts = dict(each.facts)
    if each.drawer is not None:
        drawer = drawers.get(same(each.drawer))
        if drawer is None:
            drawer = parts.new_drawer(facts={"code": each.drawer}, by=by)
            drawers[same(each.drawer)] = drawer
            before["new drawer"] = drawer.code
        facts["drawer"] = drawer
    part = each.part or Part(is_loose=bool(each.level), level=each.level or "")
    told_before: dict[str, str] = {}
    told_after: dict[str, str] = {}
    was: dict[str, Any] = {}
    for name, value in facts.items():
        label = str(Part._meta.get_field(name).verbose_name).split(",")[0]
        if each.part is not None:
            was[name] = [_kept(getattr(part, name)), _kept(value)]
            told_before[label] = as_text(name, getattr(part, name), part.kind)
        told_after[label] = as_text(name, value, facts.get("kind", part.kind))
    for name, value in facts.items():
        setattr(part, name, value)
    if each.part is None:
        part.save()
    elif facts:
        part.revision += 1
        part.save(update_fields=[*facts, "revision"])
    words = f"read in from {file.name}, line {each.line}"
    move = None
    if each.comes_in:
        move = stock.receive(part, quantity=each.quantity, cost_each=each.cost, by=by, words=words)
    elif each.quantity is not None:
        move = stock.count(part, counted=each.quantity, by=by, words=words)
    elif each.part is not None and each.level:
        was["level"] = [part.level, each.level]
        stock.set_level(part, each.level, by=by)
    if facts:
        timeline.write(part, by=by, words=words, before=told_before, after=told_after)
    return ImportLine(
        file=file,
        line=each.line,
        part=part,
        made=each.part is None,
        before={**before, "facts": was, "words": each.words},
        move=move,
    )


def _kept(value: Any) -> Any:
    """A value as JSON holds it."""
    if isinstance(value, Drawer):
        return value.pk
    return str(value.normalize()) if isinstance(value, Decimal) else value


# --- Undoing it ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Undone:
    """What undoing a file came to: how many lines were put back, and which stay as they are, with the reason."""

    back: int
    stay: tuple[tuple[int, str], ...]


@transaction.atomic
def undo(file: Import, *, by: Staff) -> Undone:
    """Put back what a file did, line by line. What somebody touched since stays as it is, and is said.

    A part that the file made is taken off the list; where it has moves it is put out of use, because moves stay.

    Raises:
        NotAllowedYet: it was undone already.
    """
    file = Import.objects.select_for_update().get(pk=file.pk)
    if file.undone_at is not None:
        raise NotAllowedYet("This file was undone already.")
    lines = list(file.lines.select_related("move").order_by("-line"))
    touched = {
        part.pk: part
        for part in Part.objects.select_for_update()
        .filter(pk__in=[line.part_id for line in lines])
        .order_by("pk")
    }
    last = dict(
        Move.objects.filter(part__in=touched).order_by().values_list("part").annotate(last=Max("pk"))
    )  # the last move of each part
    back, stay = 0, []
    for line in lines:
        part = touched.get(line.part_id)
        why = _in_the_way(line, part, last.get(line.part_id))
        if why is None:
            try:
                with transaction.atomic():
                    _put_back(line, part, file, by)
            except ProtectedError:
                why = "something else needs it meanwhile"
            except Refused as refusal:
                why = str(refusal)
        if why is None:
            back += 1
        else:
            stay.append((line.line, why))
    _drop_drawers(lines)
    file.undone_at, file.undone_by = timezone.now(), by
    file.save(update_fields=["undone_at", "undone_by"])
    stay.reverse()
    timeline.write(
        file,
        by=by,
        words=f"undid {file.name}",
        after={"put back": back, **{f"line {number} stays": why for number, why in stay[:40]}},
    )
    return Undone(back, tuple(stay))


def _in_the_way(line: ImportLine, part: Part | None, last_move: int | None) -> str | None:
    """Why a line can't be put back: somebody touched its part since."""
    if part is None:
        return "the part is gone"
    if last_move is not None and last_move != line.move_id and (line.move_id or line.made):
        return "parts came or went since"
    for name, (_, after) in line.before.get("facts", {}).items():
        if _now(part, name) != after:
            label = str(Part._meta.get_field(name).verbose_name).split(",")[0]
            return f"somebody changed “{label}” since"
    if line.made and (part.revision or part.photo or part.offers.exists()):
        return "somebody changed the part since"
    return None


def _now(part: Part, name: str) -> Any:
    return part.drawer_id if name == "drawer" else _kept(getattr(part, name))


def _put_back(line: ImportLine, part: Part, file: Import, by: Staff) -> None:
    words = f"undid {file.name}, line {line.line}"
    if line.move is not None:
        stock.undo(line.move, by=by, words=words)
    if line.made and line.move is None:
        line.part = None
        line.save(update_fields=["part"])
        part.delete()
        return
    facts = {name: before for name, (before, _) in line.before.get("facts", {}).items()}
    if line.made:
        facts = {"is_in_use": False}
    if not facts:
        return
    for name, value in facts.items():
        if name == "drawer":
            part.drawer_id = value
        else:
            setattr(part, name, Part._meta.get_field(name).to_python(value))
    part.revision += 1
    part.save(update_fields=[*facts, "revision"])
    timeline.write(part, by=by, words=words)


def _drop_drawers(lines: list[ImportLine]) -> None:
    """Take away the drawers that the file made and in which nothing is."""
    for code in filter(None, (line.before.get("new drawer") for line in lines)):
        try:
            with transaction.atomic():
                Drawer.objects.filter(code=code, parts=None).delete()
        except ProtectedError:
            continue
