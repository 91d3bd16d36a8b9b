"""How far real air is from the ideal gas of the plant.

The plant itself stays ideal; this tells when a reader should know.
"""

WORTH_A_WORD = 0.005
"""Share by which ideal gas may miss the density without a note."""


def compressibility(pressure_pa: float, temperature_k: float) -> float:
    """Compressibility factor of dry air.

    ``Z = 1 - p/T (a0 + a1 t + a2 t**2) + (p/T)**2 d`` with ``t`` in degC.

    Parameters
    ----------
    pressure_pa : float
        Absolute pressure [Pa].
    temperature_k : float
        Temperature [K].

    Returns
    -------
    float
        ``p / (rho R T)`` [-].

    Notes
    -----
    Source: CIPM-2007 (Picard et al., Metrologia 45 (2008) 149), its terms for dry
    air, from memory. It was made for 0.6 ... 1.1 bar at 15 ... 27 degC; beyond,
    it was compared with CoolProp 8.0.0: within 0.02 % from -20 to 60 degC up to
    20 bar, 0.06 % up to 50 bar. It gives nine tenths of the deviation at 200 K
    and half of it at 400 K.

    Examples
    --------
    >>> compressibility(14e5, 293.15)
    0.995456
    """
    celsius = temperature_k - 273.15
    ratio_pa_k = pressure_pa / temperature_k
    pairs = 1.58123e-6 - 2.9331e-8 * celsius + 1.1043e-10 * celsius**2
    return 1.0 - ratio_pa_k * pairs + ratio_pa_k**2 * 1.83e-11


def ideal_density_error(pressure_pa: float, temperature_k: float) -> float:
    """Relative error of the ideal gas law in the density of air.

    ``rho_ideal / rho - 1 = Z - 1``

    Parameters
    ----------
    pressure_pa : float
        Absolute pressure [Pa].
    temperature_k : float
        Temperature [K].

    Returns
    -------
    float
        Negative where real air is denser [-].

    Notes
    -----
    Source: `compressibility`.

    Examples
    --------
    >>> ideal_density_error(14e5, 253.15)
    -0.01167
    """
    return compressibility(pressure_pa, temperature_k) - 1.0
