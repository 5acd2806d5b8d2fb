"""The code on a packet: seven characters and one that checks them, to be read, typed and said aloud.

No I, L, O or U, which are taken for 1, 0 and V. The eight characters are numbers of the field with 32
elements and their sum, each times another power of a primitive element, is 0: so any one wrong character and
any two that changed places are noticed (Peterson & Weldon 1972, Error-Correcting Codes [memory]).
"""

import secrets

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 8
READ_AS = str.maketrans({"I": "1", "L": "1", "O": "0", "U": "V", "-": None, " ": None})
MODULUS = 0b100101
"""x⁵ + x² + 1, primitive over two elements [memory]; the tests count its powers."""


def code_new() -> str:
    """A code drawn by lot."""
    body = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH - 1))
    return body + check_character(body)


def check_character(body: str) -> str:
    """The eighth character of seven."""
    total = 0
    for sign in body:
        total = _times_x(total ^ ALPHABET.index(sign))
    return ALPHABET[total]


def code_read(text: str) -> str | None:
    """A code as somebody typed it: any case, spaces or hyphens, I for 1 and O for 0; None if it is wrong."""
    code = text.upper().translate(READ_AS)
    fits = len(code) == LENGTH and set(code) <= set(ALPHABET)
    return code if fits and check_character(code[:-1]) == code[-1] else None


def code_shown(code: str) -> str:
    """A code in two groups of four, for the eye."""
    return f"{code[:4]}-{code[4:]}"


def _times_x(element: int) -> int:
    shifted = element << 1
    return shifted ^ MODULUS if shifted >= len(ALPHABET) else shifted
