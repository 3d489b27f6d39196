"""Mean orbital elements and the forms in which people bring them: OMM (XML, JSON, CSV, KVN) and two-line sets.

Text in, elements out; nothing is fetched. Sources: CCSDS 502.0-B (Orbit Mean-Elements Message) and, for two-line sets,
Hoots & Roehrich, Spacetrack Report No. 3 (1980), with the later Alpha-5 numbers.
"""
