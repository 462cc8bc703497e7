"""Print all checks against the outside: `python tests/against/table.py`."""

from __future__ import annotations

import checks_calibration  # noqa: F401
import checks_courses  # noqa: F401
import checks_hydraulics  # noqa: F401
import checks_planning  # noqa: F401
import checks_units  # noqa: F401
from register import CHECKS, table

if __name__ == "__main__":
    print(table(CHECKS))
