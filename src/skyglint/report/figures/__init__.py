"""Figures as SVG text: small pure functions, one idea each.

Each figure is coloured by the classes of the page's style sheet and carries its alternative text. Figures that hold
text are drawn at the size at which they are shown, so that their letters keep the page's sizes on a phone.
"""
