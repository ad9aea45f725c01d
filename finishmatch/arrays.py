"""The kinds of numpy array that values and functions name; their shapes stand in the docstrings."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.intp]
RowArray = npt.NDArray[np.integer[Any]]
FloatImage = npt.NDArray[np.float32]
