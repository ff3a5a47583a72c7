"""Puts the tests folder on the import path, for its shared data modules."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
