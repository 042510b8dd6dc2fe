"""The texts of the job sheet and the register through their templates to HTML: no network, all text escaped.

The job sheet has two forms of the same words: for the screen, and for WeasyPrint, which has nothing that only a
screen needs, and in which boxes are letters and pictures stand apart, because every element costs time there.
"""

from __future__ import annotations

import re
from base64 import b64encode
from dataclasses import fields
from functools import cache
from typing import Any

import jinja2
from markupsafe import Markup, escape

from batchdose.texts import say, speaking
from batchdose.write.fonts import font_faces
from batchdose.write.paging import BOX
from batchdose.write.parts import PART
from batchdose.write.register import Register
from batchdose.write.sheet import JobSheet
from batchdose.write.templates import template_folder
from batchdose.write.words import say_local

_LABEL = re.compile(r'aria-label="([^"]*)"')


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(template_folder()), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.globals.update(say=say, say_local=say_local, say_html=_say_html)
    environment.filters["css"] = css_text
    return environment


def _say_html(message: str, /, **values: Any) -> Markup:
    """A sentence with markup of its own; all that is put into it is escaped."""
    return Markup(say(message, **{name: escape(value) for name, value in values.items()}))  # noqa: S704 - ours


def render_html(sheet: JobSheet) -> str:
    """The job sheet as one HTML text with its style and fonts inside, for a screen or a browser's printing."""
    return _job_sheet(sheet, screen=True, faces=Markup(font_faces("woff2")), box="", part="", draw=Markup)  # noqa: S704 - ours


def render_print(sheet: JobSheet) -> str:
    """The job sheet as HTML for `PdfPrinter`, with a mark wherever a new page starts anyway."""
    faces, part = Markup(font_faces("ttf")), Markup(PART)  # noqa: S704 - our own text
    return _job_sheet(sheet, screen=False, faces=faces, box=BOX, part=part, draw=_apart)


def _job_sheet(sheet: JobSheet, **form: object) -> str:
    texts = {field.name: getattr(sheet, field.name) for field in fields(sheet)}
    with speaking(sheet.language):
        return _environment().get_template("job_sheet.html").render(**texts, **form)


def _apart(picture: str) -> Markup:
    """An SVG text as an image of its own, whose elements take no part in the style of the page."""
    label = _LABEL.search(picture)
    svg = picture.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1) if "xmlns=" not in picture else picture
    data = b64encode(svg.encode("utf-8")).decode()
    return Markup('<img alt="{}" src="data:image/svg+xml;base64,{}">').format(Markup(label[1] if label else ""), data)  # noqa: S704


def css_text(text: str) -> Markup:
    r"""A text as a string of CSS, safe inside a style element.

    >>> print(css_text('A "B" </style>'))
    "A \22 B\22  \3c \2f style\3e "
    """
    safe = "".join(c if c.isalnum() or c in " .,-·" else f"\\{ord(c):x} " for c in text)
    return Markup(f'"{safe}"')  # noqa: S704 - nothing is left that could end the string


def render_register(register: Register) -> str:
    """The register of treatments as one HTML text with its style inside."""
    return _environment().get_template("register.html").render(register=register, faces=Markup(font_faces("ttf")))  # noqa: S704


def render_page(template: str, **values: object) -> str:
    """Any other page as one HTML text with its style inside."""
    return _environment().get_template(template).render(**values)


def render_text(template: str, **values: object) -> str:
    """A plain text, in which nothing is escaped."""
    return _environment().overlay(autoescape=False).get_template(template).render(**values)
