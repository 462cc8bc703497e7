"""The operating point against a pipe-network solver with emitters, Q = C * P^0.5.

Source: WNTR, the water-network library that wraps and re-implements the EPANET equations. A pump
that follows one point of a head curve, a pipe with a quadratic loss, and one emitter for each tip.
"""

import numpy as np
import pytest
import wntr
from hypothesis import strategies as _  # noqa: F401  (keeps hypothesis' profile loaded)

from flowlog.physics.network import operating_point
from flowlog.physics.pumps import CentrifugalPump
