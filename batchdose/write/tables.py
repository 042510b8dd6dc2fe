"""Tables of a sheet and its filter: where they are, and how they take in columns at their right edge.

Clauses are those of ECMA-376 part 1: tables 18.5.1, filters 18.3.2.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from batchdose.write.package import Package
from batchdose.write.ranges import area, area_text
from batchdose.write.xmltext import Element, XmlText, attribute, cell_text, escape


@dataclass(frozen=True)
class Table:
    """A table of the sheet, or the sheet's own filter."""

    top: int
    left: int
    bottom: int
    right: int
    xml: XmlText
    part: str = ""

    @property
    def corners(self) -> tuple[int, int, int, int]:
        """Top, left, bottom and right."""
        return self.top, self.left, self.bottom, self.right

    @property
    def can_grow(self) -> bool:
        """A table that is fed from elsewhere, or has no headings, keeps its columns (clause 18.5.1.2)."""
        if not self.part:
            return True
        tag = self.xml.need("table").tag
        return attribute(tag, "tableType") in (None, "worksheet") and attribute(tag, "headerRowCount") != "0"

    def names(self) -> dict[int, str]:
        """Names of a table's columns, by column."""
        columns = enumerate(self.xml.elements("tableColumn") if self.part else (), self.left)
        return {column: attribute(found.tag, "name") or "" for column, found in columns}


def table_of(package: Package, part: str) -> Table:
    """The table of a part."""
    xml = package.xml(part, "table")
    return Table(*area(attribute(xml.need("table").tag, "ref") or "A1"), xml, part)


def sheet_filter(xml: XmlText) -> Table | None:
    """The filter of the sheet itself; those in `customSheetViews` are other people's views."""
    found, views = xml.element("autoFilter"), xml.element("customSheetViews")
    if found is None or (views and found.start > views.start):
        return None
    return Table(*area(attribute(found.tag, "ref") or "A1"), xml)


def grow_table(table: Table, right: int, names: Iterable[str]) -> None:
    """Add columns to a table: its range, its filter, its order, its list of columns (clauses 18.5.1.2 to 18.5.1.4)."""
    xml = table.xml
    root, columns = xml.need("table"), xml.need("tableColumns")
    xml.set_attribute(root, "ref", area_text(table.top, table.left, table.bottom, right))
    grow_filter(table, right)
    there = list(xml.elements("tableColumn", columns))
    number = max(int(attribute(found.tag, "id") or 0) for found in there)
    added = list(names)
    markup = "".join(
        f'<{{}}tableColumn id="{number + at}" name="{_attribute_text(name)}"/>' for at, name in enumerate(added, 1)
    )
    xml.add_inside(columns, "tableColumns", markup)
    xml.set_attribute(columns, "count", str(len(there) + len(added)))


def grow_filter(table: Table, right: int) -> None:
    """Widen a filter, and the range of the last sort where it had the same right edge."""
    for name in ("autoFilter", "sortState"):
        for found in _own_elements(table, name):
            top, left, bottom, edge = area(attribute(found.tag, "ref") or "A1")
            if edge == table.right:
                table.xml.set_attribute(found, "ref", area_text(top, left, bottom, right))


def _own_elements(table: Table, name: str) -> list[Element]:
    views = table.xml.element("customSheetViews")
    return [found for found in table.xml.elements(name) if not views or found.start < views.start]


def _attribute_text(name: str) -> str:
    return escape(cell_text(name)).replace('"', "&quot;").replace("\n", "_x000a_")
