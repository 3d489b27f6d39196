"""Sphinx configuration of the guide."""

from skyglint import __version__

project = "Skyglint"
author = "The Skyglint authors"
copyright = "2026, The Skyglint authors"  # Sphinx wants this very name
version = release = __version__
extensions = ["myst_parser", "sphinx.ext.doctest"]
myst_enable_extensions = ["deflist", "dollarmath"]
myst_heading_anchors = 3
html_theme = "furo"
html_title = "Skyglint"
exclude_patterns = ["_build"]
