"""The rigs of other rooms that the territories use."""

import sys
from pathlib import Path

for _room in ("cli", "exchange", "service"):
    sys.path.append(str(Path(__file__).parents[1] / _room))
