"""A long sheet in parts, each an HTML text of its own, so that several processes can print them at once.

Where the parts begin depends on the text alone and not on the machine, so that the same text gives the same bytes.
"""

from __future__ import annotations

#: Stands before, between and behind the pieces of a sheet, where a new page starts anyway.
PART = "<!--part-->"
#: A part gets pieces until it has so many letters: some 150 animals, which print in half a second.
_ENOUGH = 40_000
BREAK = '<hr style="break-after: page">'


def in_parts(html: str) -> list[str]:
    """The HTML in parts of about one size, each with the head of the whole; one that has no marks is one part."""
    head, *pieces = html.split(PART)
    if len(pieces) < 2:
        return [html]
    tail = pieces.pop()
    grouped = [""]
    for piece in pieces:
        if len(grouped[-1]) + len(piece) / 2 > _ENOUGH:
            grouped.append("")
        grouped[-1] += piece
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
