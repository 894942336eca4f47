"""``python -m foreaft.cli``."""

import sys

from foreaft.cli import main

sys.exit(main())
