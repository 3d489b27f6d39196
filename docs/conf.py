"""Sphinx configuration of the guide."""

from skyglint import __version__
from skyglint.report.tokens import DARK, LIGHT, Palette

project = "Skyglint"
author = "The Skyglint authors"
copyright = "2026, The Skyglint authors"  # Sphinx wants this very name
version = release = __version__
extensions = ["myst_parser", "sphinx.ext.doctest"]
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 3
html_theme = "furo"
html_title = "Skyglint"
exclude_patterns = ["_build"]
html_static_path = ["_static"]
html_css_files = ["guide.css"]


def _colours(palette: Palette) -> dict[str, str]:
    """Return the theme's variables in the colours of pages and figures."""
    return {
        "color-background-primary": palette.paper,
        "color-background-secondary": palette.guard,
        "color-background-hover": palette.line,
        "color-background-border": palette.line,
        "color-foreground-primary": palette.ink,
        "color-foreground-secondary": palette.soft,
        "color-brand-primary": palette.ember,
        "color-brand-content": palette.ember,
        "color-brand-visited": palette.ember,
        "color-sidebar-link-text": palette.ink,
        "color-sidebar-link-text--top-level": palette.ink,
        "color-code-background": palette.card,
        "color-inline-code-background": palette.guard,
        "color-table-header-background": "transparent",
        "color-table-border": palette.line,
        "font-stack": "system-ui, sans-serif",
    }


html_theme_options = {"light_css_variables": _colours(LIGHT), "dark_css_variables": _colours(DARK)}
