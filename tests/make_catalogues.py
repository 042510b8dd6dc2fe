"""Bring the catalogues of messages up to date: `python tests/make_catalogues.py`.

Every message that the program says is found in the sources, the templates and the tables of sentences, and put into
the catalogue of each language in `batchdose/locale`: those of the job sheet into `sheet.po`, those of the starter
workbooks into `starter.po`, all others into `findings.po`. What was translated stays translated, also where a message
moves from one file to the other. A message that is said no more stays at the end of its file, marked `#~`, until
`--tidy` throws it away.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import NamedTuple

from babel.messages.catalog import Catalog
from babel.messages.catalog import Message as Entry
from babel.messages.extract import extract
from babel.messages.pofile import read_po, write_po

from batchdose.texts import CATALOGUES, ENGLISH, LANGUAGES

ROOT = Path(__file__).resolve().parent.parent
KEYWORDS = {
    "say": None, "say_many": (1, 2), "mark": None, "mark_many": (1, 2), "say_local": None, "say_html": None,
}  # fmt: skip
#: Where the messages of the job sheet stand; those found first elsewhere are of findings.
OF_SHEET = (
    "batchdose/amounts.py",
    "batchdose/words.py",
    "batchdose/write/",
    "batchdose/data/",
    "templates/",
)
FILES = ("sheet.po", "findings.po", "starter.po")
OF_STARTER = "batchdose/starter/"
#: Columns of sentences in tables of data.
TABLES = {
    "cautions.csv": ("caution", "first_aid"), "needle_changes.csv": ("source",),
    "needle_guidance.csv": ("site", "source"), "withdrawal_minimums.csv": ("article",),
    "rules_told.csv": ("article", "state"), "needle_sizes.csv": ("colour",),
}  # fmt: skip
#: The same head in every run, so that only messages change a file.
HEAD = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n"Language: {}\\n"\n"Plural-Forms: {}\\n"\n\n'


class Message(NamedTuple):
    """A message with its form for several (or nothing), and the file where it stands."""

    one: str
    many: str
    place: str

    @property
    def id(self) -> str | tuple[str, str]:
        """The message as a catalogue names it."""
        return (self.one, self.many) if self.many else self.one


def messages() -> dict[str, Message]:
    """Every message that is said, by its first form, in the order of the sources."""
    found: dict[str, Message] = {}
    for message in (*_in_sources(), *_in_templates(), *_in_tables()):
        before = found.get(message.one)
        if before is None:
            found[message.one] = message
        elif message.many and not before.many:
            # One entry serves both: gettext finds the form for one by its name alone.
            found[message.one] = before._replace(many=message.many)
    return found


def _in_sources() -> Iterator[Message]:
    # Those of the sheet come first, so that what both say is of the sheet.
    paths = (path.relative_to(ROOT).as_posix() for path in (ROOT / "batchdose").rglob("*.py"))
    for place in sorted(paths, key=lambda place: (not place.startswith(OF_SHEET), place)):
        yield from _extracted("python", place)


def _in_templates() -> Iterator[Message]:
    for path in sorted((ROOT / "templates").glob("*.html")):
        yield from _extracted("jinja2.ext:babel_extract", path.relative_to(ROOT).as_posix())


def _extracted(method: str, place: str) -> Iterator[Message]:
    options = {"trim_blocks": "true", "lstrip_blocks": "true", "silent": "false"}
    with (ROOT / place).open("rb") as file:
        for _, message, _, _ in extract(method, file, KEYWORDS, options=options):
            one, many = message if isinstance(message, tuple) else (message, "")
            yield Message(one, many, place)


def _in_tables() -> Iterator[Message]:
    for name, columns in TABLES.items():
        text = (ROOT / "batchdose" / "data" / name).read_text(encoding="utf-8")
        for row in csv.DictReader(text.splitlines()):
            for column in columns:
                if row[column]:
                    yield Message(row[column], "", f"batchdose/data/{name}")


def file_of(message: Message) -> str:
    """The catalogue a message belongs to."""
    if message.place.startswith(OF_STARTER):
        return "starter.po"
    return "sheet.po" if message.place.startswith(OF_SHEET) else "findings.po"


def folder_of(language: str) -> Path:
    """Where the catalogues of a language are."""
    return CATALOGUES / language / "LC_MESSAGES"


def read_catalogue(language: str, name: str) -> Catalog:
    """One file of a language; empty where there is none yet."""
    path = folder_of(language) / name
    if not path.exists():
        return Catalog(language)
    with path.open("rb") as file:
        return read_po(file, language)


def is_translated(entry: Entry) -> bool:
    """Whether every form of a message is there, and none is a guess."""
    forms = entry.string if isinstance(entry.string, tuple) else (entry.string,)
    return all(form.strip() for form in forms) and not entry.fuzzy


def bring_up_to_date(language: str, *, tidy: bool = False) -> dict[str, bytes]:
    """The files of a language as they should be, by name."""
    before = {name: read_catalogue(language, name) for name in FILES}
    known = {}
    for catalogue in before.values():
        for message in (*catalogue.obsolete.values(), *catalogue):
            if message.id and any(message.string):
                known[_first(message.id)] = message.string
    said = messages()
    files = {}
    for name in FILES:
        after = Catalog(language)
        for message in said.values():
            if file_of(message) == name:
                after.add(message.id, _string(known.get(message.one), message, after), [(message.place, 1)])
        if not tidy:
            old = (*before[name].obsolete.values(), *before[name])
            after.obsolete.update((m.id, m) for m in old if m.id and _first(m.id) not in said and any(m.string))
        files[name] = _written(after)
    return files


def _first(name: str | tuple[str, ...]) -> str:
    return name if isinstance(name, str) else name[0]


def _string(known: str | tuple[str, ...] | None, message: Message, catalogue: Catalog) -> str | tuple[str, ...]:
    """What is known of a message, in as many forms as it needs now."""
    if not message.many:
        return _first(known or "")
    forms = known if isinstance(known, tuple) else ()
    return tuple(forms[at] if at < len(forms) else "" for at in range(catalogue.num_plurals))


def _written(catalogue: Catalog) -> bytes:
    file = BytesIO()
    write_po(file, catalogue, width=110, omit_header=True, include_lineno=False)
    head = HEAD.format(catalogue.locale_identifier, catalogue.plural_forms)
    return head.encode("utf-8") + file.getvalue().strip() + b"\n"


def main() -> None:
    """Bring every language up to date, and say how many messages wait for a translation."""
    for language in LANGUAGES:
        if language == ENGLISH:
            continue
        folder_of(language).mkdir(parents=True, exist_ok=True)
        for name, content in bring_up_to_date(language, tidy="--tidy" in sys.argv).items():
            (folder_of(language) / name).write_bytes(content)
            waiting = sum(not is_translated(message) for message in read_catalogue(language, name) if message.id)
            sys.stdout.write(f"{language} {name}: {waiting} to translate\n")


if __name__ == "__main__":
    main()
