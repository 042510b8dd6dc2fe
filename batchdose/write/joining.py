"""Printed parts of one sheet to one PDF: pages, tags, bookmarks and page numbers, as if it had been printed whole.

Every part is taken apart where its objects are still at hand (`take`), in the process that printed it, and put
together by numbering its objects anew (`join`). A library that reads finished PDFs would do the same, but takes longer
to read and copy the tag tree of a part than WeasyPrint takes to print it. Terms and clauses are those of ISO 32000-1:
structure tree 14.7, parent tree 14.7.4.4, outlines 12.3.3, form XObjects 8.10, artifacts 14.8.2.2.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import pydyf

#: Pixels of CSS to points of PDF.
_POINTS = 0.75
#: A text in brackets, which is left as it is, or a reference to an object.
_REFERENCE = re.compile(rb"\((?:[^\\()]|\\.)*\)|\b(\d+) 0 R\b")
#: Names that table cells call their headings by: the number of the table comes first.
_CELL_NAME = re.compile(rb"\((\d+)(-\d+-\d+)\)")
_KEPT = ("Lang", "ViewerPreferences", "MarkInfo", "Metadata")


@dataclass(frozen=True)
class PrintedPage:
    """One page: its object without what depends on the whole, its content, its tagged texts, its size [points]."""

    number: int
    entries: bytes
    content: int
    tagged: list[bytes]
    height: float
    bookmarks: list[tuple[int, str, float, float]]


@dataclass(frozen=True)
class Piece:
    """One printed part: its objects as (bytes, whether they may be packed), by number, and what holds them together.

    `document` is the number of the top of its tag tree and `kids` what stands below; `forms` that of its list of form
    XObjects; `catalog` and `info` are entries of the whole that every part repeats.
    """

    objects: list[tuple[bytes, bool]]
    pages: list[PrintedPage]
    document: int
    kids: list[bytes]
    forms: int
    catalog: dict[str, bytes]
    info: bytes


class Raw(pydyf.Object):  # type: ignore[misc] # pydyf has no types
    """A finished object."""

    def __init__(self, data: bytes, *, packed: bool = True) -> None:
        super().__init__()
        self._data, self._packed = data, packed

    @property
    def data(self) -> bytes:
        """The bytes of the object."""
        return self._data

    @property
    def compressible(self) -> bool:
        """Whether it may stand in an object stream."""
        return self._packed


def take(document: Any, pdf: pydyf.PDF) -> Piece:
    """A printed WeasyPrint document as a piece; afterwards `pdf` is empty."""
    top, mapped = _tag_tree(pdf)
    found = [_object(pdf, reference) for reference in pdf.page_references]
    resources = _object(pdf, found[0]["Resources"])
    forms = pydyf.Dictionary(resources["XObject"])
    pdf.add_object(forms)
    resources["XObject"] = forms.reference
    pages = [
        _page(entries, page, tagged) for entries, page, tagged in zip(found, document.pages, mapped, strict=True)
    ]  # fmt: skip
    dropped = {0, pdf.pages.number, pdf.catalog.number, *(page.number for page in pages)}
    if top is not None:
        root = _object(pdf, pdf.catalog["StructTreeRoot"])
        dropped |= {root.number, top.number, _number(root["ParentTree"])}
    piece = Piece(
        [(b"null", True) if at in dropped else (item.data, item.compressible) for at, item in enumerate(pdf.objects)],
        pages, top.number if top is not None else 0, list(top["K"]) if top is not None else [], forms.number,
        {name: pydyf.Dictionary({"": pdf.catalog[name]}).data[4:-2] for name in _KEPT if name in pdf.catalog},
        pdf.info.data,
    )  # fmt: skip
    del pdf.objects[1:]
    return piece


def _tag_tree(pdf: pydyf.PDF) -> tuple[Any, list[list[bytes]]]:
    """The top element of the tags, and the elements of each page's tagged texts; nothing where there are no tags."""
    if "StructTreeRoot" not in pdf.catalog:
        return None, [[] for _ in pdf.page_references]
    root = _object(pdf, pdf.catalog["StructTreeRoot"])
    numbers = _object(pdf, root["ParentTree"])["Nums"]
    return _object(pdf, root["K"][0]), [list(elements) for elements in numbers[1::2]]


def _page(entries: Any, page: Any, tagged: list[bytes]) -> PrintedPage:
    content = _number(entries.pop("Contents"))
    for name in ("Parent", "StructParents"):
        entries.pop(name, None)
    marks = [
        (level, label, x * _POINTS, (page.height - y) * _POINTS) for level, label, (x, y), _ in page.bookmarks
    ]  # fmt: skip
    return PrintedPage(entries.number, entries.data[2:-2], content, tagged, page.height * _POINTS, marks)


def _object(pdf: pydyf.PDF, reference: bytes) -> Any:
    return pdf.objects[_number(reference)]


def _number(reference: bytes) -> int:
    return int(reference.split()[0])


def page_numbers(document: Any, pdf: pydyf.PDF) -> Piece:
    """Pages that hold nothing but their number as a piece whose contents are form XObjects."""
    for page, reference in zip(document.pages, pdf.page_references, strict=True):
        entries = _object(pdf, reference)
        content = _object(pdf, entries["Contents"])
        content.extra = {
            "Type": "/XObject", "Subtype": "/Form", "Resources": entries["Resources"],
            "BBox": pydyf.Array([0, 0, page.width * _POINTS, page.height * _POINTS]),
        }  # fmt: skip
    return take(document, pdf)


class _Whole:
    """The joined PDF while it grows."""

    def __init__(self) -> None:
        self.pdf = pydyf.PDF()
        self.root = pydyf.Dictionary({"Type": "/StructTreeRoot"})
        self.document = pydyf.Dictionary({"Type": "/StructElem", "S": "/Document"})
        self.parents = pydyf.Dictionary()
        # Before each page's content, so that what it does to the coordinates ends with it.
        self.saved = pydyf.Stream([b"q"])
        for item in (self.root, self.document, self.parents, self.saved):
            self.pdf.add_object(item)
        self.kids: list[bytes] = []
        self.tagged: list[bytes] = []
        self.bookmarks: list[tuple[int, str, bytes]] = []

    def add(self, piece: Piece) -> int:
        """Take in the objects of a piece, and say by how much their numbers grew."""
        base = len(self.pdf.objects)
        for data, packed in piece.objects:
            self.pdf.add_object(Raw(self.anew(data, base, piece.document), packed=packed))
        return base

    def anew(self, data: bytes, base: int, document: int) -> bytes:
        """The bytes of an object with its references numbered anew; a stream's content stays as it is."""
        head, stream, content = data.partition(b"\nstream\n") if b"\nstream\n" in data else (data, b"", b"")

        def reference(found: re.Match[bytes]) -> bytes:
            if found[1] is None:
                return found[0]
            number = int(found[1])
            return self.document.reference if number == document else b"%d 0 R" % (number + base)

        head = _REFERENCE.sub(reference, head)
        if b"/S /T" in head:
            head = _CELL_NAME.sub(lambda found: b"(%d%b)" % (int(found[1]) + base, found[2]), head)
        return head + stream + content


def join(pieces: Iterable[Piece], numbers: Piece, identifier: bytes) -> bytes:
    """The PDF of all pieces, in their order, with a page number on every page."""
    whole = _Whole()
    number_base = whole.add(numbers)
    count = 0
    catalog: dict[str, bytes] = {}
    for piece in pieces:
        base = whole.add(piece)
        forms = whole.pdf.objects[base + piece.forms].data[2:-2]
        for page in piece.pages:
            form = b"%d 0 R" % (number_base + numbers.pages[count].content)
            forms += b"/N%d %b" % (count, form)
            _add_page(whole, piece, page, base, count)
            count += 1
        whole.pdf.objects[base + piece.forms] = _numbered(Raw(b"<<" + forms + b">>"), base + piece.forms)
        whole.kids += [whole.anew(kid, base, piece.document) for kid in piece.kids]
        if not catalog:
            catalog = {name: whole.anew(value, base, piece.document) for name, value in piece.catalog.items()}
            info = piece.info
    _finish(whole, catalog, count)
    whole.pdf.info = Raw(info)
    output = BytesIO()
    whole.pdf.write(output, "1.7", identifier, compress=True)
    return output.getvalue()


def _numbered(item: Raw, number: int) -> Raw:
    item.number = number
    return item


def _add_page(whole: _Whole, piece: Piece, page: PrintedPage, base: int, at: int) -> None:
    """A page with its number laid over it; the number is an artifact, as everything in the margins."""
    overlay = pydyf.Stream([b"Q /Artifact BMC q /N%d Do Q EMC" % at])
    whole.pdf.add_object(overlay)
    entries = whole.anew(page.entries, base, piece.document)
    entries += b"/Contents [%b %d 0 R %b]/StructParents %d/Parent %b" % (
        whole.saved.reference, base + page.content, overlay.reference, at, whole.pdf.pages.reference
    )  # fmt: skip
    number = base + page.number
    whole.pdf.objects[number] = _numbered(Raw(b"<<" + entries + b">>"), number)
    whole.pdf.pages["Count"] += 1
    whole.pdf.pages["Kids"].extend([number, 0, "R"])
    whole.tagged.append(b" ".join(whole.anew(element, base, piece.document) for element in page.tagged))
    whole.bookmarks += [
        (level, label, b"[%d 0 R /XYZ %.2f %.2f 0]" % (number, x, y)) for level, label, x, y in page.bookmarks
    ]


def _finish(whole: _Whole, catalog: dict[str, bytes], pages: int) -> None:
    """The tag tree, the outline and the catalogue of the whole."""
    whole.document |= {"P": whole.root.reference, "K": b"[" + b" ".join(whole.kids) + b"]"}
    nums = b"".join(b"%d [%b]" % (at, elements) for at, elements in enumerate(whole.tagged))
    whole.parents["Nums"] = b"[" + nums + b"]"
    whole.root |= {
        "K": b"[" + whole.document.reference + b"]", "ParentTree": whole.parents.reference, "ParentTreeNextKey": pages,
    }  # fmt: skip
    whole.pdf.catalog |= catalog
    whole.pdf.catalog["StructTreeRoot"] = whole.root.reference
    if whole.bookmarks:
        whole.pdf.catalog["Outlines"] = _outline(whole.pdf, whole.bookmarks)


def _outline(pdf: pydyf.PDF, bookmarks: Sequence[tuple[int, str, bytes]]) -> bytes:
    """The outline, all of it open; gives its reference."""
    root = pydyf.Dictionary({"Type": "/Outlines"})
    pdf.add_object(root)
    above: list[tuple[int, Any]] = [(0, root)]
    for level, label, place in bookmarks:
        item = pydyf.Dictionary({"Title": pydyf.String(label), "Dest": place})
        pdf.add_object(item)
        while above[-1][0] >= level:
            above.pop()
        parent = above[-1][1]
        item["Parent"] = parent.reference
        if "Last" in parent:
            before = pdf.objects[_number(parent["Last"])]
            before["Next"], item["Prev"] = item.reference, before.reference
        else:
            parent["First"] = item.reference
        parent["Last"] = item.reference
        for _, one in above:
            one["Count"] = one.get("Count", 0) + 1
        above.append((level, item))
    return bytes(root.reference)
