"""Make the invented frames importable by every test of this folder."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
