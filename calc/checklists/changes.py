"""What became different from one version of a list to another, in words."""

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher

from calc.checklists.lines import Checklist, Line
from calc.checklists.wording import STAGES, asks_words, gear_words, wait_words


@dataclass(frozen=True)
class Change:
    """One thing that became different, what it said before and what after. Empty: it wasn’t there, or isn’t."""

    what: str
    before: str
    after: str


def changes(was: Checklist, now: Checklist) -> tuple[Change, ...]:
    """Everything in which a list differs from what it was: itself first, then its lines from the top."""
    return (*_of_itself(was, now), *_of_its_lines(was, now))


def _of_itself(was: Checklist, now: Checklist) -> Iterator[Change]:
    yield from _differing(
        ("Name", was.name, now.name),
        ("What it is for", was.said, now.said),
        ("Where in the work", STAGES[was.stage], STAGES[now.stage]),
        ("For which gear", gear_words(was.applies), gear_words(now.applies)),
        ("In use", "out of use" if was.retired else "in use", "out of use" if now.retired else "in use"),
    )


def _of_its_lines(was: Checklist, now: Checklist) -> Iterator[Change]:
    before, after = {line.key: line for line in was.lines}, {line.key: line for line in now.lines}
    moved = _moved([key for key in before if key in after], [key for key in after if key in before])
    for key, line in after.items():
        if key not in before:
            yield Change("A line more", "", line.text)
            continue
        old = before[key]
        if key in moved:
            yield Change(
                f"“{line.text}” stands elsewhere", f"line {_place(was, key)}", f"line {_place(now, key)}"
            )
        yield from _differing(
            (f"“{old.text}”", old.text, line.text),
            (f"“{line.text}”: why", old.why, line.why),
            (f"“{line.text}”: source", old.source, line.source),
            (f"“{line.text}”: where it isn’t right", old.if_not, line.if_not),
            (f"“{line.text}”: how it asks", _asks(old), _asks(line)),
            (f"“{line.text}”: limit", _limit(old, was), _limit(line, now)),
            (f"“{line.text}”: wait", wait_words(old, was.lines), wait_words(line, now.lines)),
            (f"“{line.text}”: may not be on the gear", _yes(old), _yes(line)),
        )
    for key, line in before.items():
        if key not in after:
            yield Change("A line less", line.text, "")


def _differing(*all_of_them: tuple[str, str, str]) -> Iterator[Change]:
    for what, before, after in all_of_them:
        if before != after:
            yield Change(what, before, after)


def _moved(before: list[str], after: list[str]) -> set[str]:
    """The keys that stand elsewhere: those that aren't in the longest order that both have."""
    blocks = SequenceMatcher(a=before, b=after, autojunk=False).get_matching_blocks()
    stayed = {key for block in blocks for key in before[block.a : block.a + block.size]}
    return set(after) - stayed


def _place(checklist: Checklist, key: str) -> int:
    return [line.key for line in checklist.lines].index(key) + 1


def _asks(line: Line) -> str:
    return f"{asks_words(line)}: {line.point}" if line.point else asks_words(line)


def _limit(line: Line, checklist: Checklist) -> str:
    if not line.drift_of or line.drift_of not in {each.key for each in checklist.lines}:
        return line.limit
    return f"{line.limit} (“{checklist.line(line.drift_of).text}”)"


def _yes(line: Line) -> str:
    return "yes" if line.may_not_apply else "no"
