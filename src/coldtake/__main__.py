"""`python -m coldtake` is the same as `coldtake`."""

import sys

from coldtake.cli import main

if __name__ == "__main__":
    sys.exit(main())
