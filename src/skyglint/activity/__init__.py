"""From echoes and coverage to rates and what follows from them.

Here live the arithmetic of spans of time, counting statistics, rates, and the models of the meteors' activity. Pure
functions over arrays and records, and readers of the store where a whole database is the question. Nothing here looks
at a sample or a frame, draws, or writes to a database.
"""
