"""The command line: one small module a command, no computation.

A command parses, calls one library function and prints. Known errors become one message and the exit status that they
carry: 0 done, 1 ran and failed, 2 the request itself was wrong.
"""

from skyglint.cli.app import main

__all__ = ["main"]
