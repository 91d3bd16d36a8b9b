"""The published tuning rules as formulas, each in the form of its source.

Gains are of the plant, K; times are its dead time L, lag T and what else the
rule names. Where a source gives several controllers, they are called P, PI, PID.
"""

from dataclasses import dataclass

from host_sim.tune.forms import Ideal, Series


@dataclass(frozen=True)
class Ultimate:
    """Gain at which P alone makes the loop swing for ever, and the period."""

    gain: float
    period_s: float


def ziegler_nichols_step(rise: float, delay_s: float) -> dict[str, Ideal]:
    """Tune from a step: ``P 1/a``; ``PI 0.9/a, L/0.3``; ``PID 1.2/a, 2L, L/2``.

    Parameters
    ----------
    rise : float
        ``a``: slope of the steepest tangent times L, for a unit step [-].
    delay_s : float
        ``L``: where that tangent leaves rest [s].

    Returns
    -------
    dict of str to Ideal

    Notes
    -----
    Source: Ziegler and Nichols, Trans. ASME 64 (1942) 759-768, second-hand. The
    PI integral time is the original ``L/0.3``; many books print ``3L``.

    >>> ziegler_nichols_step(0.4, 2.0)["PI"]
    Ideal(kc=2.25, ti_s=6.6667, td_s=0.0)
    """
    return {
        "P": Ideal(1.0 / rise),
        "PI": Ideal(0.9 / rise, delay_s / 0.3),
        "PID": Ideal(1.2 / rise, 2.0 * delay_s, delay_s / 2.0),
    }


def ziegler_nichols_frequency(ultimate: Ultimate) -> dict[str, Ideal]:
    """Tune from the ultimate gain and period.

    ``P 0.5 Ku``; ``PI 0.45 Ku, Pu/1.2``; ``PID 0.6 Ku, Pu/2, Pu/8``.

    Notes
    -----
    Source: Ziegler and Nichols, Trans. ASME 64 (1942) 759-768, second-hand. A
    variant ``0.4 Ku, 0.8 Pu`` of the PI is Astrom and Haegglund's.

    >>> ziegler_nichols_frequency(Ultimate(8.0, 3.6276))["PID"]
    Ideal(kc=4.8, ti_s=1.8138, td_s=0.45345)
    """
    gain, period_s = ultimate.gain, ultimate.period_s
    return {
        "P": Ideal(0.5 * gain),
        "PI": Ideal(0.45 * gain, period_s / 1.2),
        "PID": Ideal(0.6 * gain, period_s / 2.0, period_s / 8.0),
    }


def cohen_coon(gain: float, lag_s: float, delay_s: float) -> dict[str, Ideal]:
    """Tune from a step; with ``r = L/T``, ``k = 1/(K r)``.

    ``P k (1 + r/3)``; ``PI k (0.9 + r/12), L (30 + 3r)/(9 + 20r)``;
    ``PID k (4/3 + r/4), L (32 + 6r)/(13 + 8r), 4L/(11 + 2r)``.

    Notes
    -----
    Source: Cohen and Coon, Trans. ASME 75 (1953) 827-834, in the textbooks' form;
    P second-hand, PI and PID from memory.

    >>> cohen_coon(1.0, 10.0, 2.0)["PI"]
    Ideal(kc=4.5833, ti_s=4.7077, td_s=0.0)
    """
    r = delay_s / lag_s
    k = 1.0 / (gain * r)
    return {
        "P": Ideal(k * (1.0 + r / 3.0)),
        "PI": Ideal(
            k * (0.9 + r / 12.0), delay_s * (30.0 + 3.0 * r) / (9.0 + 20.0 * r)
        ),
        "PID": Ideal(
            k * (4.0 / 3.0 + r / 4.0),
            delay_s * (32.0 + 6.0 * r) / (13.0 + 8.0 * r),
            4.0 * delay_s / (11.0 + 2.0 * r),
        ),
    }


def simc(
    gain: float,
    lag_s: float,
    delay_s: float,
    closed_loop_s: float,
    second_lag_s: float = 0.0,
) -> Series:
    """Tune a plant of one or two lags for a closed-loop time constant.

    ``Kc = T/(K (tc + L))``, ``ti = min(T, 4 (tc + L))``, ``td = T2``.

    Parameters
    ----------
    gain : float
    lag_s, delay_s, closed_loop_s, second_lag_s : float
        T, L, the wanted ``tc`` (L for tight control) and T2 [s].

    Returns
    -------
    Series
        PI without a second lag.

    Notes
    -----
    Source: Skogestad, J. Process Control 13 (2003) 291-309, second-hand.

    >>> simc(1.0, 20.0, 1.0, 1.0, 2.0)
    Series(kc=10.0, ti_s=8.0, td_s=2.0)
    """
    slowed_s = closed_loop_s + delay_s
    return Series(lag_s / (gain * slowed_s), min(lag_s, 4.0 * slowed_s), second_lag_s)


def simc_integrating(gain_per_s: float, delay_s: float, closed_loop_s: float) -> Series:
    """Tune an integrator: ``Kc = 1/(k (tc + L))``, ``ti = 4 (tc + L)``.

    Notes
    -----
    Source: as `simc`, its limit for a long lag, second-hand.

    >>> simc_integrating(1.0, 1.0, 1.0)
    Series(kc=0.5, ti_s=8.0, td_s=0.0)
    """
    slowed_s = closed_loop_s + delay_s
    return Series(1.0 / (gain_per_s * slowed_s), 4.0 * slowed_s)


def amigo(gain: float, lag_s: float, delay_s: float) -> dict[str, Ideal]:
    """Tune from a step for peaks of S and T of at most 1.4.

    PI: ``k = 0.15/K + (0.35 - L T/(L + T)^2) T/(K L)``,
    ``ti = 0.35 L + 13 L T^2/(T^2 + 12 L T + 7 L^2)``; PID:
    ``k = (0.2 + 0.45 T/L)/K``, ``ti = L (0.4 L + 0.8 T)/(L + 0.1 T)``,
    ``td = 0.5 L T/(0.3 L + T)``.

    Notes
    -----
    Source: Astrom and Haegglund, J. Process Control 14 (2004) 635-650, from
    memory.

    >>> amigo(1.0, 1.0, 1.0)["PID"]
    Ideal(kc=0.65, ti_s=1.0909, td_s=0.38462)
    """
    t, d = lag_s, delay_s
    return {
        "PI": Ideal(
            0.15 / gain + (0.35 - d * t / (d + t) ** 2) * t / (gain * d),
            0.35 * d + 13.0 * d * t**2 / (t**2 + 12.0 * d * t + 7.0 * d**2),
        ),
        "PID": Ideal(
            (0.2 + 0.45 * t / d) / gain,
            d * (0.4 * d + 0.8 * t) / (d + 0.1 * t),
            0.5 * d * t / (0.3 * d + t),
        ),
    }


def amigo_integrating(gain_per_s: float, delay_s: float) -> dict[str, Ideal]:
    """Tune an integrator: ``PI 0.35/(k L), 13.35 L``; ``PID 0.45/(k L), 8L, L/2``.

    Notes
    -----
    Source: the limits of `amigo` for a long lag, recomputed.

    >>> amigo_integrating(1.0, 2.0)["PID"]
    Ideal(kc=0.225, ti_s=16.0, td_s=1.0)
    """
    k = 1.0 / (gain_per_s * delay_s)
    return {
        "PI": Ideal(0.35 * k, 13.35 * delay_s),
        "PID": Ideal(0.45 * k, 8.0 * delay_s, 0.5 * delay_s),
    }


def lambda_pi(gain: float, lag_s: float, delay_s: float, closed_loop_s: float) -> Ideal:
    """Tune a lag for a closed-loop time constant: ``K' = T/(K (tc + L))``, ``T``.

    Notes
    -----
    Source: common practice ("lambda tuning"), from memory.

    >>> lambda_pi(2.0, 10.0, 2.0, 10.0)
    Ideal(kc=0.41667, ti_s=10.0, td_s=0.0)
    """
    return Ideal(lag_s / (gain * (closed_loop_s + delay_s)), lag_s)


def imc(
    gain: float, lag_s: float, delay_s: float, filter_s: tuple[float, float]
) -> dict[str, Ideal]:
    """Tune a lag by internal model control with a filter lag for PI and for PID.

    ``PI (2T + L)/(2 K f), T + L/2``;
    ``PID (2T + L)/(K (2f + L)), T + L/2, T L/(2T + L)``.

    Notes
    -----
    Source: Rivera, Morari and Skogestad, Ind. Eng. Chem. Process Des. Dev. 25
    (1986) 252, PI second-hand, PID from memory.

    >>> imc(2.0, 10.0, 2.0, (3.4, 1.6))["PID"]
    Ideal(kc=2.11538, ti_s=11.0, td_s=0.90909)
    """
    total_s = 2.0 * lag_s + delay_s
    pi_s, pid_s = filter_s
    return {
        "PI": Ideal(total_s / (2.0 * gain * pi_s), lag_s + delay_s / 2.0),
        "PID": Ideal(
            total_s / (gain * (2.0 * pid_s + delay_s)),
            lag_s + delay_s / 2.0,
            lag_s * delay_s / total_s,
        ),
    }


def imc_integrating(gain_per_s: float, delay_s: float, filter_s: float) -> Ideal:
    """Tune an integrator: ``(2f + L)/(k (f + L)^2)``, ``2f + L``.

    Notes
    -----
    Source: as `imc`, from memory; lambda tuning of integrators is the same.

    >>> imc_integrating(1.0, 1.0, 2.0)
    Ideal(kc=0.55556, ti_s=5.0, td_s=0.0)
    """
    twice_s = 2.0 * filter_s + delay_s
    return Ideal(twice_s / (gain_per_s * (filter_s + delay_s) ** 2), twice_s)
