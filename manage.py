#!/usr/bin/env python3
"""The door to every command of the laboratory's teardown record."""

import os
import sys
from pathlib import Path


def main() -> None:
    """Choose the settings and the data folder, then do what was asked."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "teardown.site.settings")
    if sys.argv[1:2] == ["demo"]:  # the invented laboratory never mixes with a real one
        os.environ.setdefault("TEARDOWN_DATA", str(Path(__file__).parent / ".data" / "demo"))
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
