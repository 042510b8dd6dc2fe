"""What the value reader cannot say about the sheets of an .xlsx file: errors, uncalculated formulas, formats, hiding.

The value reader shows error cells and formulas never calculated as blanks, and a blank would read as "not
weighed". Clauses are those of ECMA-376 part 1 (SpreadsheetML).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from batchdose.read.facts import DamagedPackageError, SheetFacts, format_matters
from batchdose.read.limits import check_names, check_texts
from batchdose.read.package import BROKEN, DAMAGE, check_whole, open_package, parse_part
from batchdose.read.worksheet import MAIN, scan_sheet

if TYPE_CHECKING:
    import zipfile
    from collections.abc import Iterator

_REL = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_STRICT = b"http://purl.oclc.org/ooxml/spreadsheetml/main"

#: Built-in number formats that show a percentage or a month (clause 18.8.30).
_BUILT_IN = {9: "0%", 10: "0.00%", 17: "mmm-yy"}


def scan_package(data: bytes, room: int = 1) -> dict[str, SheetFacts]:
    """Facts of every worksheet by sheet name. Raises DamagedPackageError with a sentence for the user."""
    with open_package(data, room) as package:
        try:
            sheets = list(sheet_parts(package))
            check_names([name for name, _, _ in sheets])
            styles, lengths = _formats(package), _text_lengths(package)
            facts = {name: scan_sheet(package.read(part), styles, lengths, room) for name, part, _ in sheets}
        except DAMAGE as error:
            raise DamagedPackageError(BROKEN) from error
    for name, _, concealed in sheets:
        facts[name].concealed = concealed
    return facts


def sheet_parts(package: zipfile.ZipFile) -> Iterator[tuple[str, str, bool]]:
    """Sheet names with the names of their parts, and whether they are hidden (clauses 18.2.19 and 18.2.20)."""
    names = set(package.namelist())
    if "content.xml" in names and "xl/workbook.xml" not in names:
        raise DamagedPackageError("it is an .ods workbook by its contents", "Give it the ending .ods.")
    whole = package.read("xl/workbook.xml")
    if _STRICT in whole:
        raise DamagedPackageError("it is saved as Strict Open XML", "Save it as an ordinary .xlsx workbook.")
    relations = parse_part(package.read("xl/_rels/workbook.xml.rels"))
    targets = {relation.get("Id"): (relation.get("Type", ""), relation.get("Target", "")) for relation in relations}
    for sheet in parse_part(whole).iter(f"{MAIN}sheet"):
        kind, target = targets.get(sheet.get(_REL), ("", ""))
        if kind.endswith(("/chartsheet", "/dialogsheet", "Macrosheet", "/xlMacrosheet")):
            continue
        part = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
        if part not in names:
            raise DamagedPackageError(f'its sheet "{sheet.get("name", "")}" is missing from the file')
        yield sheet.get("name", ""), part, sheet.get("state", "visible") != "visible"


def _formats(package: zipfile.ZipFile) -> dict[bytes, str]:
    """Style numbers whose number format changes what a number means (clauses 18.8.10 and 18.8.30)."""
    if "xl/styles.xml" not in package.namelist():
        return {}
    styles = parse_part(package.read("xl/styles.xml"))
    codes = _BUILT_IN | {
        int(number.get("numFmtId", "0")): number.get("formatCode", "") for number in styles.iter(f"{MAIN}numFmt")
    }
    used = (xf for group in styles.iter(f"{MAIN}cellXfs") for xf in group)
    every = {str(i).encode(): codes.get(int(xf.get("numFmtId", "0")), "") for i, xf in enumerate(used)}
    return {style: code for style, code in every.items() if format_matters(code)}


def _text_lengths(package: zipfile.ZipFile) -> list[int]:
    """Lengths of the texts that the workbook keeps for its cells (clause 18.4.8), at most: their marks count too."""
    if "xl/sharedStrings.xml" not in package.namelist():
        return []
    xml = package.read("xl/sharedStrings.xml")
    check_whole(xml)
    check_texts(xml.count(b"<si") + xml.count(b":si"))
    xml = xml[max(xml.find(b"<si"), 0) :]
    return [len(text) for text in (xml.split(b"</si>") if b"</si>" in xml else re.split(rb"</\w+:si>", xml))]
