"""How the documents are made into a site that is read, and searched, without a network."""

from importlib import metadata

project = "lineproof"
author = "the lineproof authors"
copyright = "2026, the lineproof authors"
try:
    release = metadata.version("lineproof")
except metadata.PackageNotFoundError:
    release = ""
language = "en"

extensions = ["myst_parser"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["README.md"]
highlight_language = "text"
pygments_style = "pygments.styles.bw.BlackWhiteStyle"
myst_heading_anchors = 3
myst_enable_extensions = ["attrs_block"]

html_theme = "furo"
html_title = "lineproof"
html_static_path = ["site"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_sourcelink = False
# The excerpts below hits are fetched page by page, which a browser forbids for files on disk.
html_show_search_summary = False
html_theme_options = {"footer_icons": []}
