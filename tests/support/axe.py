"""axe-core run over a page: what it finds that keeps people out. A download for tests alone, never part of dialtell."""

from __future__ import annotations

import os
from pathlib import Path

# npm pack axe-core@4.14.1 && tar xzf axe-core-4.14.1.tgz; then AXE=.../package/axe.min.js
PLACE = os.environ.get("AXE", "")
_RUN = """
window.axeSaid = null;
axe.run(document, {resultTypes: ['violations']}).then(found => {
  const said = found.violations.map(each => [each.impact, each.id, each.nodes.map(n => n.target.join(' '))]);
  window.axeSaid = {found: said};
});
"""


def serious(browser) -> list:
    """What axe-core calls serious or critical on the page as it stands; nothing where axe-core is not here."""
    if not PLACE:
        return []
    browser.run(Path(PLACE).read_text("utf-8") + _RUN)
    found = browser.wait("window.axeSaid", 60)["found"]
    return [each for each in found if each[0] in ("serious", "critical")]
