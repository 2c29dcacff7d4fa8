"""The command line: `baitprint`.  Commands parse, call one public function and show its result; what is heavy to load
is loaded inside them, so that `--help` is quick."""

from __future__ import annotations

import sys


def main() -> None:
    """Entry point of the `baitprint` command."""
    try:
        from identify.commands.app import app
        from identify.commands.console import prepare_streams

        prepare_streams()
        app(windows_expand_args=False)
    except KeyboardInterrupt:
        sys.exit(130)
