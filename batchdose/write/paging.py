"""The rows of a list in pages: one column, or two side by side, so that a mob stands on one page where it fits.

The measures are those of the style (`templates/job_sheet.css`), and only say where a page is likely full: a list that
comes out longer flows on to the next page, and nothing is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from batchdose.write.sheet import AnimalRow, DoseCell

_PAGE_MM = 262.0
_ROW_MM = 6.1
_LINE_MM = 4.0
_LEAST_FOR_TWO = 13
#: Width of one of two columns, of a letter of tag, weight and dose, of a box, of a cell's edges, of DO NOT DOSE [mm].
_COLUMN_MM, _TAG_MM, _WEIGHT_MM, _DOSE_MM, _BOX_MM, _EDGES_MM, _STOP_MM = 88.0, 2.95, 2.2, 2.75, 6.8, 2.2, 27.0
#: Letters on a line of a dose's cell, by the number of medicines.
_LETTERS = {1: 27, 2: 13}


def two_columns(rows: Sequence[AnimalRow], medicines: int) -> bool:
    """Whether two columns of rows fit side by side, and are worth it."""
    if len(rows) < _LEAST_FOR_TWO or medicines > len(_LETTERS):
        return False
    widths = [
        max(len(row.tag) for row in rows) * _TAG_MM,
        max(len(row.weight) for row in rows) * _WEIGHT_MM,
        *(max(_cell_mm(row.doses[at]) for row in rows) for at in range(medicines)),
    ]
    return sum(widths) + _EDGES_MM * len(widths) <= _COLUMN_MM


def _cell_mm(cell: DoseCell) -> float:
    """The least width of a dose's cell, whose words beside it and further boxes go on to the next line."""
    return _STOP_MM if cell.stop else (len(cell.dose) + len(cell.group)) * _DOSE_MM + _BOX_MM * min(cell.boxes, 1)


def in_pages(
    rows: Sequence[AnimalRow], same: Sequence[tuple[str, str]], pictures: Sequence[str], *, two: bool
) -> list[list[list[AnimalRow]]]:
    """Pages of columns of rows; the first page has less room, because of what stands above the list."""
    if not two:
        return [[list(rows)]]
    width = _LETTERS[len(same)]
    heads = 3.0 + _LINE_MM * max(ceil(len(name) / (width - 2)) for name, _ in same)
    above = 11.0 + sum(5.8 * ceil((len(name) + len(text)) / 85) for name, text in same) + sum(map(_height, pictures))
    heights = [_row_mm(row, width) for row in rows]
    pages: list[list[list[AnimalRow]]] = []
    start = 0
    while start < len(rows):
        room = _PAGE_MM - heads - (0.0 if pages else above)
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


def _row_mm(row: AnimalRow, width: int) -> float:
    return _ROW_MM + _LINE_MM * max(_more_lines(cell, width) for cell in row.doses)


def _more_lines(cell: DoseCell, width: int) -> int:
    """Further lines of a cell of so many letters."""
    if not cell.more:
        return 0
    beside = len(cell.dose) + len(cell.more) + 4 <= width
    return 0 if beside else ceil(len(cell.more) / width)


def _height(picture: str) -> float:
    """Height of a picture [mm], from its own words."""
    return float(picture.split('height="', 1)[1].split("mm", 1)[0])
