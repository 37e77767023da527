"""The only place that knows the user's folders, by each platform's custom (XDG, Windows, macOS), from platformdirs.

Nothing is made here: who writes makes the folder.
"""

from __future__ import annotations

from pathlib import Path

from platformdirs import PlatformDirs

APP = "moonless"


def _dirs() -> PlatformDirs:
    # No author's folder in between; settings travel with a Windows user (roaming), data and caches do not.
    return PlatformDirs(APP, appauthor=False)


def settings_folder() -> Path:
    """Return where settings are kept: ``$XDG_CONFIG_HOME/moonless``, ``%APPDATA%\\moonless``."""
    return Path(PlatformDirs(APP, appauthor=False, roaming=True).user_config_dir)


def data_folder() -> Path:
    """Return where what the user made is kept: ``$XDG_DATA_HOME/moonless``, ``%LOCALAPPDATA%\\moonless``."""
    return Path(_dirs().user_data_dir)


def cache_folder() -> Path:
    """Return where what can be made again is kept: ``$XDG_CACHE_HOME/moonless``, on Windows below the data folder."""
    return Path(_dirs().user_cache_dir)


def settings_file() -> Path:
    """Return where ``moonless helm`` looks for its settings."""
    return settings_folder() / "helm.toml"


def routes_folder() -> Path:
    """Return where the helm keeps routes."""
    return data_folder() / "routes"


def knowledge_file() -> Path:
    """Return where local knowledge is kept."""
    return data_folder() / "knowledge.gpkg"


def learned_folder() -> Path:
    """Return where the summaries of runs that were learned are kept."""
    return data_folder() / "learned"


def screens_file() -> Path:
    """Return where the helm keeps which screens are paired."""
    return data_folder() / "screens.json"


def practice_file() -> Path:
    """Return where the answers given in practice are kept."""
    return data_folder() / "practice.json"


def charts_cache() -> Path:
    """Return where indexes and tiles of charts are kept."""
    return cache_folder() / "charts"
