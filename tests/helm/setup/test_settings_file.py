"""helm.toml: read strictly, written whole, what a person wrote in it kept."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from moonless.errors import TableError
from moonless.folders import settings_file
from moonless.helm.setup.settings import HelmSettings, read_settings, resolved, write_settings
from moonless.watch.instruments.source_priority import CHOOSABLE

OWNERS = """\
# The launch's own.
boat = "plover.toml"  # beside this
nmea = ["udp://0.0.0.0:10110"]   # the old gateway

# the fluxgate lags
[prefer]
heading = {link = "udp://0.0.0.0:10110", talker = "HE"}  # the satellite compass
"""


def test_it_reads(tmp_path: Path) -> None:
    path = tmp_path / "helm.toml"
    path.write_text(OWNERS)
    read = read_settings(path)
    assert read == HelmSettings(
        boat="plover.toml", nmea=("udp://0.0.0.0:10110",), prefer={"heading": ("udp://0.0.0.0:10110", "HE")}
    )
    assert read.has_links
    assert resolved(path, "plover.toml") == tmp_path / "plover.toml"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("bote = 1", r'bote: is not a key of helm.toml; did you mean "boat"\?'),
        ('radar = "ftp://x:1"', "radar: link 'ftp://x:1'"),
        ("nmea = 3", "nmea: 3 is not a list of texts"),
        ("[screen]\nlenght_unit = 1", 'screen.lenght_unit.*did you mean "length_unit"'),
        ('[screen]\nlength_unit = "fathoms"', "'fathoms' is not one of .metres., .feet."),
        ('[prefer]\nheeding = {link = "a"}', 'prefer.heeding.*did you mean "heading"'),
        ('[prefer]\nheading = {talker = "a"}', "prefer.heading.link: is missing"),
        ("boat = = 1", "is not TOML"),
        ("prefer = 1", "must be a table"),
    ],
)
def test_what_cannot_be_used_is_one_line_that_names_the_key(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "helm.toml"
    path.write_text(text)
    with pytest.raises(TableError, match=says):
        read_settings(path)
    with pytest.raises(TableError):
        write_settings(path, HelmSettings())
    assert path.read_text() == text


def test_a_new_file_says_what_each_key_is(tmp_path: Path) -> None:
    path = tmp_path / "moonless" / "helm.toml"
    wanted = HelmSettings("boat.toml", ("/charts",), "udp://239.255.0.1:8600", ("tcp://gateway:2000",))
    write_settings(path, wanted)
    assert read_settings(path) == wanted
    assert "# Radar video, ASTERIX category 240" in path.read_text()


def test_where_it_is_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert settings_file() == tmp_path / "moonless" / "helm.toml"


# Neither half a letter nor a NUL is text.
TEXT = st.characters(blacklist_categories=["Cs"], blacklist_characters="\0")
WORDS = st.text(TEXT, min_size=1, max_size=30).filter(str.strip)
LINKS = st.one_of(
    st.builds("udp://0.0.0.0:{}".format, st.integers(1, 65535)),
    st.builds("tcp://gateway:{}".format, st.integers(1, 65535)),
    st.builds("serial:/dev/ttyUSB{}?baud=38400".format, st.integers(0, 9)),
)
SETTINGS = st.builds(
    HelmSettings,
    boat=st.none() | WORDS,
    charts=st.lists(WORDS, max_size=3).map(tuple),
    radar=st.none() | LINKS,
    nmea=st.lists(LINKS, max_size=3).map(tuple),
    prefer=st.dictionaries(st.sampled_from(CHOOSABLE), st.tuples(LINKS, st.sampled_from(["", "GP", "HE"]))),
    length_unit=st.sampled_from(["metres", "feet"]),
)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(first=SETTINGS, second=SETTINGS, is_owners=st.booleans())
def test_round_trip(tmp_path: Path, first: HelmSettings, second: HelmSettings, is_owners: bool) -> None:
    path = tmp_path / "helm.toml"
    path.unlink(missing_ok=True)
    if is_owners:
        path.write_text(OWNERS)
    write_settings(path, first)
    assert read_settings(path) == first
    write_settings(path, second)
    assert read_settings(path) == second
    before = path.read_text()
    write_settings(path, second)
    assert path.read_text() == before
    if is_owners:
        assert "# The launch's own." in before
        if first.nmea and second.nmea:
            assert "# the old gateway" in before
