"""Names of clients and folders as names of files that every system takes.

The rules are those of Windows, the strictest: characters that a name cannot hold, names of devices, no dot or blank at
the end (Microsoft, "Naming Files, Paths, and Namespaces", from memory); and letters that differ in case alone are one
name there and on macOS.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from hashlib import sha256

_NEVER = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]+')
_DEVICES = re.compile(
    r"(?:con|prn|aux|nul|clock\$|conin\$|conout\$|(?:com|lpt)[0-9\u00b9\u00b2\u00b3])(?:\.|$)", re.IGNORECASE
)
#: Bytes of one name; file systems stop at 255, and the names of our files come behind it.
_LONGEST = 80


def safe_name(name: str) -> str:
    """A name that every system takes as that of a file or folder; a longer one is cut and marked by its hash.

    >>> safe_name("Hill / Dale: ewes. "), safe_name("con"), safe_name("..."), safe_name("Château d'Été")
    ('Hill - Dale- ewes', '_con', 'unnamed', "Château d'Été")
    """
    plain = "".join(c for c in unicodedata.normalize("NFC", name) if unicodedata.category(c)[0] != "C" or c in "\t\n")
    text = " ".join(_NEVER.sub("-", plain).split()).strip(" .")
    if len(text.encode()) > _LONGEST:
        text = _marked(text, name)
    return f"_{text}" if _DEVICES.match(text) else text or "unnamed"


def safe_names(names: Iterable[str]) -> dict[str, str]:
    """Safe names of several, by their own; those that would be one file somewhere are marked by their hashes.

    >>> safe_names(["Hill", "HILL", "Dale"])["Dale"]
    'Dale'
    >>> len(set(map(str.casefold, safe_names(["Hill", "HILL", "hill."]).values())))
    3
    """
    safe = {name: safe_name(name) for name in dict.fromkeys(names)}
    counts = Counter(_folded(text) for text in safe.values())
    return {name: _marked(text, name) if counts[_folded(text)] > 1 else text for name, text in safe.items()}


def alike(names: Iterable[str]) -> list[list[str]]:
    """Names that differ, but only in case, blanks or accents written otherwise: perhaps one client, perhaps two.

    >>> alike(["Hill", "HILL ", "Dale", "Hill"])
    [['Hill', 'HILL ']]
    """
    groups: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        groups.setdefault(_folded(" ".join(name.split())), []).append(name)
    return [group for group in groups.values() if len(group) > 1]


def _folded(text: str) -> str:
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())


def _marked(text: str, name: str) -> str:
    """A name cut to fit, with the beginning of its hash."""
    mark = sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    kept = text.encode()[: _LONGEST - len(mark) - 1].decode("utf-8", "ignore").strip(" .")
    return f"{kept}-{mark}"
