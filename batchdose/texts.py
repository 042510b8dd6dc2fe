"""Sentences that can be said again in another language: every text that staff read goes through here.

A sentence is made in English by `say`, and stays an ordinary `str` in results and messages. It remembers what it was
made from, so that the job sheet can say it in the language of the staff: inside `speaking("es")`, `say` gives Spanish
at once, and `tell` says in Spanish what was made before.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache, reduce
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path
from typing import Any, Self

#: Catalogues, a folder a language, as gettext has them; English is the language of the messages themselves.
CATALOGUES = Path(__file__).parent / "locale"
ENGLISH = "en"
#: Languages of the job sheet, by their ISO 639-1 codes, each under its own name.
LANGUAGES = {ENGLISH: "English", "es": "español", "fr": "français"}
#: What people write for a language: its name in English and in itself, plain letters too.
_NAMED = {
    "english": ENGLISH, "spanish": "es", "español": "es", "espanol": "es", "castellano": "es", "castilian": "es",
    "french": "fr", "français": "fr", "francais": "fr",
}  # fmt: skip

_spoken: ContextVar[str] = ContextVar("batchdose_language", default=ENGLISH)


class Text(str):
    """A text in the language that was spoken when it was made, with what is needed to say it in another."""

    __slots__ = ("many", "message", "number", "values")
    message: str
    many: str
    number: int
    values: dict[str, Any]

    def __new__(cls, text: str, message: str, many: str = "", number: int = 1, /, **values: Any) -> Self:
        """`text` is what it reads now; `message` and `many` are the English patterns for one and for more."""
        made = super().__new__(cls, text)
        made.message, made.many, made.number, made.values = message, many, number, values
        return made

    def __reduce__(self) -> tuple[Any, ...]:
        return _restored, (type(self), str(self), self.message, self.many, self.number, self.values)

    def told(self, language: str) -> str:
        """The text in a language."""
        words = catalogue(language)
        pattern = words.ngettext(self.message, self.many, self.number) if self.many else words.gettext(self.message)
        return pattern.format(**{name: _told(value, language) for name, value in self.values.items()})


#: How a separator is set in a language where it differs: French has a space that does not break before a semicolon.
_SEPARATORS = {"fr": {"; ": "\u00a0; "}}


class Joined(Text):
    """Several texts with the same separator between them."""

    __slots__ = ()

    def told(self, language: str) -> str:
        """The parts in a language, joined."""
        separator = _SEPARATORS.get(language, {}).get(self.message, self.message)
        return separator.join(_told(part, language) for part in self.values["parts"])


class Listed(Text):
    """Several names and the last of them, with the word for `and` between."""

    __slots__ = ()

    def told(self, language: str) -> str:
        """The names in a language; Spanish says `e` instead of `y` before the sound of an i."""
        told, last = super().told(language), _told(self.values["last"], language)
        if language == "es" and re.match(r"h?i(?![aeou])", last.casefold()):
            return f"{told.removesuffix(last).removesuffix('y ')}e {last}"
        return told


class Unended(Text):
    """A text without its full stop, for the middle of a sentence."""

    __slots__ = ()

    def told(self, language: str) -> str:
        """The text in a language, without the full stop there."""
        return _told(self.values["whole"], language).rstrip(".")


class Retold(Text):
    """A text that a function makes: told in another language, it is made again there."""

    __slots__ = ()

    def told(self, language: str) -> str:
        """The text made in a language."""
        with speaking(language):
            return str(self.values["make"](*self.values["of"]))


def _restored(kind: type[Text], text: str, message: str, many: str, number: int, values: dict[str, Any]) -> Text:
    return kind(text, message, many, number, **values)


def _told(value: object, language: str) -> str:
    return value.told(language) if isinstance(value, Text) else str(value)


def language_named(text: str) -> str:
    """The code of a language by its code or its name, empty where it is none of ours; `es-MX` is `es`.

    >>> language_named("Español"), language_named("fr-CA"), language_named("Welsh")
    ('es', 'fr', '')
    """
    word = unicodedata.normalize("NFC", text).strip().casefold()
    code = re.fullmatch(r"([a-z]{2})(?:[-_][a-z]{2})?", word)
    named = _NAMED.get(word, code[1] if code else "")
    return named if named in LANGUAGES else ""


def language_spoken() -> str:
    """The language in which texts are made now."""
    return _spoken.get()


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Make and tell texts in a language, one of `LANGUAGES`, until the end of the block."""
    token = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(token)


def say(message: str, /, **values: Any) -> Text:
    """A sentence in the language spoken; `{name}` in it stands for a value, itself perhaps a text.

    >>> say("{count} of mob {mob} have no weight.", count=3, mob="Hill")
    '3 of mob Hill have no weight.'
    """
    return _made(Text("", message, **values))


def say_many(one: str, many: str, number: int, /, **values: Any) -> Text:
    """A sentence that differs for one and for several.

    >>> say_many("{n} animal has no weight.", "{n} animals have no weight.", 2, n=2)
    '2 animals have no weight.'
    """
    return _made(Text("", one, many, number, **values))


def joined(separator: str, parts: Iterable[object]) -> Text:
    """Texts with a separator between them, set as the language has it.

    >>> joined("; ", ["one", "two"])
    'one; two'
    """
    return _made(Joined("", separator, parts=tuple(parts)))


def retold(make: Callable[..., str], *of: Any) -> Text:
    """The text that a function makes of its arguments; for texts of many parts, of which there are many."""
    return Retold(make(*of), "", make=make, of=of)


def listed(names: Iterable[object]) -> str:
    """Names joined for a sentence; at least one.

    >>> listed(["meat", "milk", "wool"])
    'meat, milk and wool'
    """
    every = list(names)
    if len(every) == 1:
        return every[0] if isinstance(every[0], str) else str(every[0])
    return _made(Listed("", mark("{first} and {last}"), first=joined(", ", every[:-1]), last=every[-1]))


def either(names: Iterable[str]) -> str:
    """Names of which one is meant; at least one.

    >>> either(["tag", "EID"])
    'tag or EID'
    """
    return reduce(lambda one, other: say("{one} or {other}", one=one, other=other), names)


def both(names: Iterable[str]) -> str:
    """Names that are all meant, with the same word between each; at least one.

    >>> both(["4", "5", "7"])
    '4 and 5 and 7'
    """
    return reduce(lambda one, other: say("{one} and {other}", one=one, other=other), names)


def a_few(names: Sequence[object], most: int = 5) -> str:
    """The first of many names.

    >>> a_few([4, 5, 7]), a_few([4, 5, 7], most=2)
    ('4, 5, 7', '4, 5 and more')
    """
    some = joined(", ", names[:most])
    return say("{some} and more", some=some) if len(names) > most else some


def unended(text: str) -> str:
    """A text without its full stop.

    >>> unended("Write it so.")
    'Write it so'
    """
    return Unended(text.rstrip("."), "", whole=text)


def of_error(error: BaseException) -> str:
    """What an error says, as the text that it was raised with."""
    return error.args[0] if error.args and isinstance(error.args[0], str) else str(error)


def tell(text: str) -> str:
    """A text in the language spoken; one that is not ours (a tag, a name) as it stands.

    >>> with speaking("es"): tell("Hill mob")
    'Hill mob'
    """
    language = _spoken.get()
    return text.told(language) if isinstance(text, Text) and language != ENGLISH else text


def mark(message: str) -> str:
    """A message that is said later, by `say(message)`; marked so that it gets into the catalogues."""
    return message


def mark_many(one: str, many: str) -> tuple[str, str]:
    """The same for a message with forms for one and for several."""
    return one, many


def _made(text: Text) -> Text:
    spoken = text.told(_spoken.get())
    return type(text)(spoken, text.message, text.many, text.number, **text.values)


@lru_cache(maxsize=8)
def catalogue(language: str) -> NullTranslations:
    """All messages of a language; of English none, since the messages are English.

    Read by Babel, which knows the plural forms; compiled in memory, so that no second file can fall behind.
    """
    if language == ENGLISH:
        return NullTranslations()
    from babel.messages.catalog import Catalog
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    every = Catalog(language)
    for path in sorted((CATALOGUES / language / "LC_MESSAGES").glob("*.po")):
        with path.open("rb") as file:
            for message in read_po(file, language):
                if message.id:
                    every.add(message.id, message.string)
    compiled = BytesIO()
    write_mo(compiled, every)
    compiled.seek(0)
    return GNUTranslations(compiled)
