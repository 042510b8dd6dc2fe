"""The package that a workbook is: a zip of XML parts. Opened only after a look at what it would unpack to."""

from __future__ import annotations

import zipfile
import zlib
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree
from xml.parsers import expat

from batchdose.read.facts import DamagedPackageError
from batchdose.read.limits import RECORD_ROOM, check_depth, check_parts, check_small_part

#: What reading a damaged package may raise.
DAMAGE = (
    zipfile.BadZipFile, zlib.error, ElementTree.ParseError, expat.ExpatError, EOFError, OSError, NotImplementedError,
    KeyError, LookupError, ValueError, OverflowError, RuntimeError,
)  # fmt: skip
BROKEN = "it is damaged or not a workbook"


def open_package(data: bytes, room: int = 1) -> zipfile.ZipFile:
    """The package, after a look at its size; `room` is how many times the limit it may be.

    Raises DamagedPackageError with a sentence for the user.
    """
    try:
        package = zipfile.ZipFile(BytesIO(data))
    except DAMAGE as error:
        raise DamagedPackageError(BROKEN) from error
    parts = package.infolist()
    check_parts([part.file_size for part in parts], room)
    if any(part.flag_bits & 1 for part in parts):
        raise DamagedPackageError("it is protected by a password")
    if len({part.filename.casefold() for part in parts}) < len(parts):
        raise DamagedPackageError("it holds two parts of one name")
    return package


def _refuse_document_type(*_: object) -> None:
    raise DamagedPackageError("it holds a document type definition, which a workbook never needs")


def check_whole(xml: bytes) -> None:
    """Raise ExpatError for a part that is no whole XML, though a lenient reader might find cells in it.

    Raises DamagedPackageError for a document type, since it can define entities without end.
    """
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = _refuse_document_type
    parser.Parse(xml, True)


def parse_part(xml: bytes) -> ElementTree.Element:
    """Parse a small part. Raises DamagedPackageError where it is not small, too deep, or has a document type."""
    check_small_part(len(xml))
    check_whole(xml)
    root = ElementTree.fromstring(xml)  # noqa: S314 - document types are refused above
    depth, level = 0, [root]
    while level:
        depth, level = depth + 1, [child for element in level for child in element]
        check_depth(depth)
    return root


def names_sheet(path: Path, name: str) -> bool:
    """Whether a workbook names a sheet, told from its workbook part alone; False for what is no workbook."""
    try:
        if not zipfile.is_zipfile(path):
            return False
        with open_package(path.read_bytes(), RECORD_ROOM) as package:
            return name.encode() in package.read("xl/workbook.xml")
    except (DamagedPackageError, *DAMAGE):
        return False
