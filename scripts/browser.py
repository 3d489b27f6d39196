"""Make sure that a Chromium is there for the browser tests; install Debian's where that is possible."""

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def find_browser() -> str | None:
    return next(filter(None, map(shutil.which, NAMES)), None)


def main() -> int:
    if find_browser():
        return 0
    if shutil.which("apt-get"):
        root = [] if os.geteuid() == 0 else ["sudo", "-n"]
        quiet = {"stdout": subprocess.DEVNULL, "check": False}
        subprocess.run([*root, "apt-get", "update", "-qq"], **quiet)
        subprocess.run([*root, "apt-get", "install", "-y", "-qq", "--no-install-recommends", "chromium"], **quiet)
        if find_browser():
            return 0
    print(
        "The pages are tested in a real browser and none was found. Install Chromium "
        "(Debian, Ubuntu: sudo apt-get install chromium) and run again.",
        file=sys.stderr,
    )
    return 1


if __name__ == "__main__":
    sys.exit(main())
