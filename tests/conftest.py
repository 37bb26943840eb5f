"""Makes ``tests/`` importable, so that test modules share small builders by their plain names."""

from __future__ import annotations

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

# A busy machine is no fault of a property: only the benchmarks measure time.
settings.register_profile("lineproof", deadline=None)
settings.load_profile("lineproof")
