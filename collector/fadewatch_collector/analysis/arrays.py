"""Names for the array types the analysis passes about."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
SingleArray = NDArray[np.float32]
DayArray = NDArray[np.int32]
CountArray = NDArray[np.int64]
CodeArray = NDArray[np.int8]
Mask = NDArray[np.bool_]
