"""Folding: how names, numbers and words are kept beside themselves so that search finds them however they are typed."""

import re
import unicodedata


def fold(*texts: str) -> str:
    """Return the words of the texts in lower case, without accents and marks: `Café Noir` is `cafe noir`."""
    joined = " ".join(t for t in texts if t)
    plain = "".join(
        c for c in unicodedata.normalize("NFKD", joined.casefold()) if not unicodedata.combining(c)
    )
    return re.sub(r"[^\w]+", " ", plain).strip()


def digits(text: str) -> str:
    """Return only the ASCII digits: `+1 (555) 010-2233` -> `15550102233`."""
    return re.sub(r"[^0-9]", "", text)
