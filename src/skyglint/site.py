"""The site file: the observer's place, antenna, receiver and channels, declared in one TOML file.

Every fault is reported in one go, one line each: file, key, what was found, what was expected. Nothing is guessed; a
value that is not in the file is either optional (and then ``None``) or a fault.
"""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticUndefined

from skyglint.errors import RequestError, SiteFileError

Role = Literal["target", "guard", "reference"]
Kind = Literal["fm", "carrier"]
Encoding = Literal["cu8", "ci8", "ci16_le", "cf32_le"]
Environment = Literal["city", "residential", "rural", "quiet rural"]
Polarization = Literal["horizontal", "vertical", "circular"]

#: Analysis bandwidth where the site file names none: an FM broadcast channel (47 CFR 73.201 spaces them by 200 kHz),
#: and for a carrier +-3 kHz, which holds head echoes (common practice).
DEFAULT_BANDWIDTH_HZ: dict[Kind, float] = {"fm": 200_000.0, "carrier": 6_000.0}

Latitude = Annotated[float, Field(ge=-90, le=90, description="-90 to 90 degrees, north positive")]
Longitude = Annotated[float, Field(ge=-180, le=180, description="-180 to 180 degrees, east positive")]
Azimuth = Annotated[float, Field(ge=0, le=360, description="0 to 360 degrees, clockwise from true north")]
Elevation = Annotated[float, Field(ge=-90, le=90, description="-90 to 90 degrees above the horizontal")]
Frequency = Annotated[float, Field(gt=0, le=300e9, description="a frequency in hertz above 0")]
Height = Annotated[float, Field(ge=-500, le=9000, description="-500 to 9000 metres above sea level")]
Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=80),
    Field(description="a name of 1 to 80 characters"),
]
CatalogNumber = Annotated[int, Field(ge=0, le=999_999_999, description="a catalogue number, 0 to 999999999")]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class SitePlace(_Table):
    """Where the observer is and how noisy it is there.

    ``height_m`` is the ground above sea level, ``timezone`` is for display only.
    """

    name: Name
    latitude_deg: Latitude
    longitude_deg: Longitude
    height_m: Height
    timezone: Annotated[str, Field(description='an IANA time zone name such as "Europe/London"')]
    environment: Annotated[
        Environment, Field(description='"city", "residential", "rural" or "quiet rural" (man-made noise, ITU-R P.372)')
    ] = "residential"

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise ValueError("unknown zone") from error
        return value


class Antenna(_Table):
    """The receiving antenna: where it points, how it is fed, how high it stands above the ground."""

    azimuth_deg: Azimuth
    elevation_deg: Elevation
    gain_dbi: Annotated[float, Field(ge=-30, le=40, description="-30 to 40 dBi")]
    beamwidth_deg: Annotated[float, Field(gt=0, le=360, description="above 0 to 360 degrees between half-power points")]
    height_above_ground_m: Annotated[float, Field(ge=0, le=500, description="0 to 500 metres")]
    polarization: Annotated[Polarization, Field(description='"horizontal", "vertical" or "circular"')]


class Receiver(_Table):
    """Where samples come from and how the receiver is set; a recording states its own rate and centre.

    ``encoding`` is of samples on standard input (source ``-``).
    """

    source: Annotated[str, StringConstraints(min_length=1), Field(description="a receiver's address or a path")]
    center_frequency_hz: Frequency
    sample_rate_hz: Annotated[float, Field(ge=8_000, le=20e6, description="8,000 to 20,000,000 samples per second")]
    gain_db: Annotated[float | Literal["auto"], Field(description='a number of decibels or "auto"')]
    correction_ppm: Annotated[float, Field(ge=-200, le=200, description="-200 to 200 parts per million")]
    encoding: Annotated[Encoding, Field(description='"cu8", "ci8", "ci16_le" or "cf32_le"')] = "cu8"


class Channel(_Table):
    """A frequency that the receiver watches, and the transmitter behind it where one is known.

    ``power_w`` is the effective radiated power, over a half-wave dipole, as licences state it; ``height_m`` the
    radiation centre above sea level; ``satellite`` the catalogue number of the satellite whose own beacon this is.
    """

    name: Name
    role: Annotated[Role, Field(description='"target", "guard" or "reference"')]
    kind: Annotated[Kind, Field(description='"fm" or "carrier"')]
    frequency_hz: Frequency
    bandwidth_hz: Annotated[float, Field(gt=0, le=1e6, description="above 0 to 1,000,000 hertz")] = Field(
        default_factory=lambda data: DEFAULT_BANDWIDTH_HZ.get(data.get("kind", "fm"), 200_000.0)
    )
    latitude_deg: Latitude | None = None
    longitude_deg: Longitude | None = None
    power_w: Annotated[float, Field(gt=0, le=10e6, description="above 0 to 10,000,000 watts")] | None = None
    height_m: Height | None = None
    rds_pi: (
        Annotated[
            str,
            StringConstraints(pattern=r"^[0-9A-Fa-f]{4}$", to_upper=True),
            Field(description="4 hex digits"),
        ]
        | None
    ) = None
    satellite: CatalogNumber | None = None

    @model_validator(mode="after")
    def _whole_position(self) -> Channel:
        if (self.latitude_deg is None) != (self.longitude_deg is None):
            raise ValueError("latitude_deg and longitude_deg go together: give both or neither")
        if self.rds_pi is not None and self.kind != "fm":
            raise ValueError('rds_pi is for channels of kind "fm"')
        if self.satellite is not None and (self.kind != "carrier" or self.latitude_deg is not None):
            raise ValueError('satellite is for channels of kind "carrier" without a transmitter on the ground')
        return self


class Station(_Table):
    """The unattended run; paths are relative to the site file's folder."""

    database: Annotated[str, StringConstraints(min_length=1), Field(description="a path")] = "station.db"
    snippets: Annotated[str, StringConstraints(min_length=1), Field(description="a folder's path")] = "snippets"
    disk_budget_gb: Annotated[float, Field(ge=0, le=1e6, description="0 to 1,000,000 gigabytes for snippets")] = 20.0
    snippet_snr_db: Annotated[float, Field(ge=-20, le=100, description="-20 to 100 dB: weaker echoes keep no I/Q")] = (
        10.0
    )
    from_solar_hour: Annotated[float, Field(ge=0, lt=24, description="0 to below 24 hours of solar time")] | None = None
    to_solar_hour: Annotated[float, Field(ge=0, lt=24, description="0 to below 24 hours of solar time")] | None = None
    elements: Annotated[str, StringConstraints(min_length=1), Field(description="a path")] | None = None
    satellites: (
        Annotated[
            tuple[CatalogNumber, ...],
            Field(strict=False, min_length=1, description="a list of catalogue numbers, 0 to 999999999"),
        ]
        | None
    ) = None

    @model_validator(mode="after")
    def _whole_hours(self) -> Station:
        if (self.from_solar_hour is None) != (self.to_solar_hour is None):
            raise ValueError("from_solar_hour and to_solar_hour go together: give both, or neither to watch always")
        if self.satellites is not None and self.elements is None:
            raise ValueError("satellites names objects of a file of orbital elements: give elements as well")
        return self


class Pages(_Table):
    """The live pages: where they listen, and whether they may show the exact place."""

    host: Annotated[str, StringConstraints(min_length=1), Field(description="an address to listen at")] = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65535, description="a port, 1 to 65535")] = 8080
    exact_place: Annotated[bool, Field(description="true or false")] = False


class Notices(_Table):
    """Where to send notices, and of what; at most so many an hour."""

    webhook: Annotated[str, StringConstraints(pattern=r"^https?://"), Field(description="an http or https address")]
    template: Annotated[str, StringConstraints(min_length=2), Field(description="JSON with {placeholders}")] | None = (
        None
    )
    strong_snr_db: Annotated[float, Field(ge=0, le=100, description="0 to 100 dB")] = 25.0
    most_per_hour: Annotated[int, Field(ge=1, le=3600, description="1 to 3600")] = 12


class Site(_Table):
    """One observer's station, as the site file declares it."""

    site: SitePlace
    antenna: Antenna
    receiver: Receiver
    station: Station = Station()
    pages: Pages = Pages()
    notices: Notices | None = None
    channel: Annotated[tuple[Channel, ...], Field(min_length=1, strict=False, description="at least one [[channel]]")]

    @model_validator(mode="after")
    def _distinct_names(self) -> Site:
        names = [channel.name for channel in self.channel]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"channel names must differ; used more than once: {', '.join(twice)}")
        return self

    def crowded_guards(self) -> list[tuple[Channel, Channel]]:
        """Return each guard with a channel that has a transmitter and lies partly within the guard's band.

        Whatever comes from that transmitter shows in the guard too, and would be taken for interference.
        """
        guards = [channel for channel in self.channel if channel.role == "guard"]
        others = [channel for channel in self.channel if channel.role != "guard"]
        return [
            (guard, other)
            for guard in guards
            for other in others
            if abs(guard.frequency_hz - other.frequency_hz) < (guard.bandwidth_hz + other.bandwidth_hz) / 2
        ]


def load_site(path: Path) -> Site:
    """Read and check a site file.

    Raises
    ------
    RequestError
        If the file cannot be read.
    SiteFileError
        If it is not TOML or has faults; all faults at once, one line each.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise RequestError(f"{path}: no such site file") from error
    except UnicodeDecodeError as error:
        raise SiteFileError([f"{path}: not a text file in UTF-8 (byte {error.start}); expected TOML"]) from error
    except OSError as error:
        raise RequestError(f"{path}: cannot be read: {error.strerror}") from error
    return parse_site(text, str(path))


def parse_site(text: str, name: str = "site file") -> Site:
    """Check the text of a site file; ``name`` stands in the messages.

    Raises
    ------
    SiteFileError
        If it is not TOML or has faults; all faults at once, one line each.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SiteFileError([f"{name}: not valid TOML: {error}"]) from error
    try:
        return Site.model_validate(data)
    except ValidationError as error:
        faults = [fault for fault in error.errors(include_url=False) if not _is_consequence(data, fault)]
        problems = [_explain(name, data, fault) for fault in faults]
        raise SiteFileError(list(dict.fromkeys(problems))) from error


def _is_consequence(data: dict[str, Any], fault: Any) -> bool:
    """Tell whether a fault only follows from another: a default or a list that a faulty neighbour spoilt."""
    return fault["input"] is PydanticUndefined or (fault["type"] == "too_short" and bool(data.get("channel")))


def _explain(name: str, data: dict[str, Any], fault: Any) -> str:
    # Union branches and literal alternatives appear in pydantic's location as extra parts: keep what is in the file.
    location = [part for part in fault["loc"] if isinstance(part, int) or part in _KEYS or part in data]
    if fault["type"] == "extra_forbidden":
        location = list(fault["loc"])
    table, key = _place(data, location)
    where = f"{name}: {table} {key}".rstrip() if table else f"{name}: {key}"
    if fault["type"] == "missing":
        return f"{where} is missing: expected {_expected(location)}"
    if fault["type"] == "extra_forbidden":
        return f"{where} is not a known key{_suggestion(location)}"
    if fault["type"] == "value_error" and not _expected(location):
        return f"{where}: {fault['ctx']['error']}"
    if fault["type"] == "value_error" and fault["loc"] and isinstance(fault["input"], dict):
        return f"{where}: {fault['ctx']['error']}"
    return f"{where} = {_shown(fault['input'])}: expected {_expected(location)}"


def _place(data: dict[str, Any], location: list[int | str]) -> tuple[str, str]:
    table, key = "", ""
    for part in location:
        if isinstance(part, int) and table == "[[channel]]":
            entry = data["channel"][part] if isinstance(data.get("channel"), list) else {}
            label = entry.get("name") if isinstance(entry, dict) else None
            table = f"[[channel]] {part + 1}" + (f' "{label}"' if isinstance(label, str) else "")
        elif isinstance(part, int):
            continue  # within a list of plain values
        elif not table and part in _MODELS:
            table = "[[channel]]" if part == "channel" else f"[{part}]"
        else:
            key = str(part)
    return table, key


_MODELS: dict[str, type[BaseModel]] = {
    "site": SitePlace,
    "antenna": Antenna,
    "receiver": Receiver,
    "station": Station,
    "pages": Pages,
    "notices": Notices,
    "channel": Channel,
}
_KEYS = {key for model in _MODELS.values() for key in model.model_fields} | set(_MODELS)


def _expected(location: list[int | str]) -> str:
    names = [part for part in location if isinstance(part, str)]
    if len(names) == 1 and names[0] in _MODELS:
        return "at least one [[channel]]" if names[0] == "channel" else f"a table [{names[0]}]"
    if len(names) < 2:
        return ""
    field = _MODELS[names[0]].model_fields.get(names[1])
    if field is None:
        return ""
    if field.description:
        return field.description
    # An optional field carries its description on the branch that is not None.
    for branch in getattr(field.annotation, "__args__", ()):
        for note in getattr(branch, "__metadata__", ()):
            if getattr(note, "description", None):
                return str(note.description)
    return ""


def _suggestion(location: list[int | str]) -> str:
    names = [part for part in location if isinstance(part, str)]
    model = _MODELS.get(names[0]) if len(names) > 1 else None
    known = list(model.model_fields) if model else list(_MODELS)
    close = difflib.get_close_matches(names[-1], known, n=1, cutoff=0.5)
    starts = [key for key in known if key.startswith(names[-1] + "_")]
    best = (starts or close or [""])[0]
    return f"; did you mean {best}?" if best else f"; known here: {', '.join(known)}"


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."
