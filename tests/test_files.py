"""Files written whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from fertadjust.errors import UserError
from fertadjust.files import check_writable, write_bytes, write_text
from tests.support import let_others_in


def test_a_text_is_written_in_utf_8_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    write_text(path, "Café\r\n北\n")
    assert path.read_bytes() == "Café\r\n北\n".encode()
    assert path.stat().st_mode & 0o777 == 0o644


def test_folders_on_the_way_are_made(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b" / "page.html"
    write_bytes(path, b"x")
    assert path.read_bytes() == b"x"


def test_what_stood_there_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_text("old and much longer")
    write_text(path, "new")
    assert path.read_text() == "new"
    assert [item.name for item in tmp_path.iterdir()] == ["page.html"]


def test_a_folder_in_the_place_of_the_file_is_told(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.mkdir()
    with pytest.raises(UserError) as caught:
        write_text(path, "new")
    assert str(caught.value).startswith(f"{path}: cannot be written: ")
    assert [item.name for item in tmp_path.iterdir()] == ["page.html"]
    assert list(path.iterdir()) == []


def test_a_file_in_the_place_of_a_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "pages").write_text("not a folder")
    with pytest.raises(UserError, match="cannot be written"):
        write_text(tmp_path / "pages" / "page.html", "new")
    assert (tmp_path / "pages").read_text() == "not a folder"


@pytest.fixture
def closed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder that may not be written to, seen by a person without rights of the administrator."""
    folder = tmp_path_factory.mktemp("closed")
    let_others_in(tmp_path_factory)
    (folder / "page.html").write_text("old")
    folder.chmod(0o555)
    administrator = os.geteuid() == 0
    if administrator:
        os.seteuid(65534)
    try:
        yield folder
    finally:
        if administrator:
            os.seteuid(0)
        folder.chmod(0o755)


def test_a_closed_folder_is_told_and_what_stood_there_stays(closed: Path) -> None:
    with pytest.raises(UserError) as caught:
        write_text(closed / "page.html", "new")
    assert str(caught.value) == f"{closed / 'page.html'}: cannot be written: Permission denied"
    assert [(item.name, item.read_text()) for item in closed.iterdir()] == [("page.html", "old")]


def test_a_writing_that_breaks_off_leaves_what_stood_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "page.html"
    path.write_text("old")

    def full(self: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(UserError, match="No space left on device"):
        write_text(path, "new")
    assert [(item.name, item.read_text()) for item in tmp_path.iterdir()] == [("page.html", "old")]


def test_a_link_stays_and_what_it_leads_to_is_written(tmp_path: Path) -> None:
    (tmp_path / "drive").mkdir()
    target, link = tmp_path / "drive" / "season.toml", tmp_path / "season.toml"
    target.write_text("old")
    link.symlink_to(Path("drive") / "season.toml")
    write_text(link, "new")
    assert link.is_symlink() and target.read_text() == "new"
    assert [item.name for item in target.parent.iterdir()] == ["season.toml"]


def test_a_link_to_nothing_makes_the_file_but_no_folder(tmp_path: Path) -> None:
    link = tmp_path / "page.html"
    link.symlink_to(tmp_path / "other.html")
    write_text(link, "new")
    assert link.is_symlink() and (tmp_path / "other.html").read_text() == "new"
    lost = tmp_path / "lost.html"
    lost.symlink_to(tmp_path / "drive" / "lost.html")
    with pytest.raises(UserError, match="cannot be written: No such file"):
        write_text(lost, "new")
    assert not (tmp_path / "drive").exists()


def test_a_link_to_itself_is_told(tmp_path: Path) -> None:
    link = tmp_path / "page.html"
    link.symlink_to(link)
    with pytest.raises(UserError, match="cannot be written"):
        write_text(link, "new")
    assert [item.name for item in tmp_path.iterdir()] == ["page.html"] and link.is_symlink()


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664, 0o755])
def test_a_file_that_stands_keeps_its_mode(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "season.toml"
    path.write_text("old")
    path.chmod(mode)
    write_text(path, "new")
    assert path.stat().st_mode & 0o777 == mode


# --- places to write to -------------------------------------------------------------------------------------


def test_a_place_that_can_be_written_is_let_pass_and_left_as_it_is(tmp_path: Path) -> None:
    check_writable(tmp_path / "new" / "deep" / "a.png")
    (tmp_path / "a.png").write_text("stays", encoding="utf-8")
    check_writable(tmp_path / "a.png")
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]
    assert (tmp_path / "a.png").read_text(encoding="utf-8") == "stays"


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A folder, a file in place of a folder, a folder that takes nothing, a link that leads nowhere."""
    (tmp_path / "folder.png").mkdir()
    (tmp_path / "pages").write_text("no folder", encoding="utf-8")
    (tmp_path / "link.png").symlink_to(tmp_path / "nowhere" / "a.png")
    places = [tmp_path / "folder.png", tmp_path / "pages" / "a.png", tmp_path / "link.png", Path("/proc/a.png")]
    for path in places:
        with pytest.raises(UserError, match="cannot be written: ") as caught:
            check_writable(path)
        assert str(path) in str(caught.value)
