"""Handles that cannot be mistaken for one another.

The skeleton of a handle is what is left when everything that the eye passes over is folded away;
two handles with one skeleton look alike, and only one of them may exist. The idea and most of the
table follow Unicode Technical Standard 39, "Unicode Security Mechanisms", section 4 (memory); the
table is short on purpose: handles that mix scripts are refused before it is asked.
"""

import unicodedata

LONGEST = 40
SHORTEST = 2
LONGEST_SKELETON = 80
PUNCTUATION = " .-_'’×"
RESERVED = ("admin", "administrator", "coordinator", "steward", "moderator", "system", "former grower")

LOOK_ALIKE_SCRIPTS = frozenset(
    {"LATIN", "GREEK", "CYRILLIC", "ARMENIAN", "CHEROKEE", "COPTIC", "GEORGIAN", "LISU"}
)
"""Scripts whose letters pass for one another; a handle may use one of them."""

GREEK_CAPITALS_LIKE_LATIN = frozenset("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧ")
"""Folding knows letters by their small form, and ν or η look like v or n where Ν and Η look like N and H."""

INVISIBLE = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0") | frozenset(
    map(chr, (*range(0x180B, 0x1810), *range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)))
)
"""Letters and marks by category that nobody sees: fillers, joiners and variation selectors."""

_FOLDED = {
    "3": "зʒӡ",
    "6": "б",
    "a": "аαɑ",
    "ae": "æӕ",
    "b": "ьвβ",
    "c": "с",
    "d": "ԁ",
    "e": "еєҽε",
    "g": "ɡց",
    "h": "һհн",
    "j": "ј",
    "k": "кκ",
    "l": "1iıιіӏ",
    "n": "ոη",
    "o": "0οо",
    "oe": "œ",
    "p": "рρ",
    "q": "ԛգ",
    "r": "г",
    "rn": "mм",
    "s": "ѕ",
    "t": "тτ",
    "u": "υսʋ",
    "v": "νѵ",
    "vv": "wԝω",
    "x": "×хχ",
    "y": "уγү",
}
CONFUSABLES = str.maketrans({letter: folded for folded, letters in _FOLDED.items() for letter in letters})


def normalized(handle: str) -> str:
    """The handle as it is stored and shown: NFKC, no space at its ends, single spaces inside."""
    return " ".join(unicodedata.normalize("NFKC", handle).split())


def skeleton(handle: str) -> str:
    """What the eye keeps of a handle; equal for handles that look alike."""
    folded = unicodedata.normalize("NFKC", handle).casefold()
    seen = "".join(_plain_digit(sign) for sign in unicodedata.normalize("NFKD", folded) if _is_seen(sign))
    return unicodedata.normalize("NFC", seen).translate(CONFUSABLES)


def refusal(handle: str) -> str | None:
    """What is allowed, when this normalized handle is not; ``None`` when it is."""
    if not SHORTEST <= len(handle) <= LONGEST:
        return f"{SHORTEST} to {LONGEST} characters"
    if any(not _is_allowed(sign) for sign in handle):
        return "letters, digits, single spaces and . - _ ' ×"
    if len(_scripts(handle) & LOOK_ALIKE_SCRIPTS) > 1:
        return "letters of one script, because those of two can pass for one another"
    if _letters(handle) and _letters(handle) <= GREEK_CAPITALS_LIKE_LATIN:
        return "the same word in small letters, because these capitals pass for Latin ones"
    if not SHORTEST <= len(skeleton(handle)) <= LONGEST_SKELETON:
        return f"at least {SHORTEST} letters or digits, and fewer than {LONGEST} composite ones"
    if skeleton(handle) in {skeleton(word) for word in RESERVED}:
        return "a handle that does not sound like an office"
    return None


def _is_allowed(sign: str) -> bool:
    category = unicodedata.category(sign)
    return sign in PUNCTUATION or ((category[0] in "LM" or category == "Nd") and sign not in INVISIBLE)


def _is_seen(sign: str) -> bool:
    """Whether the fold keeps a sign: letters, digits and ×; marks, punctuation, spaces go."""
    return sign == "×" or (unicodedata.category(sign)[0] in "LN" and sign not in INVISIBLE)


def _plain_digit(sign: str) -> str:
    return str(unicodedata.decimal(sign)) if unicodedata.category(sign) == "Nd" else sign


def _letters(handle: str) -> frozenset[str]:
    return frozenset(sign for sign in handle if unicodedata.category(sign)[0] == "L")


def _scripts(handle: str) -> set[str]:
    return {unicodedata.name(sign, "UNNAMED").split()[0] for sign in _letters(handle)}
