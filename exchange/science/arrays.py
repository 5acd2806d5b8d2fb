"""Array types shared by science and matching."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntegerArray = NDArray[np.int64]
