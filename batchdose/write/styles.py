"""The styles of a workbook, appended to only: every number that is in use keeps its meaning.

Clauses are those of ECMA-376 part 1; a cell's `s` is a position in `cellXfs` (clause 18.8.10).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias
from xml.etree import ElementTree

from batchdose.write.package import Package
from batchdose.write.xmltext import MAIN, CannotCopyError, Element, escape

_PART = "xl/styles.xml"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"

#: Groups of the part in the order in which they must stand (CT_Stylesheet, clause 18.8.39), with what each must
#: hold at the least: the first two fills are fixed (clause 18.8.21), and a cell style needs its format.
_GROUPS = {
    "numFmts": "",
    "fonts": '<font><sz val="11"/><name val="Calibri"/><family val="2"/></font>',
    "fills": '<fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill>',
    "borders": "<border><left/><right/><top/><bottom/><diagonal/></border>",
    "cellStyleXfs": '<xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>',
    "cellXfs": '<xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>',
    "cellStyles": '<cellStyle name="Normal" xfId="0" builtinId="0"/>',
}
_AFTER = ("dxfs", "tableStyles", "colors", "extLst")
#: Number formats that have a fixed number (clause 18.8.30); further ones are numbered from 164.
_BUILT_IN = {"General": 0, "0": 1, "0.00": 2, "@": 49}
_FIRST_OWN_FORMAT = 164

#: What makes two elements equal: name, attributes and children, whatever their prefixes.
Key: TypeAlias = tuple[str, tuple[tuple[str, str], ...], tuple["Key", ...]]


@dataclass(frozen=True)
class Look:
    """How a cell looks, as elements of the styles part without prefix; `font` holds what differs from the user's."""

    font: str = ""
    fill: str = ""
    border: str = ""
    alignment: str = ""
    protection: str = ""
    number_format: str = "General"
    quoted: bool = False


class Styles:
    """The styles part of a workbook: gives the number of a look, and appends what is missing."""

    def __init__(self, package: Package) -> None:
        self._package = package
        parts = package.relations(package.workbook, "styles")
        self._part = parts[0] if parts else _PART
        if not parts:
            package.add_part(_PART, _minimal(), _TYPE)
            package.relate(package.workbook, "styles", _PART)
        self._xml = package.xml(self._part, "styleSheet")
        root = ElementTree.fromstring(package.read(self._part))  # noqa: S314 - XmlText has refused document types
        if not all(_items(root, name) for name in ("fonts", "fills", "borders", "cellXfs")):
            raise CannotCopyError("its list of styles is incomplete")
        self._keys = {name: [_key(item) for item in _items(root, name)] for name in _GROUPS}
        self._formats = {
            item.get("formatCode", ""): int(item.get("numFmtId", "0"))
            for item in root.iterfind(f"{{{MAIN}}}numFmts/{{{MAIN}}}numFmt")
        }
        self._new: dict[str, list[str]] = {name: [] for name in _GROUPS}
        self._font = [(_local(item.tag), _markup(item)) for item in _items(root, "fonts")[0]]

    def number(self, look: Look) -> int:
        """The `s` of cells with this look, in a font that is the user's default but for what the look changes."""
        font = self._place("fonts", self._font_of(look)) if look.font else 0
        fill = self._place("fills", look.fill) if look.fill else 0
        border = self._place("borders", look.border) if look.border else 0
        inside = look.alignment + look.protection
        applied = {
            "applyNumberFormat": look.number_format != "General", "applyFont": bool(font), "applyFill": bool(fill),
            "applyBorder": bool(border), "applyAlignment": bool(look.alignment),
            "applyProtection": bool(look.protection), "quotePrefix": look.quoted,
        }  # fmt: skip
        if not any(applied.values()):
            return 0
        marks = "".join(f' {name}="1"' for name, used in applied.items() if used)
        number = self._number_format(look.number_format)
        numbers = f'numFmtId="{number}" fontId="{font}" fillId="{fill}" borderId="{border}" xfId="0"'
        return self._place("cellXfs", f"<xf {numbers}{marks}>{inside}</xf>")

    def store(self) -> None:
        """Put what is new into the package."""
        for name, items in self._new.items():
            if items:
                self._append(name, "".join(map(self._with_prefix, items)), len(self._keys[name]))
        if self._xml.edits:
            self._package.put(self._part, self._xml.data())

    def _font_of(self, look: Look) -> str:
        """The user's default font with the elements of the look before its others (CT_Font, clause 18.8.22)."""
        own = ElementTree.fromstring(f"<font>{look.font}</font>")  # noqa: S314 - our own words
        names = {item.tag for item in own}
        return f"<font>{look.font}{''.join(text for name, text in self._font if name not in names)}</font>"

    def _number_format(self, code: str) -> int:
        if code in _BUILT_IN:
            return _BUILT_IN[code]
        if code not in self._formats:
            self._formats[code] = max([_FIRST_OWN_FORMAT - 1, *self._formats.values()]) + 1
            quoted = escape(code).replace('"', "&quot;")
            self._place("numFmts", f'<numFmt numFmtId="{self._formats[code]}" formatCode="{quoted}"/>')
        return self._formats[code]

    def _place(self, group: str, markup: str) -> int:
        """Position of an element in its group; an equal one is used again, so that a second run adds nothing."""
        key = _key(ElementTree.fromstring(markup))  # noqa: S314 - our own words
        keys = self._keys[group]
        if key not in keys:
            keys.append(key)
            self._new[group].append(markup)
        return keys.index(key)

    def _append(self, name: str, markup: str, count: int) -> None:
        group = self._xml.element(name)
        if group is not None:
            self._xml.add_inside(group, name, markup)
            self._xml.set_attribute(group, "count", str(count))
            return
        tag = f"{self._xml.prefix.decode()}{name}"
        following = self._following(name)
        at = following.start if following else self._xml.marks.rfind(b"</")
        self._xml.replace(at, at, f'<{tag} count="{count}">{markup}</{tag}>'.encode())

    def _following(self, name: str) -> Element | None:
        """The first group that stands after a missing one."""
        order = [*_GROUPS, *_AFTER]
        later = order[order.index(name) + 1 :]
        return next((found for other in later if (found := self._xml.element(other))), None)

    def _with_prefix(self, markup: str) -> str:
        return _markup(ElementTree.fromstring(markup), self._xml.prefix.decode())  # noqa: S314 - our own words


def looks_of(styles: bytes) -> list[Look]:
    """The looks of a styles part that we made ourselves, in the order of `cellXfs`."""
    root = ElementTree.fromstring(styles)  # noqa: S314 - made by us
    fonts, fills, borders = (_items(root, name) for name in ("fonts", "fills", "borders"))
    codes = {item.get("numFmtId"): item.get("formatCode", "") for item in _items(root, "numFmts")}
    codes |= {str(number): code for code, number in _BUILT_IN.items()}

    def look(item: ElementTree.Element) -> Look:
        font, fill, border = (int(item.get(name, "0")) for name in ("fontId", "fillId", "borderId"))
        inside = {_local(child.tag): _markup(child) for child in item}
        return Look(
            font="".join(map(_markup, fonts[font])) if font else "", fill=_markup(fills[fill]) if fill else "",
            border=_markup(borders[border]) if border else "", alignment=inside.get("alignment", ""),
            protection=inside.get("protection", ""), number_format=codes[item.get("numFmtId", "0")],
            quoted=item.get("quotePrefix") == "1",
        )  # fmt: skip

    return [look(item) for item in _items(root, "cellXfs")]


def _minimal() -> bytes:
    """The least that makes a whole styles part."""
    groups = "".join(
        f'<{name} count="{len(ElementTree.fromstring("<g>" + markup + "</g>"))}">{markup}</{name}>'  # noqa: S314 - ours
        for name, markup in _GROUPS.items()
        if markup
    )
    head = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
    return f'{head}<styleSheet xmlns="{MAIN}">{groups}</styleSheet>'.encode()


def _items(root: ElementTree.Element, group: str) -> list[ElementTree.Element]:
    return root.findall(f"{{{MAIN}}}{group}/*")


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _key(item: ElementTree.Element) -> Key:
    attributes = ((name, value) for name, value in item.attrib.items() if not name.startswith("{"))
    return _local(item.tag), tuple(sorted(attributes)), tuple(map(_key, item))


def _markup(item: ElementTree.Element, prefix: str = "") -> str:
    """An element of the main namespace as markup with this prefix."""
    tag = f"{prefix}{_local(item.tag)}"
    marks = "".join(
        f' {name}="{escape(value).replace(chr(34), "&quot;")}"'
        for name, value in item.attrib.items()
        if not name.startswith("{")
    )
    inside = "".join(_markup(child, prefix) for child in item)
    return f"<{tag}{marks}>{inside}</{tag}>" if inside else f"<{tag}{marks}/>"
