"""The texts of the job sheet and the register through their templates to HTML: no network, all text escaped."""

from __future__ import annotations

from dataclasses import fields
from functools import cache

import jinja2

from batchdose.write.register import Register
from batchdose.write.sheet import JobSheet
from batchdose.write.templates import template_folder


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(template_folder()), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip


def render_html(sheet: JobSheet) -> str:
    """The job sheet as one HTML text with its style inside."""
    texts = {field.name: getattr(sheet, field.name) for field in fields(sheet)}
    return _environment().get_template("job_sheet.html").render(**texts)


def render_register(register: Register) -> str:
    """The register of treatments as one HTML text with its style inside."""
    return _environment().get_template("register.html").render(register=register)


def render_page(template: str, **values: object) -> str:
    """Any other page as one HTML text with its style inside."""
    return _environment().get_template(template).render(**values)


def render_text(template: str, **values: object) -> str:
    """A plain text, in which nothing is escaped."""
    return _environment().overlay(autoescape=False).get_template(template).render(**values)
