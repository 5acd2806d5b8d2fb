"""Range checks of scientific input: one sentence that says what came and what is allowed."""

import numpy as np
from numpy.typing import ArrayLike


def check_range(name: str, value: ArrayLike, low: float, high: float) -> None:
    """Refuse numbers outside ``low``–``high`` (both allowed) and numbers that are not finite.

    Raises
    ------
    ValueError
        Naming the parameter, the first offending value and the allowed range.
    """
    numbers = np.atleast_1d(np.asarray(value, dtype=np.float64))
    wrong = ~((numbers >= low) & (numbers <= high)) | ~np.isfinite(numbers)
    if wrong.any():
        raise ValueError(f"{name} is {numbers[wrong][0]:g}; allowed: {low:g} to {high:g}.")


def check_positive(name: str, value: ArrayLike) -> None:
    """Refuse numbers that are not finite and above zero.

    Raises
    ------
    ValueError
        Naming the parameter and the first offending value.
    """
    numbers = np.atleast_1d(np.asarray(value, dtype=np.float64))
    wrong = ~(numbers > 0.0) | ~np.isfinite(numbers)
    if wrong.any():
        raise ValueError(f"{name} is {numbers[wrong][0]:g}; allowed: above 0.")


def check_choice(name: str, value: str, allowed: tuple[str, ...]) -> None:
    """Refuse words that are not in ``allowed``.

    Raises
    ------
    ValueError
        Naming the parameter, the word and the allowed words.
    """
    if value not in allowed:
        raise ValueError(f"{name} is {value!r}; allowed: {', '.join(allowed)}.")
