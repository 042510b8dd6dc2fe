"""Makes the fonts of the job sheet in `templates/fonts/` from two packages of the npm registry.

    npm pack @fontsource/atkinson-hyperlegible-next@5.3.0 @fontsource/atkinson-hyperlegible@5.3.0
    (unpack each into a folder) and: python tests/make_fonts.py FOLDER_OF_NEXT FOLDER_OF_THE_OTHER

Both families are under the SIL Open Font License 1.1 without reserved names; what is made here is a modified version
of the first and has a name of its own. Latin and latin-ext become one file, figures are of one width by
themselves, the micro sign comes from the second family, and the box to tick is a letter (U+2610).
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from fontTools.merge import Merger
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from fontTools.ttLib.tables._c_m_a_p import CmapSubtable

FAMILY = "Job Sheet Sans"
FOLDER = Path(__file__).resolve().parent.parent / "templates" / "fonts"
MICRO, BOX = 0xB5, 0x2610
#: The box in thousandths of the letter's size: its edge, its line, its foot, what is left free before it.
SIDE, LINE, FOOT, FREE = 1060, 88, -190, 330
UNUSED = ("frac", "pnum", "tnum")
#: Seconds from 1904 to the first of January 2026, so that the same packages give the same bytes.
MADE = 3_850_070_400


def main(newer: Path, older: Path) -> None:
    """Write a .ttf (PDF) and a .woff2 (HTML) of both weights, the widths of their letters, and the licence."""
    FOLDER.mkdir(exist_ok=True)
    widths: dict[int, dict[str, int]] = {}
    for weight in (400, 700):
        font = _merged(newer, weight)
        tabular = _single_substitutions(font, "tnum")
        figures = {ord(figure): tabular.get(name, name) for figure, name in _figures(font)}
        _add(font, "micro", *_glyph_of(older, weight, MICRO))
        _add(font, "box", _box(), FREE + SIDE)
        for table in font["cmap"].tables:
            if isinstance(table, CmapSubtable) and table.isUnicode():
                table.cmap.update(figures | {MICRO: "micro", 0x3BC: "micro", BOX: "box"})
        _rename(font, weight)
        _drop_features(font)
        font["head"].created = font["head"].modified = MADE
        font.recalcTimestamp = False
        widths[weight] = {chr(at): font["hmtx"][name][0] for at, name in sorted(font.getBestCmap().items())}
        for flavor in (None, "woff2"):
            font.flavor = flavor
            font.save(FOLDER / f"job-sheet-{weight}.{flavor or 'ttf'}", reorderTables=None)
    (FOLDER / "widths.json").write_text(json.dumps(widths, ensure_ascii=False, separators=(",", ":")), encoding="utf-8")
    texts = [(folder / "LICENSE").read_text(encoding="utf-8") for folder in (newer, older)]
    notice, _, licence = texts[0].partition("\n\n")
    (FOLDER / "OFL.txt").write_text(
        f"{FAMILY}, in this folder, is a modified version of Atkinson Hyperlegible Next, with the micro sign of\n"
        f"Atkinson Hyperlegible.\n\n{notice}\n\n{texts[1].partition(chr(10) * 2)[0]}\n\n{licence}",
        encoding="utf-8",
    )


def _merged(folder: Path, weight: int) -> TTFont:
    parts = []
    for subset in ("latin", "latin-ext"):
        [path] = (folder / "files").glob(f"*-{subset}-{weight}-normal.woff2")
        font = TTFont(path)
        font.flavor = None
        parts.append(path.with_suffix(".merge.ttf"))
        font.save(parts[-1])
    return Merger().merge([str(part) for part in parts])


def _figures(font: TTFont) -> list[tuple[str, str]]:
    letters = font.getBestCmap()
    return [(figure, letters[ord(figure)]) for figure in "0123456789"]


def _single_substitutions(font: TTFont, feature: str) -> dict[str, str]:
    table = font["GSUB"].table
    lookups = {at for record in table.FeatureList.FeatureRecord if record.FeatureTag == feature
               for at in record.Feature.LookupListIndex}  # fmt: skip
    found: dict[str, str] = {}
    for at in lookups:
        for subtable in table.LookupList.Lookup[at].SubTable:
            found |= getattr(subtable, "ExtSubTable", subtable).mapping
    return found


def _glyph_of(folder: Path, weight: int, letter: int) -> tuple[object, int]:
    [path] = (folder / "files").glob(f"*-latin-{weight}-normal.woff2")
    font = TTFont(path)
    name = font.getBestCmap()[letter]
    recorded, pen = DecomposingRecordingPen(font.getGlyphSet()), TTGlyphPen(None)
    font.getGlyphSet()[name].draw(recorded)
    recorded.replay(pen)
    return pen.glyph(), font["hmtx"][name][0]


def _box() -> object:
    pen = TTGlyphPen(None)
    for inset, corners in ((0, (0, 1, 2, 3)), (LINE, (0, 3, 2, 1))):
        left, low, right, high = FREE + inset, FOOT + inset, FREE + SIDE - inset, FOOT + SIDE - inset
        square = [(left, low), (left, high), (right, high), (right, low)]
        pen.moveTo(square[corners[0]])
        for corner in corners[1:]:
            pen.lineTo(square[corner])
        pen.closePath()
    return pen.glyph()


def _add(font: TTFont, name: str, glyph: object, advance: int) -> None:
    font.setGlyphOrder([*font.getGlyphOrder(), name])
    font["glyf"][name] = glyph
    glyph.recalcBounds(font["glyf"])
    font["hmtx"][name] = (advance, glyph.xMin)
    font["GDEF"].table.GlyphClassDef.classDefs[name] = 1


def _rename(font: TTFont, weight: int) -> None:
    style = {400: "Regular", 700: "Bold"}[weight]
    whole = f"{FAMILY} {style}"
    texts = {1: FAMILY, 2: style, 3: whole, 4: whole, 6: whole.replace(" ", ""), 16: FAMILY, 17: style}
    for record in list(font["name"].names):
        if record.nameID in texts:
            record.string = texts[record.nameID]


def _drop_features(font: TTFont) -> None:
    """Take out the features that nothing asks for, and number the others anew."""
    gsub = font["GSUB"].table
    records = gsub.FeatureList.FeatureRecord
    kept = [at for at, record in enumerate(records) if record.FeatureTag not in UNUSED]
    gsub.FeatureList.FeatureRecord = [records[at] for at in kept]
    for script in gsub.ScriptList.ScriptRecord:
        for system in (script.Script.DefaultLangSys, *(r.LangSys for r in script.Script.LangSysRecord)):
            if system is not None:
                system.FeatureIndex = [kept.index(at) for at in system.FeatureIndex if at in kept]


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:3]))
