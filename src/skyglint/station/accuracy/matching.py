"""Which echo is which true event."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from skyglint.echoes.echo import Echo
from skyglint.simulate.truth import EVERY_CHANNEL, TrueEvent


@dataclass(frozen=True, slots=True)
class Match:
    """A true event and the echoes that overlap it in its channel, by start time."""

    event: TrueEvent
    echoes: tuple[Echo, ...]

    @property
    def main(self) -> Echo | None:
        """The echo with the most energy."""
        return max(self.echoes, key=lambda echo: echo.energy_snr_s, default=None)


def match(events: Sequence[TrueEvent], echoes: Sequence[Echo], slack_s: float = 0.05) -> list[Match]:
    """Return every event with the echoes that overlap it, give or take ``slack_s``."""
    return [
        Match(
            event,
            tuple(
                echo
                for echo in echoes
                if event.channel in (EVERY_CHANNEL, echo.channel)
                and echo.start_unix < event.end_unix + slack_s
                and echo.end_unix > event.start_unix - slack_s
            ),
        )
        for event in events
    ]
