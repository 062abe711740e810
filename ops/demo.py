"""``python -m ops.demo``: what `bash ops/demo` starts once its packages are there; the same as `pourbook demo`."""

from __future__ import annotations

import sys

from ops.cli import main

if __name__ == "__main__":
    sys.exit(main(["demo", *sys.argv[1:]]))
