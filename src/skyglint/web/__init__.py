"""The live pages and the HTTP interface, as a process of their own beside the engine.

Here live the web application, the crowd of viewers of the live feed, the operator's session, and the templates, style
and script of the pages. Nothing is measured, counted or estimated here: numbers come from the store, from activity and
path, and are drawn by the figures of the report. Nothing here can hold up the engine: it sends and forgets.
"""
