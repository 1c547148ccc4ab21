"""Transverse Mercator about any number of meridians at once: the plane of a ground frame.

Krüger's series as given to the sixth power of the third flattening n by C. F. F. Karney,
"Transverse Mercator with an accuracy of a few nanometers", J. Geodesy 85 (2011), eqs. 7 to 36. On
an earth-like ellipsoid the error is some nanometres within thousands of kilometres of the meridian,
so the only departure from the ground is the projection's own scale, k = 1 + x^2 / 2R^2: 0.3 ppm at
5 km from the meridian.

`forward` is told where y is counted from and works with differences from it all the way. A
coordinate is then as exact as its own size allows; the last digit of a distance from the equator is
1 nm, and differs between processors, since their sines do.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]
_Numbers = TypeVar("_Numbers", Floats, Complexes)

# rows k = 1..6, columns n^1..n^6 (Karney eqs. 35 and 36)
_ALPHA = np.array(
    [
        [1 / 2, -2 / 3, 5 / 16, 41 / 180, -127 / 288, 7891 / 37800],
        [0, 13 / 48, -3 / 5, 557 / 1440, 281 / 630, -1983433 / 1935360],
        [0, 0, 61 / 240, -103 / 140, 15061 / 26880, 167603 / 181440],
        [0, 0, 0, 49561 / 161280, -179 / 168, 6601661 / 7257600],
        [0, 0, 0, 0, 34729 / 80640, -3418889 / 1995840],
        [0, 0, 0, 0, 0, 212378941 / 319334400],
    ]
)
# conformal latitude from geographic, as a series in sines; read off PROJ's extended transverse
# Mercator (Poder and Engsager), and checked against the closed form by `tests/test_ground.py`
_CHI = np.array(
    [
        [-2, 2 / 3, 4 / 3, -82 / 45, 32 / 45, 4642 / 4725],
        [0, 5 / 3, -16 / 15, -13 / 9, 904 / 315, -1522 / 945],
        [0, 0, -26 / 15, 34 / 21, 8 / 5, -12686 / 2835],
        [0, 0, 0, 1237 / 630, -12 / 5, -24832 / 14175],
        [0, 0, 0, 0, -734 / 315, 109598 / 31185],
        [0, 0, 0, 0, 0, 444337 / 155925],
    ]
)
_BETA = np.array(
    [
        [1 / 2, -2 / 3, 37 / 96, -1 / 360, -81 / 512, 96199 / 604800],
        [0, 1 / 48, 1 / 15, -437 / 1440, 46 / 105, -1118711 / 3870720],
        [0, 0, 17 / 480, -37 / 840, -209 / 4480, 5569 / 90720],
        [0, 0, 0, 4397 / 161280, -11 / 504, -830251 / 7257600],
        [0, 0, 0, 0, 4583 / 161280, -108847 / 3991680],
        [0, 0, 0, 0, 0, 20648693 / 638668800],
    ]
)


@dataclass(frozen=True)
class Ellipsoid:
    """Semi-major axis in metres and flattening, with the radii and series that follow from them."""

    a_m: float
    f: float

    @property
    def e2(self) -> float:
        return self.f * (2 - self.f)

    @cached_property
    def rectifying_m(self) -> float:
        """Radius of the sphere whose meridians are as long (Karney eq. 14)."""
        n2 = self._n**2
        return self.a_m / (1 + self._n) * (1 + n2 / 4 + n2**2 / 64 + n2**3 / 256)

    @property
    def _n(self) -> float:
        return self.f / (2 - self.f)

    def series(self, table: Floats) -> Floats:
        """Coefficients (6,) of a series whose ``table`` (6, 6) has one power of n a column."""
        powers = np.asarray(self._n ** np.arange(1, 7), np.float64)
        return table @ powers

    def meridian_radius_m(self, lat_deg: Floats) -> Floats:
        """M, the radius of curvature along the meridian."""
        return self.a_m * (1 - self.e2) / self._bulge(lat_deg) ** 1.5

    def normal_radius_m(self, lat_deg: Floats) -> Floats:
        """N, the radius of curvature across the meridian."""
        return self.a_m / np.sqrt(self._bulge(lat_deg))

    def mean_radius_m(self, lat_deg: Floats) -> Floats:
        """R = sqrt(M N), the radius an elevation is reduced by."""
        return np.sqrt(self.meridian_radius_m(lat_deg) * self.normal_radius_m(lat_deg))

    def _bulge(self, lat_deg: Floats) -> Floats:
        """1 - e^2 sin^2 of latitudes, which both radii go by."""
        return 1 - self.e2 * np.sin(np.radians(lat_deg)) ** 2


@dataclass(frozen=True)
class Origins:
    """Where y is counted from, all (k,). ``lat_deg``: latitudes; ``less``: how much less the
    conformal ones are, in radians; ``sine``, ``cosine``: of the conformal ones; ``further``: the
    series' part of their distance from the equator."""

    ellipsoid: Ellipsoid
    lat_deg: Floats
    less: Floats
    sine: Floats
    cosine: Floats
    further: Floats

    @classmethod
    def at(cls, ellipsoid: Ellipsoid, lat_deg: Floats) -> Origins:
        lat = np.radians(lat_deg)
        less = conformal(ellipsoid, lat)
        sine = np.sin(lat + less)
        cosine = np.cos(lat + less)
        further = _sine_sum(ellipsoid.series(_ALPHA), *_doubled(sine, cosine))
        return cls(ellipsoid, lat_deg, less, sine, cosine, further)


def forward(
    origins: Origins, of: NDArray[np.int64], dlon_deg: Floats, lat_deg: Floats
) -> tuple[Floats, Floats]:
    """x east of the vertex's own meridian and y north of its origin, in metres. All (n,): ``of``:
    row of its origin, ``dlon_deg``: from its meridian."""
    ellipsoid = origins.ellipsoid
    sin0 = origins.sine[of]
    cos0 = origins.cosine[of]
    lat = np.radians(lat_deg)
    lon = np.radians(dlon_deg)
    less = conformal(ellipsoid, lat) - origins.less[of]
    rise = np.radians(lat_deg - origins.lat_deg[of]) + less
    # the vertex on the conformal sphere, turned so that the origin is level: nothing large is taken
    # from anything large
    sin = np.sin(rise)
    level = np.cos(rise)
    cos_chi = cos0 * level - sin0 * sin
    bent = cos_chi * 2 * np.sin(lon / 2) ** 2
    north = sin + bent * sin0
    toward = level - bent * cos0
    radius = np.hypot(north, toward)
    sinh_eta = cos_chi * np.sin(lon) / radius
    sin_xi = (sin0 * toward + cos0 * north) / radius
    cos_xi = (cos0 * toward - sin0 * north) / radius
    zeta = _sine_sum(ellipsoid.series(_ALPHA), *_complex_doubled(sin_xi, cos_xi, sinh_eta))
    x = np.arcsinh(sinh_eta) + zeta.imag
    y = np.arctan2(north, toward) + (zeta.real - origins.further[of])
    return ellipsoid.rectifying_m * x, ellipsoid.rectifying_m * y


def inverse(ellipsoid: Ellipsoid, x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
    """Degrees from the vertex's own meridian, and latitude: undoes `forward` to some nanometres."""
    xi = y_m / ellipsoid.rectifying_m
    eta = x_m / ellipsoid.rectifying_m
    zeta = xi + 1j * eta
    doubled = _complex_doubled(np.sin(xi), np.cos(xi), np.sinh(eta))
    zeta -= _sine_sum(ellipsoid.series(_BETA), *doubled)
    sinh_eta = np.sinh(zeta.imag)
    cos_xi = np.cos(zeta.real)
    tangent = _geographic(ellipsoid, np.sin(zeta.real) / np.hypot(sinh_eta, cos_xi))
    return np.degrees(np.arctan2(sinh_eta, cos_xi)), np.degrees(np.arctan(tangent))


def _geographic(ellipsoid: Ellipsoid, wanted: Floats) -> Floats:
    """Tangent of the geographic latitude of a conformal one, ``wanted`` being its tangent: Newton's
    method (Karney eqs. 19 to 21); two steps reach round-off away from the poles."""
    e2 = ellipsoid.e2
    tangent = wanted / (1 - e2)
    for _ in range(3):
        secant = np.hypot(1, tangent)
        sigma = np.sinh(_eccentric(ellipsoid, tangent / secant))
        reached = tangent * np.hypot(1, sigma) - sigma * secant
        slope = (1 + (1 - e2) * tangent**2) / ((1 - e2) * secant * np.hypot(1, reached))
        tangent = tangent + (wanted - reached) * slope
    return tangent


def conformal(ellipsoid: Ellipsoid, lat: Floats) -> Floats:
    """How much more the conformal latitude is than the geographic one, in radians: at most nothing
    on the northern half."""
    return _sine_sum(ellipsoid.series(_CHI), *_doubled(np.sin(lat), np.cos(lat)))


def _eccentric(ellipsoid: Ellipsoid, sin_lat: Floats) -> Floats:
    """e atanh(e sin lat)."""
    e = np.sqrt(ellipsoid.e2)
    return np.asarray(e * np.arctanh(e * sin_lat))


def _doubled(sine: Floats, cosine: Floats) -> tuple[Floats, Floats]:
    """Sine and cosine of twice an angle."""
    return 2 * sine * cosine, (cosine - sine) * (cosine + sine)


def _complex_doubled(
    sin_xi: Floats, cos_xi: Floats, sinh_eta: Floats
) -> tuple[Complexes, Complexes]:
    """Sine and cosine of 2 (xi + i eta), from what is known of xi and eta: no further call of a
    sine."""
    sin2, cos2 = _doubled(sin_xi, cos_xi)
    sinh2 = 2 * sinh_eta * np.sqrt(1 + sinh_eta**2)
    cosh2 = 1 + 2 * sinh_eta**2
    return sin2 * cosh2 + 1j * (cos2 * sinh2), cos2 * cosh2 - 1j * (sin2 * sinh2)


def _sine_sum(coefficients: Floats, sine: _Numbers, cosine: _Numbers) -> _Numbers:
    """Sum of c_k sin(2 k a) by Clenshaw's recurrence, from sine and cosine of 2 a."""
    twice = 2 * cosine
    last = before = np.zeros_like(twice)
    for coefficient in coefficients[::-1]:
        last, before = coefficient + twice * last - before, last
    return sine * last
