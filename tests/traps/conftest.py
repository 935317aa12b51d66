"""The company's files lie beside the tests as a plain module."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
