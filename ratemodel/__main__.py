"""`python -m ratemodel`."""

from __future__ import annotations

import sys

from ratemodel.cli import main

if __name__ == "__main__":
    sys.exit(main())
