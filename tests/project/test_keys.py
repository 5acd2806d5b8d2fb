"""Keys: made once, kept private, the same for processes that start together."""

import stat
import threading
from pathlib import Path

import pytest

from exchange.project.environment import SettingError
from exchange.project.keys import (
    check_address_keys,
    check_secret_key,
    kept_secret,
    make_address_key,
    make_secret_key,
    private_folder,
)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_secret_is_made_once_with_mode_600(tmp_path: Path) -> None:
    path = tmp_path / "secret_key"
    assert kept_secret(path, "first") == "first"
    assert kept_secret(path, "second") == "first"
    assert mode(path) == 0o600
    assert [path.name for path in tmp_path.iterdir()] == ["secret_key"]


def test_starters_at_the_same_time_agree_on_one_secret(tmp_path: Path) -> None:
    gate = threading.Barrier(8)
    seen: list[str] = []

    def start(number: int) -> None:
        gate.wait(30)
        seen.append(kept_secret(tmp_path / "secret_key", f"of starter {number}"))

    starters = [threading.Thread(target=start, args=(number,)) for number in range(8)]
    for starter in starters:
        starter.start()
    for starter in starters:
        starter.join(30)
    assert len(seen) == 8
    assert set(seen) == {(tmp_path / "secret_key").read_text(encoding="ascii").strip()}
    assert [path.name for path in tmp_path.iterdir()] == ["secret_key"]


def test_a_secret_that_others_can_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "secret_key"
    path.write_text("known\n", encoding="ascii")
    path.chmod(0o644)
    with pytest.raises(SettingError) as caught:
        kept_secret(path, "new")
    assert str(caught.value) == f"{path} is 'mode 644'; others must not read it: set its mode to 600."


def test_an_empty_secret_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "secret_key"
    path.touch(mode=0o600)
    with pytest.raises(SettingError, match="remove it to have a new key made, or restore it from the backup"):
        kept_secret(path, "new")


def test_the_folder_is_made_private(tmp_path: Path) -> None:
    folder = private_folder("DATA_DIR", tmp_path / "a" / "b")
    assert mode(folder) == 0o700
    assert private_folder("DATA_DIR", folder) == folder


def test_a_folder_open_to_others_is_refused(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    with pytest.raises(SettingError) as caught:
        private_folder("DATA_DIR", tmp_path)
    assert str(caught.value) == (
        f"DATA_DIR is '{tmp_path}'; its mode is 755 and must be 700, because keys are kept there."
    )


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "data").touch()
    with pytest.raises(SettingError, match="it must be a folder that this account can make and write"):
        private_folder("DATA_DIR", tmp_path / "data")


def test_made_keys_differ_and_pass_their_own_check() -> None:
    made = [make_secret_key() for _ in range(3)]
    assert len(set(made)) == 3
    assert [check_secret_key(key) for key in made] == made
    address_keys = [make_address_key() for _ in range(3)]
    assert check_address_keys(",".join(address_keys)) == tuple(address_keys)
    assert check_address_keys("\n".join(address_keys)) == tuple(address_keys)


@pytest.mark.parametrize(
    "key", ["", "short", "a" * 60, "django-insecure-" + "abcdefghijklmnopqrstuvwxyz0123456789" * 2]
)
def test_example_keys_are_refused(key: str) -> None:
    with pytest.raises(SettingError, match=f"^SECRET_KEY has {len(key)} characters or is an example"):
        check_secret_key(key)


@pytest.mark.parametrize("key", ["x", "A" * 43, "A" * 40, "ä" * 44, "A" * 42 + "+="])
def test_unusable_address_keys_are_numbered(key: str) -> None:
    with pytest.raises(SettingError, match=r"^ADDRESS_KEYS: key 2 is not usable"):
        check_address_keys(f"{make_address_key()},{key}")
