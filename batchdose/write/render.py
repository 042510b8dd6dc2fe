"""The texts of the job sheet and the register through their templates to HTML: no network, all text escaped."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from typing import Any

import jinja2
from markupsafe import Markup, escape

from batchdose.texts import say, speaking
from batchdose.write.register import Register
from batchdose.write.sheet import JobSheet
from batchdose.write.templates import template_folder
from batchdose.write.words import say_local


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(template_folder()), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.globals.update(say=say, say_local=say_local, say_html=_say_html)
    return environment


def _say_html(message: str, /, **values: Any) -> Markup:
    """A sentence with markup of its own; all that is put into it is escaped."""
    return Markup(say(message, **{name: escape(value) for name, value in values.items()}))  # noqa: S704 - ours


def render_html(sheet: JobSheet) -> str:
    """The job sheet as one HTML text in its language, with its style inside."""
    texts = {field.name: getattr(sheet, field.name) for field in fields(sheet)}
    with speaking(sheet.language):
        return _environment().get_template("job_sheet.html").render(**texts)


def render_register(register: Register) -> str:
    """The register of treatments as one HTML text with its style inside."""
    return _environment().get_template("register.html").render(register=register)
