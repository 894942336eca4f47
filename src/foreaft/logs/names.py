"""What a column may be, judged by its name and its unit; nothing here sees the samples.

A name is cut into words; each word stands for one or more notions (brake, pressure, front ...).
A column is recognised where its notions are exactly those of one channel: a word nobody knows
makes it a column nobody knows.
So the order of the words does not matter, and "brake disc temperature front" is no brake pressure.

The words are English, and those most used in German, French, Italian and Spanish.
All of them are common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from foreaft.logs.channels import WHEELS
from foreaft.logs.raw import MAX_COLUMNS
from foreaft.logs.units import Kind, Unit, parse_unit

WHEEL_SPEEDS: Final = tuple(f"wheel_speed_{wheel}_radps" for wheel in WHEELS)
PRESSURES: Final = ("pressure_front_Pa", "pressure_rear_Pa")

KINDS: Final[dict[str, tuple[Kind, ...]]] = {
    "time_s": ("time",),
    "distance_m": ("length",),
    "speed_mps": ("speed",),
    "accel_x_mps2": ("acceleration",),
    "accel_y_mps2": ("acceleration",),
    "yaw_rate_radps": ("angular_rate",),
    "steer_rad": ("angle",),
    "steering_wheel_rad": ("angle",),
    "throttle_frac": ("fraction",),
    "brake_pedal_frac": ("fraction",),
    "pedal_force_N": ("force",),
    "pressure_front_Pa": ("pressure",),
    "pressure_rear_Pa": ("pressure",),
    **dict.fromkeys(WHEEL_SPEEDS, ("angular_rate", "speed")),
    "latitude_deg": ("angle",),
    "longitude_deg": ("angle",),
    "position_x_m": ("length",),
    "position_y_m": ("length",),
    "heading_rad": ("angle",),
    "gear": ("number",),
    "engine_speed_radps": ("angular_rate",),
    "lap_count": ("number",),
    "setting": ("number", "fraction"),
}
"""What each channel of the catalogue may be measured in; a wheel's speed also as the road's."""

UNITLESS: Final = frozenset({"gear", "lap_count", "setting"})

_WORDS: Final = {
    "time": "time zeit temps tempo tiempo t timestamp elapsed laufzeit uptime secs zeitstempel "
    "utc gmt uhrzeit datetime heure hora horodatage",
    "date": "date datum",
    "distance": "distance dist distanz strecke weg wegstrecke distanza distancia odometer odo s",
    "speed": "speed spd velocity vel vitesse velocita velocidad geschwindigkeit tacho v vx vcar "
    "geschw groundspeed gpsspeed vehspd vhcl",
    "speed wheel": "wheelspeed wspd ws raddrehzahl radgeschwindigkeit radgeschw whlspd nwheel "
    "vwheel",
    "wheel": "wheel wheels whl rad roue ruota rueda",
    "acceleration": "acceleration accel acc accelerazione accelerazion beschleunigung aceleracion "
    "beschl acceler g gforce a",
    "acceleration x": "ax accx gx longg glong glon accelx xaccel laengsbeschleunigung "
    "langsbeschleunigung laengsbeschl langsbeschl gforcelong",
    "acceleration y": "ay accy gy latg glat accely yaccel querbeschleunigung querbeschl gforcelat",
    "x": "x longitudinal longitudinale longi laengs langs inline",
    "y": "y lateral laterale latéral quer transversal trasversale transversale",
    "lat": "lat",
    "lon": "long",
    "yaw": "yaw gier lacet imbardata guinada",
    "yaw rate": "yawrate gierrate giergeschwindigkeit yawvelocity omegaz omega gyroz psidot wz",
    "rate": "rate vitesse_ang",
    "gyro": "gyro gyroscope gyroscop kreisel",
    "z": "z",
    "steer": "steer steering lenkung lenk sterzo direction direccion volant steered",
    "steer angle": "lenkwinkel steerangle",
    "steer angle road": "delta",
    "steer angle hand": "lenkradwinkel steeringwheelangle swa handwheelangle",
    "hand": "handwheel lenkrad volante steeringwheel",
    "angle": "angle winkel angolo angulo ang",
    "throttle": "throttle tps drosselklappe gas gaspedal fahrpedal papillon farfalla acelerador "
    "accelerator accelerateur acceleratore aps thr thrtl",
    "pedal": "pedal pedale pedall ped",
    "position": "position pos stellung posizione posicion travel",
    "force": "force kraft forza fuerza effort",
    "brake": "brake brakes braking brk brems bremse bremsen frein freins freinage freno freni "
    "frenado frenata",
    "brake pedal": "bremspedal brakepedal",
    "brake pressure": "bremsdruck brakepressure brkpress pbrake brakep",
    "brake pressure front": "bpf pbrakef pbrakefront brakepressfront brakepressuref",
    "brake pressure rear": "bpr pbraker pbrakerear brakepressrear brakepressurer",
    "pressure": "pressure press pres druck pression pressione presion prs p",
    "front": "front fr_axle vorne vorn vorderachse va avant av anteriore ant delantera delantero "
    "del f frt fnt",
    "rear": "rear hinten hinterachse ha arriere ar posteriore post trasera trasero tras r rr_axle",
    "left": "left links gauche sinistra sx izquierda izq izquierdo li",
    "right": "right rechts droite droit destra dx derecha der derecho re",
    "front left": "fl lf vl",
    "front right": "fr rf vr",
    "rear left": "rl lr hl bl",
    "rear right": "rr hr br",
    "latitude": "latitude latitud breite breitengrad latitudine",
    "longitude": "longitude longitud lon lng laenge lange langengrad laengengrad longitudine",
    "heading": "heading kurs cap course hdg track_angle phi psi rumbo rotta bearing",
    "east": "east easting ost est este",
    "north": "north northing nord norte",
    "gear": "gear gang rapport marcia marcha vitesse_engagee gearpos ngear gearposition",
    "engine": "engine eng motor moteur motore",
    "rotation": "rpm drehzahl regime giri revs rev n nmot revoluciones tr",
    "engine rotation": "motordrehzahl enginerpm nengine enginespeed rpmengine",
    "lap": "lap runde tour giro vuelta laps",
    "number": "number no nr num count counter nummer numero zaehler zahler idx index",
    "lap number": "lapcount lapnumber lapno nlap rundenzahl rundennummer lapcounter lapnr",
    "setting": "setting einstellung reglage regolazione ajuste setpoint",
    "balance": "balance bal bias balancier bremsbalance ripartizione repartition reparto bb bbal "
    "bbias brakebias brakebalance",
    "command": "cmd command demand request soll sollwert target",
}
"""Notions, and the words that stand for them; notions joined by a blank come together."""

_NOISE_WORDS: Final = (
    "gps gnss imu ecu can car vehicle veh vehic fahrzeug vehicule veicolo vehiculo ground abs "
    "sensor signal value raw filtered filt corr corrected actual act ch channel measured meas "
    "log logger data ist messwert of the de du della la le l d wgs84 local sens total body "
    "cg cog over line circuit master cylinder mc cyl enu utm"
)
"""Words that change nothing about what a column is."""

_NOISE: Final = frozenset(_NOISE_WORDS.split(" "))

_NOTIONS: Final = {
    word: frozenset(notions.split()) for notions, words in _WORDS.items() for word in words.split()
}


def _sets(*names: str) -> tuple[frozenset[str], ...]:
    return tuple(frozenset(one.split()) for one in names)


def _lines(axle: str) -> tuple[str, ...]:
    """The line to one wheel is that of its axle; where the two differ, it is asked."""
    both = (f"brake pressure {axle}", f"brake {axle}", f"pressure {axle}")
    return (*both, *(f"brake pressure {axle} {side}" for side in ("left", "right")))


_BY_NOTION: Final[dict[str, tuple[frozenset[str], ...]]] = {
    "time_s": _sets("time", "date time", "lap time"),
    "distance_m": _sets("distance", "lap distance"),
    "speed_mps": _sets("speed", "speed x"),
    "accel_x_mps2": _sets("acceleration x", "acceleration lon", "x"),
    "accel_y_mps2": _sets("acceleration y", "acceleration lat", "y"),
    "yaw_rate_radps": _sets("yaw rate", "yaw", "gyro z", "rate z", "yaw gyro", "yaw speed"),
    "steer_rad": _sets("steer angle road"),
    "steering_wheel_rad": _sets(
        "steer hand angle", "hand angle", "steer hand", "hand", "steer wheel angle", "steer wheel"
    ),
    "throttle_frac": _sets(
        "throttle",
        "throttle pedal",
        "throttle position",
        "acceleration pedal",
        "throttle pedal position",
    ),
    "brake_pedal_frac": _sets("brake", "brake pedal", "brake position"),
    "pedal_force_N": _sets("brake pedal force", "pedal force", "brake force", "brake pedal"),
    "pressure_front_Pa": _sets(*_lines("front")),
    "pressure_rear_Pa": _sets(*_lines("rear")),
    "latitude_deg": _sets("latitude", "latitude position"),
    "longitude_deg": _sets("longitude", "longitude position"),
    "position_x_m": _sets("position x", "x", "east", "position east"),
    "position_y_m": _sets("position y", "y", "north", "position north"),
    "heading_rad": _sets("heading", "yaw", "yaw angle", "heading angle"),
    "gear": _sets("gear", "gear position", "gear number"),
    "engine_speed_radps": _sets("rotation", "engine rotation", "engine speed"),
    "lap_count": _sets("lap", "lap number"),
    "setting": _sets(
        "balance", "brake balance", "brake balance setting", "brake setting", "setting"
    ),
}
for _wheel in WHEELS:
    _place = _wheel.replace("_", " ")
    _BY_NOTION[f"wheel_speed_{_wheel}_radps"] = _sets(
        f"speed wheel {_place}", f"wheel {_place}", f"speed {_place}", f"wheel rotation {_place}"
    )

_ASKED: Final[dict[frozenset[str], tuple[str, ...]]] = {
    frozenset({"brake", "pressure"}): PRESSURES,
    frozenset({"brake", "pressure", "pedal"}): PRESSURES,
    frozenset({"speed", "wheel"}): WHEEL_SPEEDS,
    frozenset({"acceleration"}): ("accel_x_mps2", "accel_y_mps2"),
    frozenset({"steer"}): ("steering_wheel_rad", "steer_rad"),
    frozenset({"steer", "position"}): ("steering_wheel_rad", "steer_rad"),
    frozenset({"brake"}): ("brake_pedal_frac", *PRESSURES),
    frozenset({"brake", "pedal"}): ("brake_pedal_frac", "pedal_force_N", *PRESSURES),
    frozenset({"rotation", "wheel"}): WHEEL_SPEEDS,
    frozenset({"position"}): ("position_x_m", "position_y_m"),
    frozenset({"steer", "angle"}): ("steering_wheel_rad", "steer_rad"),
    frozenset({"lat"}): ("latitude_deg", "accel_y_mps2"),
    frozenset({"lon"}): ("longitude_deg", "accel_x_mps2"),
}
"""Names that fit several channels: asked, unless the unit leaves one of them."""


_NUMBERS: Final = frozenset("1234")
"""A number may stand for a wheel: which one is asked."""


@dataclass(frozen=True)
class Reading:
    """What a name and a unit say together.

    Parameters
    ----------
    candidates : tuple of str
        Channels it may be, likeliest first; empty where the name says nothing.
    unit : Unit or None
        Its unit; None where there is none, or none that is known.
    written_unit : str
        As written.
    command : bool
        Whether the name calls it a command, which leads what it commands.
    """

    candidates: tuple[str, ...]
    unit: Unit | None
    written_unit: str
    command: bool = False


def of_a_lap(name: str) -> bool:
    """Whether a time or a distance begins anew at each lap, by its name."""
    return any("lap" in _NOTIONS.get(word, ()) for word in words_of(name))


def words_of(name: str) -> list[str]:
    """Cut a name into lower-case words without accents, at blanks, punctuation and capitals."""
    plain = unicodedata.normalize("NFKD", name[:LONGEST].replace("ß", "ss"))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = re.sub(r"([a-z])([A-Z])", r"\1 \2", plain)
    plain = re.sub(r"([A-Z]+)([A-Z][a-z])", r"\1 \2", plain)
    return [word for word in re.split(r"[^a-z0-9]+", plain.lower()) if word]


LONGEST: Final = 120
"""No more of a name is looked at."""


def split_unit(header: str) -> tuple[str, str]:
    """Give name and unit of a header such as ``Speed [km/h]``, ``Speed (km/h)`` or ``speed_kmh``.

    Examples
    --------
    >>> split_unit("Brake pressure (bar)"), split_unit("yaw_rate_degps"), split_unit("gear")
    (('Brake pressure', 'bar'), ('yaw_rate', 'degps'), ('gear', ''))
    >>> split_unit("speed/km/h"), split_unit("Speed, km/h"), split_unit("Speed in km/h")
    (('speed', 'km/h'), ('Speed', 'km/h'), ('Speed', 'km/h'))
    """
    text = header.strip().lstrip("#").strip()
    if len(text) > LONGEST:
        return text, ""
    bracket = re.fullmatch(r"(.*?)[\s_.:-]*[\[({]([^\[\](){}]*)[\])}]\s*", text)
    if bracket and bracket[1].strip():
        return bracket[1].strip(), bracket[2].strip()
    last = re.fullmatch(r"(.*[^\s_])[\s_]+([^\s_]+)", text)
    if last and re.search(r"[A-Za-z%°]", last[2]) and parse_unit(last[2]) and words_of(last[1]):
        if last[1].endswith(" of"):  # a time of day is no time in days
            return text, ""
        return re.sub(r"( in|\W+)$", "", last[1]), last[2]
    cut = re.fullmatch(r"([^/,:]*[^/,:\s])\s*[/,:]\s*(.+)", text)
    if cut and parse_unit(cut[2]) and words_of(cut[1]):
        return cut[1], cut[2]
    return text, ""


@lru_cache(maxsize=MAX_COLUMNS)
def read_name(name: str, written_unit: str) -> Reading:
    """Give what a name and its unit, written apart or inside the name, may mean."""
    reading = _read_name(name, written_unit)
    twin = re.fullmatch(r"(.+) #\d+", name)  # the second column of a name, unless it has a number
    return _read_name(twin[1], written_unit) if twin and not reading.candidates else reading


def _read_name(name: str, written_unit: str) -> Reading:
    inner, inner_unit = split_unit(name)
    unit_text = written_unit.strip() or inner_unit
    unit = parse_unit(unit_text)
    exact = name.strip()
    if exact in KINDS and (unit is None or unit.kind in KINDS[exact]):
        return Reading((exact,), unit, unit_text)
    # A last word that is a unit may also be a word: "wheel speed RR", "G" for acceleration.
    stems = [inner, name] if not written_unit.strip() and "[" not in name else [inner]
    command = False
    for stem in stems:
        words = words_of(stem)
        found, command = _candidates(words)
        if not found and "".join(words) in _NOTIONS:
            found, command = _candidates(["".join(words)])
        if stem == name and stem != inner:
            unit, unit_text = None, written_unit.strip()
        if unit is not None and unit.kind == "number" and not UNITLESS & set(found):
            unit = None  # "1" or "-" says no more than nothing
        found = _with_unit(found, unit)
        if found:
            return Reading(found, unit, unit_text, command)
    unit = parse_unit(unit_text)
    return Reading((), unit, unit_text, command)


def _candidates(words: Iterable[str]) -> tuple[tuple[str, ...], bool]:
    """Channels whose notions are those of the words, and whether it is a command."""
    notions: set[str] = set()
    numbered = False
    for word in words:
        known = _NOTIONS.get(word) or _with_wheel(word)
        if word in _NUMBERS:
            numbered = True
        elif known:
            notions |= known
        elif word not in _NOISE:
            return (), False
    command = "command" in notions
    key = frozenset(notions - {"command"})
    if not key:
        return (), False
    exact = tuple(name for name, sets in _BY_NOTION.items() if key in sets and not numbered)
    asked = tuple(name for name in _ASKED.get(key, ()) if name not in exact)
    return exact + asked, command


def _with_wheel(word: str) -> frozenset[str]:
    """Give the notions of a word that ends with a wheel, such as ``wsfl``; none for any other."""
    stem, wheel = _NOTIONS.get(word[:-2]), _NOTIONS.get(word[-2:])
    return stem | wheel if stem and wheel in _PLACES else frozenset()


_PLACES: Final = _sets(*(wheel.replace("_", " ") for wheel in WHEELS))


def _with_unit(found: tuple[str, ...], unit: Unit | None) -> tuple[str, ...]:
    """Leave those that can be measured in the unit; a bare letter needs a unit to mean anything."""
    if unit is None:
        return found
    return tuple(name for name in found if unit.kind in KINDS[name])
