"""The night page: one HTML file that needs nothing else."""

from __future__ import annotations

from jinja2 import BaseLoader, ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from skyglint.report import axis, numbers, study_words, tokens, views, wording
from skyglint.report.figures import marks
from skyglint.report.night import NightPage

#: Rows of the table that stand open; the rest wait behind a fold.
FIRST_ROWS = 40


def render_night(page: NightPage) -> str:
    """Return the page as HTML.

    Every text that came from outside (names, reasons, flags) is escaped on its way in.
    """
    template = environment().get_template("night.html.jinja")
    return template.render(page=page, tokens=Markup(tokens.css_variables()), first_rows=FIRST_ROWS)


def environment(*first: BaseLoader) -> Environment:
    """Return the environment of the page's template; templates of the given loaders are found before the report's."""
    made = Environment(
        loader=ChoiceLoader([*first, PackageLoader("skyglint.report")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(axis=axis, numbers=numbers, views=views, words=wording, told=study_words, marks=marks)
    return made
