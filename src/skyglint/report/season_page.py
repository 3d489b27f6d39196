"""The month and year pages: one HTML file each that needs nothing else."""

from __future__ import annotations

from markupsafe import Markup

from skyglint.report import season_views, season_words, tokens
from skyglint.report.page import environment
from skyglint.report.season import SeasonPage

#: Pairs of channels that stand in the table; the rest says nothing that these do not.
PAIRS = 12


def render_season(page: SeasonPage, files: str = "") -> str:
    """Return the page as HTML.

    Every text that came from outside is escaped on its way in. ``files`` is the folder beside the page that holds its
    figures and numbers; empty for none.
    """
    made = environment()
    made.globals.update(views=season_views, words=season_words)
    template = made.get_template(f"{page.kind}.html.jinja")
    return template.render(page=page, tokens=Markup(tokens.css_variables()), files=files, most_pairs=PAIRS)
