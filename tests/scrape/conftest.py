"""The rigs of the broker's tests serve here too: boards, a broker, certificates."""

import sys
from pathlib import Path

_room = str(Path(__file__).parents[1] / "broker")
if _room not in sys.path:
    sys.path.append(_room)
