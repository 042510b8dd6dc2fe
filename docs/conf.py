"""The site: `python -m sphinx docs SITE`. The pages are plain Markdown and read as well without it."""

project = "batchdose"
extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
root_doc = "index"
html_theme = "alabaster"
html_title = "batchdose"
html_show_copyright = False
html_show_sphinx = False
html_theme_options = {"description": "Doses for a mob of animals", "fixed_sidebar": True, "page_width": "1080px"}
myst_heading_anchors = 3
suppress_warnings = ["toc.not_included", "misc.highlighting_failure"]
