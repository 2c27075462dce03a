"""Where the average of independent chi-square values must lie."""

from scipy.special import gammaincinv

from posefuse.checks import in_range
from posefuse.errors import InputError

__all__ = ["chi_square_average_interval"]


def chi_square_average_interval(
    dof: int, count: int, *, level: float = 0.95
) -> tuple[float, float]:
    """Where the average of ``count`` independent chi-square values of ``dof`` must lie.

    The two-sided acceptance region of a consistent filter's average NEES or NIS: Bar-Shalom, Li,
    Kirubarajan, Estimation with Applications to Tracking and Navigation, 2001, sec. 5.4.

    Parameters
    ----------
    count
        Independent values. Errors at the rows of one run are not: over trials, count the trials.

    Examples
    --------
    >>> low, high = chi_square_average_interval(2, 50)
    >>> print(f"{low:.2f} {high:.2f}")
    1.48 2.59
    """
    if dof < 1 or count < 1:
        raise InputError(f"chi-square: dof and count must be 1 or more (got {dof} and {count})")
    tail = (1.0 - in_range("level", level, 0.0, 1.0)) / 2.0
    half = 0.5 * dof * count
    return (
        float(2.0 * gammaincinv(half, tail) / count),
        float(2.0 * gammaincinv(half, 1.0 - tail) / count),
    )
