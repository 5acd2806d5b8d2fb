"""The project's clock as tests move it: through the offset file, for every process of the test."""

from datetime import datetime, timedelta
from pathlib import Path

from growers import clock


class MovableClock:
    """Moves ``growers.clock``; the clock runs on from where it is put."""

    def __init__(self, offset_file: Path) -> None:
        self.offset_file = offset_file

    def set(self, instant: datetime) -> None:
        """Put the clock to an instant."""
        self._write(instant - clock.true_now())

    def move(self, **span: float) -> None:
        """Move the clock on, by ``days=``, ``hours=``, ``minutes=`` … as ``timedelta`` names them."""
        self._write(clock.offset() + timedelta(**span))

    def reset(self) -> None:
        """Back to the system clock."""
        self.offset_file.unlink(missing_ok=True)

    def _write(self, offset: timedelta) -> None:
        # In one step: a server of the test may read the file at this very moment.
        draft = self.offset_file.with_suffix(".draft")
        draft.write_text(f"{offset.total_seconds():.6f}\n", encoding="ascii")
        draft.replace(self.offset_file)
