"""The engine's process on a computer in trouble: ``python engine_in_trouble.py CONTROL SITE --feed-port PORT``.

The control file holds JSON: ``clock_s`` (the computer's clock is set by so much), ``full`` (the disk takes nothing
more), ``slow_s`` (every block takes so much longer to work through).
"""

import json
import resource
import shutil
import sys
import threading
import time
from collections import namedtuple
from functools import partial
from pathlib import Path

Usage = namedtuple("Usage", "total used free")


def main():
    control, orders = Path(sys.argv.pop(1)), {}
    real_time, real_usage = time.time, shutil.disk_usage
    _, most = resource.getrlimit(resource.RLIMIT_FSIZE)

    def follow_orders():
        while True:
            if control.exists():
                orders.update(json.loads(control.read_text()))
            # No file may grow beyond this: the system refuses the write, as it does on a full disk.
            resource.setrlimit(resource.RLIMIT_FSIZE, (4096 if orders.get("full") else most, most))
            time.sleep(0.05)

    # Before the engine is imported: it takes the clock as it finds it.
    time.time = lambda: real_time() + orders.get("clock_s", 0.0)
    shutil.disk_usage = lambda path: Usage(64e9, 64e9, 4096) if orders.get("full") else real_usage(path)
    threading.Thread(target=follow_orders, daemon=True).start()

    from skyglint.echoes.settings import DetectionSettings
    from skyglint.station import chain, engine, engine_process

    real_process = chain.Chain.process

    def process(self, item):
        time.sleep(orders.get("slow_s", 0.0))
        return real_process(self, item)

    chain.Chain.process = process
    # A drill has no time to wait ten seconds for a first floor.
    engine.DetectionSettings = partial(DetectionSettings, warm_up_s=2.0)
    return engine_process.main()


if __name__ == "__main__":
    sys.exit(main())
