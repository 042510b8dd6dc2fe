"""A workbook as a package of parts in a zip file: read, checked, and saved with untouched parts as they were.

Clauses are those of ECMA-376, fifth edition: part 1 for the markup, part 2 (Open Packaging Conventions) for the
package. Here and in the modules beside it their numbers are given from memory.
"""

from __future__ import annotations

import hashlib
import posixpath
import struct
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO

from batchdose.write.xmltext import CannotCopyError, XmlText, attribute

#: Parts may unpack to this many bytes; more is taken for a bomb.
LARGEST_UNPACKED = 200 * 1024 * 1024

_TYPES = "[Content_Types].xml"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_STRICT = "http://purl.oclc.org/ooxml/"
_ZIP_EPOCH = (2000, 1, 1, 0, 0, 0)  # a fixed stamp, so that the same job gives the same bytes
_LOCAL, _CENTRAL, _END = "<4s5H3L2H", "<4s6H3L5H2L", "<4s4H2LH"
_SIZES_AFTERWARDS = 0x08


@dataclass(frozen=True)
class Deflated:
    """A part that is compressed already: its stream in pieces, its check sum and its size unpacked [bytes]."""

    pieces: tuple[bytes | memoryview, ...] = ()
    crc: int = 0
    size: int = 0

    def with_more(self, content: bytes, *, last: bool, level: int = 6) -> Deflated:
        """The part with more behind it; not `last` ends at a byte, so that a further stream can follow (RFC 1951)."""
        deflate = zlib.compressobj(level, zlib.DEFLATED, -15)
        piece = deflate.compress(content) + deflate.flush(zlib.Z_FINISH if last else zlib.Z_FULL_FLUSH)
        return Deflated((*self.pieces, piece), zlib.crc32(content, self.crc), self.size + len(content))

    @property
    def length(self) -> int:
        """Bytes of the stream."""
        return sum(map(len, self.pieces))


class Package:
    """The parts of a workbook. Raises CannotCopyError, with what to do, where no sound copy can be made."""

    def __init__(self, data: bytes, largest: int = LARGEST_UNPACKED) -> None:
        """`largest` is what its parts may unpack to [bytes]."""
        self._data, self._largest = data, largest
        try:
            self._zip = zipfile.ZipFile(BytesIO(data))
        except (zipfile.BadZipFile, OSError, ValueError) as error:
            raise CannotCopyError("it is damaged, or protected by a password") from error
        self._infos = {info.filename: info for info in self._zip.infolist()}
        self._new: dict[str, bytes | Iterable[bytes] | Deflated] = {}
        self._gone: set[str] = set()
        self._check()
        self.workbook = self._workbook_part()

    def _check(self) -> None:
        infos = self._zip.infolist()
        # Part names are equal whatever their case (part 2, clause 6.2.2); of two, no program takes the same.
        if len({info.filename.casefold() for info in infos}) < len(infos):
            raise CannotCopyError("two of its parts have one name")
        if sum(info.file_size for info in infos) > self._largest:
            raise CannotCopyError(f"it unpacks to more than {self._largest // 1024**2} MB")
        if any(info.flag_bits & 1 for info in infos):
            raise CannotCopyError("it is protected by a password")
        if any(info.filename.startswith("_xmlsignatures/") for info in infos):
            raise CannotCopyError("it is signed, and the signature would no longer hold")
        if any(info.filename.startswith("xl/revisions/") for info in infos):
            raise CannotCopyError("it keeps a list of tracked changes, which the copy would not be in")

    def _workbook_part(self) -> str:
        """Name of the part that the package is about (part 2, clause 6.5; part 1, clause 12.3.23)."""
        for kind, target in self._every_relation(""):
            if kind.startswith(_STRICT):
                raise CannotCopyError("it is saved as Strict Open XML")
            if kind == f"{_RELATIONS}/officeDocument":
                return target
        raise CannotCopyError("it is damaged: it does not say which part is the workbook")

    def __contains__(self, part: str) -> bool:
        return part in self._new or (part in self._infos and part not in self._gone)

    def names(self) -> list[str]:
        """Names of all parts, in order."""
        kept = [name for name in self._infos if name not in self._gone]
        return kept + [name for name in self._new if name not in self._infos]

    def read(self, part: str) -> bytes:
        """Bytes of a part as they are now."""
        if part in self._new:
            content = self._new[part]
            if isinstance(content, Deflated):
                return zlib.decompress(b"".join(content.pieces), -15, max(content.size, 1))
            if not isinstance(content, bytes):
                content = self._new[part] = b"".join(content)
            return content
        try:
            return self._unpacked(self._infos[part])
        except (KeyError, zipfile.BadZipFile, zlib.error, OSError, NotImplementedError, EOFError) as error:
            raise CannotCopyError(f"it is damaged: {part} cannot be read") from error

    def _unpacked(self, info: zipfile.ZipInfo) -> bytes:
        """One part; a deflated one straight into its full size, which takes half the memory for a large sheet."""
        if info.compress_type != zipfile.ZIP_DEFLATED:
            return self._zip.read(info)
        content = zlib.decompress(self._raw(info), -15, max(info.file_size, 1))
        if len(content) != info.file_size or zlib.crc32(content) != info.CRC:
            raise zipfile.BadZipFile(info.filename)
        return content

    def xml(self, part: str, root: str) -> XmlText:
        """A part of markup, checked."""
        return XmlText(part, self.read(part), root)

    def stream(self, part: str) -> memoryview:
        """The compressed bytes of a part as they stand in the file."""
        return self._raw(self._infos[part])

    def digest(self, without: str) -> str:
        """SHA-256 over all parts of the file as they lie in it, but one: their names, sizes and compressed bytes."""
        found = hashlib.sha256()
        for name, info in self._infos.items():
            if name != without:
                found.update(repr((name, info.compress_type, info.CRC, info.file_size, info.compress_size)).encode())
                found.update(self._raw(info))
        return found.hexdigest()

    def put(self, part: str, content: bytes | Iterable[bytes] | Deflated) -> None:
        """Replace or add a part, whole or in pieces that are asked for once, on saving."""
        self._gone.discard(part)
        self._new[part] = content

    def remove(self, part: str) -> None:
        """Take a part out."""
        self._new.pop(part, None)
        self._gone.add(part)

    def relations(self, part: str, kind: str) -> list[str]:
        """Parts that a part is related to by a kind of relation, such as `table` (part 2, clause 6.5)."""
        return [target for found, target in self._every_relation(part) if found == f"{_RELATIONS}/{kind}"]

    def related(self, part: str, identifier: str) -> str | None:
        """The part behind one identifier, such as the `r:id` of a sheet."""
        return self._targets(part).get(identifier, (None, None))[1]

    def _every_relation(self, part: str) -> list[tuple[str, str]]:
        return [(kind or "", target or "") for kind, target in self._targets(part).values()]

    def _targets(self, part: str) -> dict[str, tuple[str | None, str | None]]:
        """Kind and target of every relation inside the package, by its identifier."""
        place = _relations_part(part)
        if place not in self:
            return {}
        relations = self.xml(place, "Relationships")
        folder = posixpath.dirname(part)
        return {
            attribute(found.tag, "Id") or "": (
                attribute(found.tag, "Type"),
                posixpath.normpath(posixpath.join("/", folder, attribute(found.tag, "Target") or "")).lstrip("/"),
            )
            for found in relations.elements("Relationship")
            if attribute(found.tag, "TargetMode") != "External"
        }

    def relate(self, part: str, kind: str, target: str) -> str:
        """Add a relation, of a kind of spreadsheets or one named in full (`urn:...`); gives back its identifier."""
        place = _relations_part(part)
        if place not in self:
            self.put(place, _EMPTY_RELATIONS)
        relations = self.xml(place, "Relationships")
        used = {attribute(found.tag, "Id") for found in relations.elements("Relationship")}
        number = len(used) + 1
        while f"rId{number}" in used:
            number += 1
        path = posixpath.relpath(target, posixpath.dirname(part))
        full = kind if ":" in kind else f"{_RELATIONS}/{kind}"
        element = f'<{{}}Relationship Id="rId{number}" Type="{full}" Target="{path}"/>'
        relations.add_last("Relationships", element)
        self.put(place, relations.data())
        return f"rId{number}"

    def add_part(self, part: str, content: bytes, content_type: str) -> None:
        """Add a part and state its content type (part 2, clause 6.2.3)."""
        self.put(part, content)
        types = self.xml(_TYPES, "Types")
        if f"/{part}" not in {attribute(found.tag, "PartName") for found in types.elements("Override")}:
            types.add_last("Types", f'<{{}}Override PartName="/{part}" ContentType="{content_type}"/>')
            self.put(_TYPES, types.data())

    def remove_relations(self, part: str) -> None:
        """Forget what a part was related to; the other parts stay."""
        if (place := _relations_part(part)) in self:
            self.remove(place)

    def save(self) -> bytes:
        """The package: untouched parts keep their compressed stream, all keep their order and stamps."""
        file = BytesIO()
        central = []
        for name in self.names():
            info = self._infos.get(name) or zipfile.ZipInfo(name, _ZIP_EPOCH)
            offset = file.tell()
            if name in self._new:
                info = _write_new(file, info, self._new[name])
            else:
                info = _write_raw(file, info, self._raw(info))
            central.append(_central(info, offset))
        start = file.tell()
        file.write(b"".join(central))
        size = file.tell() - start
        file.write(struct.pack(_END, b"PK\5\6", 0, 0, len(central), len(central), size, start, 0))
        return file.getvalue()

    def _raw(self, info: zipfile.ZipInfo) -> memoryview:
        """The compressed bytes of a part, behind its local header."""
        header = struct.unpack_from(_LOCAL, self._data, info.header_offset)
        if header[0] != b"PK\3\4":
            raise CannotCopyError("it is damaged")
        start = info.header_offset + struct.calcsize(_LOCAL) + header[-2] + header[-1]
        return memoryview(self._data)[start : start + info.compress_size]


_EMPTY_RELATIONS = (
    b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
    b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"></Relationships>'
)


def _relations_part(part: str) -> str:
    """Where the relations of a part stand, or those of the package (part 2, clause 6.5)."""
    folder, name = posixpath.split(part)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def _write_raw(file: BytesIO, info: zipfile.ZipInfo, stream: memoryview) -> zipfile.ZipInfo:
    file.write(_local(info))
    file.write(stream)
    return info


def _write_new(file: BytesIO, old: zipfile.ZipInfo, content: bytes | Iterable[bytes] | Deflated) -> zipfile.ZipInfo:
    """Compress the pieces of a part as they come, then complete its header with the sizes."""
    info = zipfile.ZipInfo(old.filename, old.date_time)
    info.create_version, info.create_system = old.create_version, old.create_system
    info.external_attr, info.flag_bits = old.external_attr, old.flag_bits
    info.compress_type, info.CRC, info.compress_size, info.file_size = zipfile.ZIP_DEFLATED, 0, 0, 0
    if isinstance(content, Deflated):
        info.CRC, info.file_size, info.compress_size = content.crc, content.size, content.length
        file.write(_local(info))
        file.writelines(content.pieces)
        return info
    start = file.tell()
    file.write(_local(info))
    begin = file.tell()
    deflate = zlib.compressobj(6, zlib.DEFLATED, -15)
    for piece in [content] if isinstance(content, bytes) else content:
        info.CRC = zlib.crc32(piece, info.CRC)
        info.file_size += len(piece)
        file.write(deflate.compress(piece))
    file.write(deflate.flush())
    info.compress_size = file.tell() - begin
    file.seek(start)
    file.write(_local(info))
    file.seek(0, 2)
    return info


def _name(info: zipfile.ZipInfo) -> bytes:
    return info.orig_filename.encode("utf-8" if info.flag_bits & 0x800 else "cp437")


def _stamp(info: zipfile.ZipInfo) -> tuple[int, int]:
    """Time and date as a zip file holds them."""
    year, month, day, hour, minute, second = info.date_time
    return hour << 11 | minute << 5 | second // 2, (year - 1980) << 9 | month << 5 | day


def _local(info: zipfile.ZipInfo) -> bytes:
    name = _name(info)
    return (
        struct.pack(
            _LOCAL, b"PK\3\4", info.extract_version, info.flag_bits & ~_SIZES_AFTERWARDS, info.compress_type,
            *_stamp(info), info.CRC, info.compress_size, info.file_size, len(name), 0,
        )
        + name
    )  # fmt: skip


def _central(info: zipfile.ZipInfo, offset: int) -> bytes:
    name = _name(info)
    return (
        struct.pack(
            _CENTRAL, b"PK\1\2", info.create_version | info.create_system << 8, info.extract_version,
            info.flag_bits & ~_SIZES_AFTERWARDS, info.compress_type, *_stamp(info), info.CRC, info.compress_size,
            info.file_size, len(name), 0, 0, 0, info.internal_attr, info.external_attr, offset,
        )
        + name
    )  # fmt: skip
