"""A long sheet in parts, each an HTML text of its own, so that several processes can print them at once.

Where the parts begin depends on the text alone and not on the machine, so that the same text gives the same bytes.
"""

from __future__ import annotations

from math import ceil

#: Stands before, between and behind the pieces of a sheet, where a new page starts anyway.
PART = "<!--part-->"
#: Up to so many letters (some 200 animals) a sheet is one part; of a longer one, no part is longer by much.
_ONE, _MOST = 80_000, 130_000
BREAK = '<hr style="break-after: page">'


def in_parts(html: str) -> list[str]:
    """The HTML in parts of about one size, each with the head of the whole; their number is even, or one.

    >>> in_parts("<p>head</p>")
    ['<p>head</p>']
    >>> letters = "x" * 50_000
    >>> [len(part) for part in in_parts(PART.join(["<head>", *[letters] * 5, "</html>"]))]
    [150013, 100013]
    """
    head, *pieces = html.split(PART)
    if len(pieces) < 2:
        return [html]
    tail = pieces.pop()
    length = sum(map(len, pieces))
    if length <= _ONE:
        return [html]
    target = length / (2 * ceil(length / (2 * _MOST)))
    grouped: list[str] = []
    taken = 0
    for piece in pieces:
        if not grouped or taken + len(piece) / 2 > target * len(grouped):
            grouped.append("")
        grouped[-1] += piece
        taken += len(piece)
    return [head + part + tail for part in grouped]


def with_style(html: str, css: str) -> str:
    """The HTML with more style behind its own."""
    return html.replace("</style>", f"{css}</style>", 1)


def blank_pages(html: str, pages: int) -> str:
    """The head of the HTML with so many empty pages, whose margins hold the page number and nothing else."""
    head, _, rest = html.partition("<body")
    tail = rest.rpartition("</body>")[2]
    only_numbers = (
        "@page { @top-left { content: none } @bottom-left { content: none } } "
        "html, body { background: none } hr { border: 0; margin: 0 }"
    )
    return with_style(head, only_numbers) + f"<body>{BREAK * (pages - 1)}<hr></body>{tail}"
