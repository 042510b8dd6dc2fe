"""Features that no library writes, put into workbooks by hand, part by part and byte by byte.

Loaded with `corpus`, to whose list they add themselves.
"""

from __future__ import annotations

import re
import zipfile
from io import BytesIO

from corpus import (
    FEATURES,
    FIRST,
    HEADINGS,
    LAST,
    MAIN,
    MS,
    REL,
    SHEET,
    SHEET_PART,
    animals_table,
    before,
    edited,
    on_sheet,
    plain,
    raw,
    with_parts,
    written,
)  # fmt: skip


@raw("printer settings")
def _() -> bytes:
    return with_parts(
        {"xl/printerSettings/printerSettings1.bin": bytes(range(256)) * 4},
        {"bin": "application/vnd.openxmlformats-officedocument.spreadsheetml.printerSettings"},
        {SHEET_PART: [(f"{REL}/printerSettings", "../printerSettings/printerSettings1.bin")]},
        lambda xml: xml.replace(b"</worksheet>", b'<pageSetup orientation="portrait" r:id="rIdX1"/></worksheet>'),
    )


@raw("threaded comments")
def _() -> bytes:
    base = written(lambda _, sheet: sheet.write_comment("A4", "[Threaded comment] Lame?"))
    space = f"{MS}/spreadsheetml/2018/threadedcomments"
    who, what = "{00000000-0000-0000-0000-000000000001}", "{00000000-0000-0000-0000-000000000002}"
    return with_parts(
        {
            "xl/threadedComments/threadedComment1.xml": (
                f'<ThreadedComments xmlns="{space}"><threadedComment ref="A4" dT="2026-03-13T09:00:00.00" '
                f'personId="{who}" id="{what}"><text>Lame?</text></threadedComment></ThreadedComments>'
            ).encode(),
            "xl/persons/person.xml": (
                f'<personList xmlns="{space}"><person displayName="Operator 1" id="{who}" userId="o1" '
                'providerId="None"/></personList>'
            ).encode(),
        },
        {
            "xl/threadedComments/threadedComment1.xml": "application/vnd.ms-excel.threadedcomments+xml",
            "xl/persons/person.xml": "application/vnd.ms-excel.person+xml",
        },
        {
            SHEET_PART: [("http://schemas.microsoft.com/office/2017/10/relationships/threadedComment",
                          "../threadedComments/threadedComment1.xml")],
            "xl/workbook.xml": [(f"{MS}/2017/10/relationships/person", "persons/person.xml")],
        },
        base=base,
    )  # fmt: skip


@raw("slicer of a table")
def _() -> bytes:
    base = written(lambda _, sheet: animals_table(sheet))
    x14 = f"{MS}/spreadsheetml/2009/9/main"
    return with_parts(
        {
            "xl/slicers/slicer1.xml": (
                f'<slicers xmlns="{x14}"><slicer name="Mob" cache="Slicer_Mob" caption="Mob" rowHeight="241300"/>'
                "</slicers>"
            ).encode(),
            "xl/slicerCaches/slicerCache1.xml": (
                f'<slicerCacheDefinition xmlns="{x14}" name="Slicer_Mob" sourceName="Mob"><extLst>'
                '<x:ext xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
                'uri="{2F2917AC-EB37-4324-AD4E-5DD8C200BD13}" '
                f'xmlns:x15="{MS}/spreadsheetml/2010/11/main"><x15:tableSlicerCache tableId="1" column="3"/></x:ext>'
                "</extLst></slicerCacheDefinition>"
            ).encode(),
        },
        {
            "xl/slicers/slicer1.xml": "application/vnd.ms-excel.slicer+xml",
            "xl/slicerCaches/slicerCache1.xml": "application/vnd.ms-excel.slicerCache+xml",
        },
        {
            SHEET_PART: [("http://schemas.microsoft.com/office/2007/relationships/slicer", "../slicers/slicer1.xml")],
            "xl/workbook.xml": [
                ("http://schemas.microsoft.com/office/2007/relationships/slicerCache", "slicerCaches/slicerCache1.xml")
            ],
        },
        before(b"</worksheet>",
            b'<extLst><ext xmlns:x15="http://schemas.microsoft.com/office/spreadsheetml/2010/11/main" '
            b'uri="{3A4CF648-6AED-40f4-86FF-DC5316D8AED3}"><x14:slicerList '
            b'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"><x14:slicer r:id="rIdX1"/>'
            b"</x14:slicerList></ext></extLst>"),
        base=base,
    )  # fmt: skip


@raw("form control")
def _() -> bytes:
    base = written(lambda _, sheet: sheet.insert_button("H2", {"caption": "Go"}))
    return with_parts(
        {"xl/ctrlProps/ctrlProp1.xml": (
            f'<formControlPr xmlns="{MS}/spreadsheetml/2009/9/main" objectType="CheckBox" fmlaLink="$D$4"/>'
        ).encode()},
        {"xl/ctrlProps/ctrlProp1.xml": "application/vnd.ms-excel.controlproperties+xml"},
        {SHEET_PART: [(f"{REL}/ctrlProp", "../ctrlProps/ctrlProp1.xml")]},
        before(b"</worksheet>",
            b'<mc:AlternateContent xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006"><mc:Choice '
            b'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main" Requires="x14"><controls>'
            b'<control shapeId="1026" r:id="rIdX1" name="Check"/></controls></mc:Choice></mc:AlternateContent>'),
        base=base,
    )  # fmt: skip


@raw("ActiveX control")
def _() -> bytes:
    ax = f"{MS}/2006/activeX"
    return with_parts(
        {
            "xl/activeX/activeX1.xml": (
                f'<ax:ocx xmlns:ax="{ax}" xmlns:r="{REL}" ax:classid="{{00000000-0000-0000-0000-000000000000}}" '
                'ax:persistence="persistStreamInit" r:id="rIdX1"/>'
            ).encode(),
            "xl/activeX/activeX1.bin": b"\0\1\2\3" * 8,
        },
        {
            "xl/activeX/activeX1.xml": "application/vnd.ms-office.activeX+xml",
            "bin": "application/vnd.ms-office.activeX",
        },
        {
            SHEET_PART: [(f"{REL}/control", "../activeX/activeX1.xml")],
            "xl/activeX/activeX1.xml": [("http://schemas.microsoft.com/office/2006/relationships/activeXControlBinary",
                                         "activeX1.bin")],
        },
    )  # fmt: skip


@raw("ribbon")
def _() -> bytes:
    base = FEATURES["macros"]()
    return with_parts(
        {"customUI/customUI14.xml": (
            f'<customUI xmlns="{MS}/2009/07/customui"><ribbon><tabs/></ribbon></customUI>'
        ).encode()},
        {"customUI/customUI14.xml": "application/xml"},
        {"": [("http://schemas.microsoft.com/office/2007/relationships/ui/extensibility", "customUI/customUI14.xml")]},
        base=base,
    )  # fmt: skip


@raw("custom XML")
def _() -> bytes:
    return with_parts(
        {
            "customXml/item1.xml": b'<flock xmlns="urn:example:flock"><ewe/></flock>',
            "customXml/itemProps1.xml": (
                b'<ds:datastoreItem ds:itemID="{00000000-0000-0000-0000-000000000003}" '
                b'xmlns:ds="http://schemas.openxmlformats.org/officeDocument/2006/customXml"/>'
            ),
        },
        {"customXml/itemProps1.xml": "application/vnd.openxmlformats-officedocument.customXmlProperties+xml"},
        {
            "xl/workbook.xml": [(f"{REL}/customXml", "../customXml/item1.xml")],
            "customXml/item1.xml": [(f"{REL}/customXmlProps", "itemProps1.xml")],
        },
    )


@raw("external link")
def _() -> bytes:
    links = f'<externalLink xmlns="{MAIN}" xmlns:r="{REL}"><externalBook r:id="rId1"><sheetNames><sheetName val="A"/>'
    links += "</sheetNames></externalBook></externalLink>"
    rels = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" '
        f'Type="{REL}/externalLinkPath" Target="other.xlsx" TargetMode="External"/></Relationships>'
    )
    data = with_parts(
        {
            "xl/externalLinks/externalLink1.xml": links.encode(),
            "xl/externalLinks/_rels/externalLink1.xml.rels": rels.encode(),
        },
        {"xl/externalLinks/externalLink1.xml":
            "application/vnd.openxmlformats-officedocument.spreadsheetml.externalLink+xml"},
        {"xl/workbook.xml": [(f"{REL}/externalLink", "externalLinks/externalLink1.xml")]},
        lambda xml: xml.replace(b"<f>B4-30</f>", b"<f>B4-30+[1]A!$A$1*0</f>"),
    )  # fmt: skip
    refs = b'<externalReferences><externalReference r:id="rIdX1"/></externalReferences>'
    return edited(data, {"xl/workbook.xml": before(b"<calcPr", refs)})


@raw("pivot table")
def _() -> bytes:
    fields = "".join(f'<cacheField name="{heading}" numFmtId="0"><sharedItems/></cacheField>' for heading in HEADINGS)
    cache = (
        f'<pivotCacheDefinition xmlns="{MAIN}" xmlns:r="{REL}" refreshOnLoad="1" refreshedVersion="4">'
        f'<cacheSource type="worksheet"><worksheetSource ref="A3:E11" sheet="{SHEET}"/></cacheSource>'
        f'<cacheFields count="5">{fields}</cacheFields></pivotCacheDefinition>'
    )
    pivot = (
        f'<pivotTableDefinition xmlns="{MAIN}" name="Pivot" cacheId="1" dataCaption="Values">'
        '<location ref="A1:B3" firstHeaderRow="1" firstDataRow="1" firstDataCol="0"/><pivotFields count="5">'
        + '<pivotField showAll="0"/>' * len(HEADINGS)
        + "</pivotFields></pivotTableDefinition>"
    )
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    data = with_parts(
        {"xl/pivotCache/pivotCacheDefinition1.xml": cache.encode(), "xl/pivotTables/pivotTable1.xml": pivot.encode()},
        {
            "xl/pivotCache/pivotCacheDefinition1.xml": f"{kind}.pivotCacheDefinition+xml",
            "xl/pivotTables/pivotTable1.xml": f"{kind}.pivotTable+xml",
        },
        {
            "xl/workbook.xml": [(f"{REL}/pivotCacheDefinition", "pivotCache/pivotCacheDefinition1.xml")],
            "xl/worksheets/sheet2.xml": [(f"{REL}/pivotTable", "../pivotTables/pivotTable1.xml")],
            "xl/pivotTables/pivotTable1.xml": [
                (f"{REL}/pivotCacheDefinition", "../pivotCache/pivotCacheDefinition1.xml")
            ],
        },
        base=written(lambda book, _: book.add_worksheet("Pivot")),
    )
    caches = b'<pivotCaches><pivotCache cacheId="1" r:id="rIdX1"/></pivotCaches></workbook>'
    return edited(data, {"xl/workbook.xml": lambda xml: xml.replace(b"</workbook>", caches)})


@raw("query and connection")
def _() -> bytes:
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    return with_parts(
        {
            "xl/connections.xml": (
                f'<connections xmlns="{MAIN}"><connection id="1" name="c" type="4" refreshedVersion="4">'
                '<webPr url="https://example.com"/></connection></connections>'
            ).encode(),
            "xl/queryTables/queryTable1.xml": f'<queryTable xmlns="{MAIN}" name="q" connectionId="1"/>'.encode(),
        },
        {"xl/connections.xml": f"{kind}.connections+xml", "xl/queryTables/queryTable1.xml": f"{kind}.queryTable+xml"},
        {
            "xl/workbook.xml": [(f"{REL}/connections", "connections.xml")],
            SHEET_PART: [(f"{REL}/queryTable", "../queryTables/queryTable1.xml")],
        },
    )


@raw("embedded object")
def _() -> bytes:
    return with_parts(
        {"xl/embeddings/oleObject1.bin": b"\xd0\xcf\x11\xe0" + bytes(64)},
        {"bin": "application/vnd.openxmlformats-officedocument.oleObject"},
        {SHEET_PART: [(f"{REL}/oleObject", "../embeddings/oleObject1.bin")]},
    )


@raw("calculation chain")
def _() -> bytes:
    cells = "".join(f'<c r="E{row}" i="1"/>' for row in range(FIRST, LAST + 1))
    return with_parts(
        {"xl/calcChain.xml": f'<calcChain xmlns="{MAIN}">{cells}</calcChain>'.encode()},
        {"xl/calcChain.xml": "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"},
        {"xl/workbook.xml": [(f"{REL}/calcChain", "calcChain.xml")]},
    )


def _prefixed(xml: bytes, declaration: bytes = b"xmlns:x=") -> bytes:
    """The same part with a prefix before all names of the main namespace."""
    xml = re.sub(rb"<(/?)(?![?!])([A-Za-z]+)(?=[\s/>])", rb"<\1x:\2", xml)
    return xml.replace(b"xmlns=", declaration, 1)


@raw("prefixed names")
def _() -> bytes:
    return on_sheet(_prefixed)


@raw("prefixed names everywhere")
def _() -> bytes:
    parts = (SHEET_PART, "xl/workbook.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml")
    return edited(plain(), dict.fromkeys(parts, _prefixed))


@raw("sheet in UTF-16")
def _() -> bytes:
    return on_sheet(lambda xml: xml.decode().replace("UTF-8", "UTF-16").encode("utf-16"))


@raw("sheet in Latin-1")
def _() -> bytes:
    return on_sheet(lambda xml: xml.decode().replace("UTF-8", "ISO-8859-1").encode("latin-1"))


@raw("sheet with a byte order mark")
def _() -> bytes:
    return on_sheet(lambda xml: b"\xef\xbb\xbf" + xml)


@raw("comments and plain sections in the sheet")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = xml.replace(b'<row r="5"', b'<!-- <row r="99"><c r="A99"/></row> --><row r="5"')
        return re.sub(rb"<v>(43)</v>", rb"<v><![CDATA[\1]]></v>", xml)

    return on_sheet(change)


@raw("rows and cells without references")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = xml.replace(b'<row r="3"', b'<row r="2"/><row r="3"')
        return re.sub(rb'<(row|c) r="\w+"', rb"<\1", xml.replace(b'<c r="E', b'<c/><c r="E'))

    return on_sheet(change)


@raw("self-closed and missing rows")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = re.sub(rb'<row r="7".*?</row>', b'<row r="7" ht="20" customHeight="1"/>', xml)
        return re.sub(rb'<row r="9".*?</row>', b"", xml)

    return on_sheet(change)


@raw("shared formulas")
def _() -> bytes:
    def change(xml: bytes) -> bytes:
        xml = xml.replace(b"<f>B4-30</f>", b'<f t="shared" ref="E4:E11" si="0">B4-30</f>')
        return re.sub(rb"<f>B\d+-30</f>", b'<f t="shared" si="0"/>', xml)

    return on_sheet(change)


@raw("no used range and no spans")
def _() -> bytes:
    return on_sheet(lambda xml: re.sub(rb'<dimension[^>]*>| spans="[^"]*"', b"", xml))


@raw("spaces between all elements")
def _() -> bytes:
    return on_sheet(lambda xml: re.sub(rb">\s*<(?!/[tvf]>)", b">\r\n  <", xml))


@raw("single quotes")
def _() -> bytes:
    return on_sheet(lambda xml: xml.replace(b'"', b"'"))


@raw("cells far to the right")
def _() -> bytes:
    return on_sheet(lambda xml: xml.replace(b"</row>", b"</row>", 1).replace(
        b"</sheetData>", b'<row r="40"><c r="H40"><v>7</v></c></row></sheetData>'))  # fmt: skip


@raw("views of other people")
def _() -> bytes:
    views = (
        b'<customSheetViews><customSheetView guid="{00000000-0000-0000-0000-000000000004}" filter="1">'
        b'<autoFilter ref="A3:E11"/></customSheetView></customSheetViews>'
    )
    return on_sheet(before(b"<pageMargins", views))


@raw("scenarios")
def _() -> bytes:
    scenarios = b'<scenarios><scenario name="wet" count="1"><inputCells r="B4" val="40"/></scenario></scenarios>'
    return on_sheet(before(b"<pageMargins", scenarios))


@raw("no styles part")
def _() -> bytes:
    data = plain()
    file = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as old, zipfile.ZipFile(file, "w") as new:
        for info in old.infolist():
            content = old.read(info)
            content = re.sub(
                rb'<Override PartName="/xl/styles.xml"[^>]*>|<Relationship [^>]*styles.xml"/>', b"", content
            )
            if info.filename != "xl/styles.xml":
                new.writestr(info, content)
    return file.getvalue()


@raw("validations and formats of 2010")
def _() -> bytes:
    lists = (
        b'<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}" '
        b'xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"><x14:dataValidations count="1" '
        b'xmlns:xm="http://schemas.microsoft.com/office/excel/2006/main"><x14:dataValidation type="list">'
        b"<x14:formula1><xm:f>Lists!$A$1:$A$3</xm:f></x14:formula1><xm:sqref>C4:C11</xm:sqref></x14:dataValidation>"
        b"</x14:dataValidations></ext></extLst>"
    )
    base = written(lambda book, _: book.add_worksheet("Lists"))
    return edited(base, {SHEET_PART: before(b"</worksheet>", lists)})


@raw("stored, not compressed")
def _() -> bytes:
    file = BytesIO()
    with zipfile.ZipFile(BytesIO(plain())) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as new:
        for info in old.infolist():
            new.writestr(info.filename, old.read(info))
    return file.getvalue()


@raw("written to a stream, with folders")
def _() -> bytes:
    class Stream(BytesIO):
        def seekable(self) -> bool:
            return False

        def tell(self) -> int:
            raise OSError

        def seek(self, *_: int) -> int:
            raise OSError

    file = Stream()
    with zipfile.ZipFile(BytesIO(plain())) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        new.mkdir("xl")
        for info in old.infolist():
            with new.open(info.filename, "w") as part:  # sizes stand behind the part, not before it
                part.write(old.read(info))
    return file.getvalue()


@raw("behind other bytes, with a remark")
def _() -> bytes:
    file = BytesIO(b"#!/bin/sh\n")
    file.seek(0, 2)
    with zipfile.ZipFile(BytesIO(plain())) as old, zipfile.ZipFile(file, "a", zipfile.ZIP_DEFLATED) as new:
        new.comment = b"a remark"
        for info in old.infolist():
            new.writestr(info, old.read(info))
    return file.getvalue()
