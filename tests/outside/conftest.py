"""The checks lie beside the tests as plain modules."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
