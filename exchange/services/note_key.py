"""Notes that last as long as their writer's account: sealed with a key of one's own, which goes with it."""

from cryptography.fernet import Fernet

from exchange.models import NoteKey
from exchange.services.cipher import decrypted, encrypted
from growers.models import Grower


def note_sealed(*, writer: Grower, text: str) -> bytes | None:
    """A note sealed with its writer's key, which is made with the first; nothing for an empty one."""
    if not text:
        return None
    row, _ = NoteKey.objects.get_or_create(
        grower=writer, defaults={"sealed": encrypted(Fernet.generate_key())}
    )
    return Fernet(decrypted(bytes(row.sealed))).encrypt(text.encode())


def notes_opened(sealed: dict[int, tuple[int, bytes]]) -> dict[int, str]:
    """Texts by key, of ``(writer's key, sealed note)``; left out where the writer's key is gone."""
    keys = NoteKey.objects.filter(grower__in={writer for writer, _ in sealed.values()})
    ciphers = {row.grower_id: Fernet(decrypted(bytes(row.sealed))) for row in keys}
    return {
        key: ciphers[writer].decrypt(bytes(note)).decode()
        for key, (writer, note) in sealed.items()
        if writer in ciphers
    }


def note_key_forget(*, writer: Grower) -> None:
    """Make all notes of a grower unreadable for good."""
    NoteKey.objects.filter(grower=writer).delete()
