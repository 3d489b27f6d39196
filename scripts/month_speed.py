"""Measure how long a month of twelve channels takes, from the database to its page; prints processor seconds."""

import sys
import tempfile
import time
from pathlib import Path

from skyglint.report.season_gather import gather_season
from skyglint.report.season_page import render_season
from skyglint.store import Store

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "report"))
from simulated_months import MonthMaker


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "month.db"
        MonthMaker(targets=10, guards=2, per_hour=12.0).write(path, "2026-08-01", 30)
        with Store.open(path) as store:
            processor, clock = time.process_time(), time.perf_counter()
            page = gather_season(store, "2026-08")
            gathered = time.process_time() - processor
            html = render_season(page)
        processor, clock = time.process_time() - processor, time.perf_counter() - clock
        echoes = sum(entry.bursts for entry in page.channels)
        print(
            f"{echoes} bursts in {len(page.channels)} channels: {gathered:.1f} s to analyse, {processor:.1f} s in all "
            f"(processor), {clock:.1f} s by the clock; page of {len(html) / 1e6:.2f} MB"
        )


if __name__ == "__main__":
    main()
