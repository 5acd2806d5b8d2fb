"""What growers typed, made fit for one line of a file or a message."""

from growers.services.row import is_printable


def one_line(text: str) -> str:
    """Without signs that nobody sees, whichever of them a reader may take for the end of a line."""
    return "".join(sign if is_printable(sign) else " " for sign in text)
