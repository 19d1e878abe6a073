"""``python -m panelfem``."""

import sys

from panelfem.cli import main

if __name__ == "__main__":
    sys.exit(main())
