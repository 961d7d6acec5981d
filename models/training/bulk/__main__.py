"""``python -m models.training bulk``: see `running`."""

import sys

from models.training.bulk.running import main

if __name__ == "__main__":
    sys.exit(main())
