"""The user's folders, by each platform's custom."""

from __future__ import annotations

from pathlib import Path

import platformdirs.macos
import platformdirs.unix
import platformdirs.windows
import pytest

from moonless import folders


def test_xdg_is_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    # XDG Base Directory Specification 0.8: the variable where it is set, else these below home.
    monkeypatch.setattr(folders, "PlatformDirs", platformdirs.unix.Unix)
    monkeypatch.setenv("HOME", "/home/me")
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    assert folders.settings_file() == Path("/home/me/.config/moonless/helm.toml")
    assert folders.knowledge_file() == Path("/home/me/.local/share/moonless/knowledge.gpkg")
    assert folders.routes_folder() == Path("/home/me/.local/share/moonless/routes")
    assert folders.charts_cache() == Path("/home/me/.cache/moonless/charts")
    monkeypatch.setenv("XDG_CACHE_HOME", "/elsewhere")
    assert folders.charts_cache() == Path("/elsewhere/moonless/charts")


def test_windows_and_macos_have_each_their_own(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known Folders of Windows (FOLDERID_RoamingAppData, FOLDERID_LocalAppData); Apple's File System Programming Guide.
    monkeypatch.setattr(folders, "PlatformDirs", platformdirs.windows.Windows)
    from_environment = platformdirs.windows.get_win_folder_from_env_vars
    monkeypatch.setattr(platformdirs.windows, "get_win_folder", from_environment)
    monkeypatch.setenv("APPDATA", "/roaming")
    monkeypatch.setenv("LOCALAPPDATA", "/local")
    assert folders.settings_folder().as_posix().startswith("/roaming")
    assert folders.data_folder().as_posix().startswith("/local") and "moonless" in str(folders.data_folder())
    assert folders.cache_folder().as_posix().startswith("/local")
    monkeypatch.setattr(folders, "PlatformDirs", platformdirs.macos.MacOS)
    monkeypatch.setenv("HOME", "/Users/me")
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    assert folders.data_folder() == Path("/Users/me/Library/Application Support/moonless")
    assert folders.charts_cache() == Path("/Users/me/Library/Caches/moonless/charts")
