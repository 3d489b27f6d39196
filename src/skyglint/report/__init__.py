"""Night pages and figures: what a person shows to others, in one file that needs nothing else.

Here live the tokens of the look, the formatting of numbers, the figures (small pure functions that return SVG), and the
night page with the record of everything that it shows. Nothing is measured or counted here, and nothing is fetched:
the numbers come from the store and from activity, by the same functions that fill the exported tables.
"""
