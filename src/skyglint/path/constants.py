"""Physical constants with their sources."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

#: Exact, definition of the metre (SI).
SPEED_OF_LIGHT_M_S: Final = 299_792_458.0

#: CODATA 2018 recommended value.
ELECTRON_RADIUS_M: Final = 2.8179403262e-15

#: Exact, definition of the kelvin (SI).
BOLTZMANN_J_K: Final = 1.380649e-23

#: Reference temperature of noise figures, ITU-R P.372.
REFERENCE_TEMPERATURE_K: Final = 290.0

#: Mean radius as the ITU-R propagation Recommendations use it.
EARTH_RADIUS_M: Final = 6_371_000.0

#: What ITU-R P.526 permits when nothing else is known of the refraction ("4/3 Earth", Annex 1 sec. 1).
EFFECTIVE_RADIUS_M: Final = 8_500_000.0

#: The factor of effective to true radius in a standard atmosphere.
STANDARD_REFRACTION: Final = 4.0 / 3.0

#: Half-wave dipole over an isotropic antenna: effective radiated power to EIRP.
DIPOLE_GAIN_DBI: Final = 2.15
