"""Where the checkout lies, and what may lie beside it."""

from __future__ import annotations

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TRIALS = ROOT / "tests" / "trials"
PARTS = ("synth", "model", "train", "evaluate")
# photographs for evaluation, not part of the project; absent in most places
PHOTOS = Path(os.environ.get("DIALTELL_PHOTOS", ROOT.parent / "shared" / "photos"))
MUSEUM_RECORDS = ROOT.parent / "shared" / "museum" / "records.csv"
