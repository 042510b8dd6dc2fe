"""The workbook part: sheets in order, defined names, the marks by which what is ours is found again.

Clauses are those of ECMA-376 part 1: sheets 18.2.19 and 18.2.20, defined names 18.2.5 and 18.2.6.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from batchdose.findings import column_letter
from batchdose.write.package import Package
from batchdose.write.ranges import area
from batchdose.write.xmltext import Element, attribute, escape

#: Hidden names of one sheet: what kind of result sheet it is, and which of its columns hold results. Every column
#: is named by itself, so that a column which the user puts between ours does not become ours.
RESULTS, COLUMNS = "_batchdose_results", "_batchdose_columns"
_COLUMNS_IN_A_NAME = 100  # a formula has at most 8,192 characters
_FILTER = "_xlnm._FilterDatabase"

_WORKSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_LONGEST_NAME = 31
_RESERVED = "history"  # a sheet may not have this name in any case

#: What stands before the defined names in the workbook part (CT_Workbook, clause 18.2.27).
_BEFORE_NAMES = ("sheets", "functionGroups", "externalReferences")


@dataclass(frozen=True)
class SheetEntry:
    """One sheet of the workbook; `part` is None for what is no part of this package."""

    index: int
    name: str
    part: str | None
    state: str = ""


class BookPart:
    """The workbook part of a package, and the edits to it."""

    def __init__(self, package: Package) -> None:
        self._package = package
        self.xml = package.xml(package.workbook, "workbook")
        self._id = _identifier_attribute(self.xml.text)
        self.sheets = [
            SheetEntry(
                index, attribute(found.tag, "name") or "",
                package.related(package.workbook, attribute(found.tag, self._id) or ""),
                attribute(found.tag, "state") or "",
            )
            for index, found in enumerate(self.xml.elements("sheet", self.xml.element("sheets")))
        ]  # fmt: skip
        self._names = list(self.xml.elements("definedName"))
        self._new_names: list[str] = []
        self._new_sheets: list[str] = []

    @property
    def from_1904(self) -> bool:
        """Whether days are counted from 1904 (clause 18.17.4.1)."""
        properties = self.xml.element("workbookPr")
        return properties is not None and attribute(properties.tag, "date1904") in ("1", "true", "on")

    def sheet(self, name: str) -> SheetEntry | None:
        """The sheet of that name."""
        return next((sheet for sheet in self.sheets if sheet.name == name and sheet.part), None)

    def own_columns(self, index: int) -> list[int]:
        """Columns of a sheet that an earlier run marked as holding results, from 1."""
        found: list[int] = []
        for name in self._names:
            if (attribute(name.tag, "name") or "").startswith(COLUMNS) and _is_of(name, index):
                found += _columns_named(self._text(name))
        return found

    def mark_columns(self, index: int, columns: Sequence[int]) -> None:
        """Mark columns of a sheet as holding results, and no others."""
        sheet = "'" + self.sheets[index].name.replace("'", "''") + "'"
        marks = {}
        for at in range(0, len(columns), _COLUMNS_IN_A_NAME):
            letters = [column_letter(column - 1) for column in columns[at : at + _COLUMNS_IN_A_NAME]]
            suffix = f"_{at // _COLUMNS_IN_A_NAME + 1}" if at else ""
            marks[COLUMNS + suffix] = ",".join(f"{sheet}!${letter}:${letter}" for letter in letters)
        for name in self._names:
            known = attribute(name.tag, "name") or ""
            if known.startswith(COLUMNS) and _is_of(name, index):
                if known in marks:
                    self.xml.replace(name.inside, name.close, escape(marks.pop(known)).encode("utf-8"))
                else:
                    self.xml.replace(name.start, name.end, b"")
        for known, text in marks.items():
            self._add_name(known, index, text)

    def own_sheets(self) -> dict[str, SheetEntry]:
        """Result sheets of an earlier run by their kind, wherever they stand and whatever they are called now."""
        found: dict[str, SheetEntry] = {}
        for name in self._names:
            index = attribute(name.tag, "localSheetId")
            if attribute(name.tag, "name") == RESULTS and index and index.isdigit() and int(index) < len(self.sheets):
                sheet = self.sheets[int(index)]
                if sheet.part:
                    found.setdefault(self._text(name).strip('"'), sheet)
        return found

    def add_sheet(self, kind: str, content: bytes, state: str = "") -> None:
        """Add a result sheet behind all others, so that numbers of sheets in defined names hold.

        `state` is that of clause 18.18.68: `veryHidden`, or nothing for a sheet that is seen.
        """
        folder = posixpath.join(posixpath.dirname(self._package.workbook), "worksheets")
        taken = {name.casefold() for name in self._package.names()}
        number = 1
        while f"{folder}/sheet{number}.xml".casefold() in taken:
            number += 1
        part = f"{folder}/sheet{number}.xml"
        self._package.add_part(part, content, _WORKSHEET)
        relation = self._package.relate(self._package.workbook, "worksheet", part)
        entry = SheetEntry(len(self.sheets), self._free_name(kind), part)
        self.sheets.append(entry)
        prefix = self._id.removesuffix(":id")
        declared = (
            "" if f"xmlns:{prefix}=".encode() in self.xml.need("workbook").tag else f' xmlns:{prefix}="{_RELATIONS}"'
        )
        state = f' state="{state}"' if state else ""
        self._new_sheets.append(
            f'<{{}}sheet name="{escape(entry.name)}" sheetId="{self._next_id()}"{state}{declared} '
            f'{self._id}="{relation}"/>'
        )
        self._add_name(RESULTS, entry.index, f'"{kind}"')

    def grow_filter(self, index: int, ref: str) -> None:
        """Let the hidden name that a filter has say the filter's new range."""
        for name in self._names:
            if attribute(name.tag, "name") == _FILTER and _is_of(name, index):
                sheet, mark, _ = self._text(name).rpartition("!")
                first, _, last = ref.partition(":")
                dollars = ":".join(re.sub(r"([A-Z]+)(\d+)", r"$\1$\2", corner) for corner in (first, last))
                self.xml.replace(name.inside, name.close, escape(f"{sheet}{mark}{dollars}").encode("utf-8"))

    def calculate_on_load(self) -> None:
        """Have formulas worked out anew when a program opens the workbook (clause 18.2.2)."""
        if calculation := self.xml.element("calcPr"):
            self.xml.set_attribute(calculation, "fullCalcOnLoad", "1")
        else:
            self._add_after(("definedNames", *_BEFORE_NAMES), '<{}calcPr fullCalcOnLoad="1"/>')

    def store(self) -> None:
        """Put the edits into the package."""
        if self._new_sheets:
            self.xml.add_last("sheets", "".join(self._new_sheets))
        if self._new_names:
            names = "".join(self._new_names)
            if there := self.xml.element("definedNames"):
                self.xml.add_inside(there, "definedNames", names)
            else:
                self._add_after(_BEFORE_NAMES, f"<{{}}definedNames>{names}</{{}}definedNames>")
        if self.xml.edits:
            self._package.put(self._package.workbook, self.xml.data())
            self._package.xml(self._package.workbook, "workbook")  # still well-formed

    def _text(self, name: Element) -> str:
        return re.sub(r"&(lt|gt|amp|quot|apos);", _unescaped, self.xml.content(name).decode("utf-8"))

    def _add_name(self, name: str, index: int, text: str) -> None:
        self._new_names.append(
            f'<{{}}definedName name="{name}" localSheetId="{index}" hidden="1">{escape(text)}</{{}}definedName>'
        )

    def _add_after(self, names: Iterable[str], markup: str) -> None:
        """Add an element behind the last of these that is there; `sheets` always is."""
        at = max(found.end for name in names if (found := self.xml.element(name)))
        self.xml.replace(at, at, self.xml.markup(markup))

    def _next_id(self) -> int:
        known = (attribute(found.tag, "sheetId") or "0" for found in self.xml.elements("sheet"))
        return max((int(text) for text in known if text.isdigit()), default=0) + len(self._new_sheets) + 1

    def _free_name(self, wanted: str) -> str:
        """The name, or the name with a number behind it: sheets differ whatever their case."""
        taken = {sheet.name.casefold() for sheet in self.sheets} | {_RESERVED}
        name, number = wanted[:_LONGEST_NAME], 2
        while name.casefold() in taken:
            suffix = f" ({number})"
            name, number = wanted[: _LONGEST_NAME - len(suffix)] + suffix, number + 1
        return name


def _unescaped(found: re.Match[str]) -> str:
    return {"lt": "<", "gt": ">", "amp": "&", "quot": '"', "apos": "'"}[found[1]]


def _is_of(name: Element, index: int) -> bool:
    return attribute(name.tag, "localSheetId") == str(index)


def _columns_named(text: str) -> list[int]:
    """Columns in a list of ranges, however the program that saved them last writes whole columns.

    >>> _columns_named("'Ewes, lambs'!$D:$D,'Ewes, lambs'!$F$1:$F$1048576,#REF!")
    [4, 6]
    """
    bare = re.sub(r"'(?:[^']|'')*'", "", text)
    found: list[int] = []
    for part in bare.split(","):
        place = part.rpartition("!")[2].strip()
        if re.fullmatch(r"\$?[A-Z]{1,3}(\$?\d+)?(:\$?[A-Z]{1,3}(\$?\d+)?)?", place):
            _, left, _, right = area(place)
            found += range(left, right + 1)
    return found


def _identifier_attribute(text: bytes) -> str:
    """Name of the attribute that holds a relation's identifier: `r:id`, or with the prefix used in this part."""
    found = re.search(rb"xmlns:([\w.-]+)\s*=\s*[\"']" + re.escape(_RELATIONS.encode()) + rb"[\"']", text)
    return f"{found[1].decode()}:id" if found else "r:id"
