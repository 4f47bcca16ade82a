"""Heat units of bud development by the hour."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

Floats = NDArray[Any]
