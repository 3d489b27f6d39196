"""What happens to an echo once it has closed: it is named, and what is heard of it goes on within a second or so."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from skyglint.echoes.echo import Echo, Findings
from skyglint.station.aside import Aside
from skyglint.station.chain import Heard

#: How long an echo waits for its station's name, and a snippet for its turn at the disk; a rest at the end.
NAME_PATIENCE_S, SNIPPET_PATIENCE_S, REST_S = 1.0, 10.0, 3.0


class Closing:
    """Takes closed echoes out of what the chain yields, and gives them back named.

    Naming takes a tenth of a second or more and a snippet has to be written: both happen beside the samples.

    Parameters
    ----------
    name
        Names an echo by its samples.
    keep
        Keeps its samples where they are worth it.
    monotonic
        A clock that is never set.
    """

    def __init__(
        self, name: Callable[[Echo], Echo], keep: Callable[[Echo], Echo], monotonic: Callable[[], float]
    ) -> None:
        self._naming = Aside(name, "naming", monotonic, NAME_PATIENCE_S)
        self._keeping = Aside(keep, "snippets", monotonic, SNIPPET_PATIENCE_S)
        self._unnamed: list[Echo] = []

    def add(self, heard: Heard, in_haste: bool) -> Heard:
        """Return what was heard without its echoes; in haste they are not named."""
        for findings in heard.findings:
            for echo in findings.echoes:
                if in_haste:
                    self._unnamed.append(echo)
                else:
                    self._naming.give(echo)
        return replace(heard, findings=tuple(replace(findings, echoes=()) for findings in heard.findings))

    def done(self) -> Heard:
        """Return the echoes that are ready to be stored and told; empty where none are. Never waits."""
        self._keeping.take()
        unnamed, self._unnamed = self._unnamed, []
        return self._passed_on([*self._naming.take(), *unnamed])

    def finish(self) -> Heard:
        """Return the last echoes, and end."""
        rest = self._passed_on([*self._naming.close(REST_S), *self._unnamed])
        self._keeping.close(REST_S)
        return rest

    def _passed_on(self, echoes: Sequence[Echo]) -> Heard:
        if not echoes:
            return Heard()
        for echo in echoes:
            self._keeping.give(echo)
        nothing = np.empty((0, 0), np.float32)
        in_order = tuple(sorted(echoes, key=lambda echo: echo.start_unix))
        return Heard(findings=(Findings(in_order[0].start_unix, 0.0, nothing, nothing, in_order),))
