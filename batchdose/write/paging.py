"""The rows of a list in pages: one column, or two side by side, so that a mob stands on one page where it fits.

Widths are those of the letters (`fonts`); the other measures are those of the style (`templates/job_sheet.css`), and
only say where a page is likely full: a list that comes out longer flows on to the next page, and nothing is lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import ceil

from batchdose.texts import language_spoken, say
from batchdose.write.fonts import text_mm
from batchdose.write.sheet import AnimalRow, DoseCell, Paper

#: The paper that can be asked for; margins are left for a printer that does not reach the edge.
PAPERS = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("letter", 215.9, 279.4)}

_ROW_MM, _LINE_MM, _HEAD_LINE_MM, _SAME_LINE_MM = 6.2, 4.95, 4.3, 5.0
_ABOVE_MM, _HEAD_MM, _SPARE_MM = 12.0, 2.4, 2.0
_LEAST_FOR_TWO, _MOST_FOR_TWO = 13, 2
#: One of two columns, and the edges of a cell [mm].
_COLUMN_MM, _EDGES_MM = 88.0, 2.3
#: Sizes of tag, weight, dose, letter of the weight group, words beside it and headings [points].
_TAG, _WEIGHT, _DOSE, _GROUP, _MORE, _HEAD = 13, 11, 12.5, 10, 9, 9
#: Size of DO NOT DOSE, by language where its words are long; 10 in all others [points].
_STOP = {"fr": 9}
#: Rows of a list in one column that are printed as one piece; a longer list starts a page after so many.
_MOST_ROWS = 400
BOX = "\N{BALLOT BOX}"


def column_shares(rows: Sequence[AnimalRow], names: Sequence[str]) -> list[float]:
    """Width of each column [%] where two columns of rows fit side by side and are worth it; else empty."""
    if len(rows) < _LEAST_FOR_TWO or len(names) > _MOST_FOR_TWO:
        return []
    tag = max(text_mm(row.tag, _TAG, bold=True) for row in rows) + _EDGES_MM
    weight = max(text_mm(row.weight, _WEIGHT) for row in rows) + _EDGES_MM
    tag, weight = (max(width, text_mm(name, _HEAD, bold=True) + _EDGES_MM)
                   for width, name in ((tag, say("Tag")), (weight, say("Weight"))))  # fmt: skip
    doses = [max(_least_mm(row.doses[at]) for row in rows) + _EDGES_MM for at in range(len(names))]
    spare = _COLUMN_MM - tag - weight - sum(doses)
    if spare < 0:
        return []
    return [100 * width / _COLUMN_MM for width in (tag, weight, *(dose + spare / len(doses) for dose in doses))]


def _least_mm(cell: DoseCell) -> float:
    """The least width of what stands in a dose's cell: words beside it and further boxes may go on to the next line."""
    if cell.stop:
        return text_mm(cell.dose, _STOP.get(language_spoken(), 10), bold=True)
    return max([_first_mm(cell), *(text_mm(word, _MORE) for word in cell.more.split())])


def _first_mm(cell: DoseCell) -> float:
    """Dose, box and letter of the weight group, which stay on one line."""
    group = text_mm(f" {cell.group}", _GROUP, bold=True) + 1.0 if cell.group else 0.0
    return text_mm(cell.dose + BOX * min(cell.boxes, 1), _DOSE, bold=True) + group


def in_pages(
    rows: Sequence[AnimalRow], same: Sequence[tuple[str, str]], pictures: Sequence[str], paper: Paper,
    shares: Sequence[float],
) -> list[list[list[AnimalRow]]]:  # fmt: skip
    """Pages of columns of rows; the first page has less room, because of what stands above the list.

    Without `shares` of two columns, one column, which is left to flow over the pages.
    """
    if not shares:
        return [[list(rows[at : at + _MOST_ROWS])] for at in range(0, len(rows), _MOST_ROWS)]
    widths = [share / 100 * _COLUMN_MM - _EDGES_MM for share in shares[2:]]
    heads = _HEAD_MM + _HEAD_LINE_MM * max(
        _lines([text_mm(f"{word} ", _HEAD, bold=True) for word in name.split()], width)
        for (name, _), width in zip(same, widths, strict=True)
    )
    above = _ABOVE_MM + sum(map(_height, pictures)) + sum(
        0.7 + _SAME_LINE_MM * ceil(text_mm(f"{name}: {text}", 10.5, bold=True) / paper.inner_width_mm)
        for name, text in same
    )  # fmt: skip
    heights = [_row_mm(row, widths) for row in rows]
    pages: list[list[list[AnimalRow]]] = []
    start = 0
    while start < len(rows):
        room = paper.inner_height_mm - _SPARE_MM - heads - (0.0 if pages else above)
        left = _fill(heights, start, room)
        right = _fill(heights, left, room)
        if right == len(rows):  # the last page: as much on the left as on the right
            left = start + ceil((right - start) / 2)
        pages.append([part for part in (list(rows[start:left]), list(rows[left:right])) if part])
        start = right
    return pages


def _fill(heights: Sequence[float], start: int, room: float) -> int:
    """Where a column ends that starts at a row; at least one row goes in."""
    end = start
    while end < len(heights) and (end == start or heights[end] <= room):
        room -= heights[end]
        end += 1
    return end


def _row_mm(row: AnimalRow, widths: Sequence[float]) -> float:
    lines = max(_cell_lines(cell, width) for cell, width in zip(row.doses, widths, strict=True))
    return _ROW_MM + _LINE_MM * (lines - 1)


def _cell_lines(cell: DoseCell, width_mm: float) -> int:
    """Lines of a dose's cell: the dose, then further boxes and the words beside it."""
    if cell.stop:
        return 1
    boxes = [text_mm(BOX, _DOSE, bold=True)] * (cell.boxes - 1)
    return _lines([_first_mm(cell), *boxes, *(text_mm(f"{word} ", _MORE) for word in cell.more.split())], width_mm)


def _lines(widths: Iterable[float], room_mm: float) -> int:
    """Lines that words of these widths take; one that is wider than the room is broken."""
    lines, used = 1, 0.0
    for width in widths:
        if used and used + width > room_mm:
            lines, used = lines + 1, 0.0
        lines += max(0, ceil(width / room_mm) - 1)
        used += width % room_mm if width > room_mm else width
    return lines


def _height(picture: str) -> float:
    """Height of a picture [mm], from its own words."""
    return float(picture.split('height="', 1)[1].split("mm", 1)[0])
