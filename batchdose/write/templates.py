"""Where the templates are: inside the installed package, or at the top of the source tree."""

from __future__ import annotations

from pathlib import Path


def template_folder() -> Path:
    """Folder of the templates."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "templates"
    return inside if inside.is_dir() else package.parent / "templates"
