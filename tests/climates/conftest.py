"""The shared case of these tests lies beside them, importable by them and by the processes that they start."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
