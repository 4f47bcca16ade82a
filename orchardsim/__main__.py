"""``python -m orchardsim``: the command line."""

import sys

from orchardsim.cli.start import start

if __name__ == "__main__":
    sys.exit(start())
