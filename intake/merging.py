"""Two tablets, one thing: what each of them changed, and where they meet. Pure: texts in, texts out."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Merged:
    """`texts` is the thing with both sets of changes.

    Where both changed the same field it has mine, named in `clashes`.
    """

    texts: dict[str, str]
    clashes: tuple[str, ...]


def plain(text: str) -> str:
    """A text without what a browser does to it: its line ends, and spaces around it."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()


def merge(opened_with: Mapping[str, str], mine: Mapping[str, str], theirs: Mapping[str, str]) -> Merged:
    """Put my changes and theirs together, field by field, seen from what the form was opened with.

    A field that only one of us changed is theirs or mine without a question. A field of `mine` that isn't in
    `opened_with` counts as changed by both: nobody can tell, so a person has to look.
    """
    texts, clashes = {}, []
    for name, my_text in mine.items():
        mine_now, theirs_now = plain(my_text), plain(theirs.get(name, ""))
        before = plain(opened_with[name]) if name in opened_with else None
        if mine_now in (theirs_now, before):
            texts[name] = theirs.get(name, "")
            continue
        texts[name] = my_text
        if theirs_now != before:
            clashes.append(name)
    return Merged(texts, tuple(clashes))
