"""One photo, one plane: pitch, lengths and areas on a wall or a face of a roof, each with its bounds.

What a mark means is in its name:

    level.1a level.1b, level.2a ...   ends of lines that are level: siding, sills, an eave, courses
    upright.1a upright.1b, ...        ends of lines square to them in the plane: wall corners, jambs
    known.a known.b                   ends of the known length
    rectangle.1 ... rectangle.4       corners of a known rectangle in order, 1 to 2 its width
    NAME.a NAME.b                     a line to be measured
    NAME.1 NAME.2 NAME.3 ...          an outline to be measured

Metres, radians, pixels.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from ..errors import DegenerateGeometryError, InputError
from ..measurement import Measurement
from ..scene import Array, Notice
from .bundle import CENTRE_SD, K1_SD
from .marked import FOCAL_SD, FREE_FOCAL_SD, USUAL_FOCAL
from .marks import Marks
from .read import Photo
from .vanishing import Lying, View, follow, lie

LINE_END = re.compile(r"(level|upright)\.(\w+?)([ab])")
END = re.compile(r"(.+)\.([ab])")
CORNER = re.compile(r"(.+)\.(\d{1,2})")
BUILT_SD_RAD = float(np.deg2rad(0.25))  # of courses, sills and corners against level and plumb: 1 cm in 2.4 m
WIDEST = 0.25  # half width of a length's 95 % bounds, relative, beyond which the view is said not to tell
STRAINED = 3.0  # root mean square misfit in standard deviations, beyond which marks contradict each other
FOCAL_APART = 2.0  # standard deviations by which the lines must speak against EXIF: cropped photos are common
CROP = 0.1  # relative error of the focal length whose effect is told where the lines cannot check it
TOLD_CROP = 0.5  # ... if it is more than so many of the standard uncertainties that are stated
CHECKED = "EXIF, and the lines agree"
SOLVED_WELL = 0.08  # of a focal length that is solved, relative: good enough to hold EXIF to it
STEP = 0.5  # standard uncertainties, of the differences


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What is known of the plane: one of the two."""

    length_m: float | None = None  # between known.a and known.b
    rectangle_m: tuple[float, float] | None = None
    u_m: float = 0.0  # standard uncertainty of each of these lengths


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFound:
    """A line on the plane."""

    name: str
    length_m: Measurement
    pitch_deg: Measurement  # against the level direction of the plane, 0 to 90
    rise_in_12: Measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineFound:
    """A closed outline on the plane."""

    name: str
    area_m2: Measurement
    perimeter_m: Measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFound:
    """What one photo tells of one plane."""

    lines: tuple[LineFound, ...]
    outlines: tuple[OutlineFound, ...]
    oblique_deg: float  # between the plane's normal and the way the camera looks
    focal_px: float
    focal_from: str  # "EXIF", "EXIF, agrees with the lines", "the lines"
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """Marks sorted by what they mean: rows of the pixels."""

    names: tuple[str, ...]
    level: tuple[tuple[int, int], ...]
    across: tuple[tuple[int, int], ...]
    rectangle: tuple[int, int, int, int] | None
    known: tuple[int, int] | None
    lines: tuple[tuple[str, int, int], ...]
    outlines: tuple[tuple[str, tuple[int, ...]], ...]


def run(photo: Photo, marks: Marks, given: Given) -> PhotoFound:
    """Measure what is marked on one plane in one photo.

    Parameters
    ----------
    photo : Photo
    marks : Marks
        Those of the photo count.
    given : Given

    Returns
    -------
    PhotoFound

    Raises
    ------
    InputError
        If marks are missing or contradict each other: what to mark.
    DegenerateGeometryError
        If the plane is seen too flat, or the lines do not tell how it lies.

    Notes
    -----
    Bounds are first order: every coordinate of every mark, the lens, the known length and how true lines are
    built are moved by half a standard uncertainty either way, all is solved again, and the differences add up
    in squares (JCGM 100:2008, 5.1.2 and 5.1.3 note 2).
    """
    plan, pixels, u_px = _sorted_marks(photo, marks, given)
    view = _view(photo, plan, pixels, u_px, given)
    nominal, focal_from, notices, view = _solved(photo, view, marks.file)
    rays = nominal.camera.rays(pixels)
    met = nominal.on_plane(pixels)
    if not np.isfinite(met).all():
        flat = plan.names[int(np.argmin(np.isfinite(met).all(axis=1)))]
        raise DegenerateGeometryError(
            f'{photo.name}: mark "{flat}" is seen almost edge-on: take the photo from more in front'
        )
    values = _values(plan, given, nominal, view.pixels)
    u = np.sqrt(_variance(plan, given, view, nominal, len(values)))
    lines, outlines = _results(plan, values, u)
    if focal_from == "EXIF":
        notices += _unchecked(plan, given, view, nominal, values, u)
    _check_width(photo, lines, outlines)
    middle = rays.mean(axis=0)
    oblique = np.arccos(np.clip(middle @ nominal.axes[2] / np.linalg.norm(middle), -1, 1))
    return PhotoFound(
        lines=lines,
        outlines=outlines,
        oblique_deg=float(np.degrees(oblique)),
        focal_px=nominal.camera.focal_px,
        focal_from=focal_from,
        notices=tuple(notices),
    )


def _sorted_marks(photo: Photo, marks: Marks, given: Given) -> tuple[_Plan, Array, Array]:
    own = [mark for mark in marks.marks if photo.name in mark.photos]
    if not own:
        raise InputError(f"{marks.file}: no marks for {photo.name}, need its file name under photos")
    row = {mark.name: n for n, mark in enumerate(own)}
    groups: dict[str, dict[tuple[str, str], dict[str, int]]] = {"line": {}, "pair": {}, "ring": {}}
    for name, n in row.items():
        if match := LINE_END.fullmatch(name):
            groups["line"].setdefault((match[1], match[2]), {})[match[3]] = n
        elif match := END.fullmatch(name):
            groups["pair"].setdefault((match[1], ""), {})[match[2]] = n
        elif match := CORNER.fullmatch(name):
            groups["ring"].setdefault((match[1], ""), {})[match[2]] = n
        else:
            raise InputError(
                f'{marks.file}: mark "{name}": its name says nothing, need NAME.a and NAME.b for a'
                " line, NAME.1, NAME.2, ... for an outline"
            )
    for (kind, name), ends in [*groups["line"].items(), *groups["pair"].items()]:
        if len(ends) < 2:
            title = f"{kind}.{name}" if name else f"{kind}."
            there, missing = ("a", "b") if "a" in ends else ("b", "a")
            raise InputError(
                f'{marks.file}: "{title}{there}" is marked and "{title}{missing}" is not, need both'
            )
    rings = {
        name: tuple(corners[k] for k in sorted(corners, key=int))
        for (name, _), corners in groups["ring"].items()
    }
    rectangle = rings.pop("rectangle", None)
    known = groups["pair"].pop(("known", ""), None)
    for name, ring in rings.items():
        if len(ring) < 3:
            raise InputError(f'{marks.file}: outline "{name}" has {len(ring)} corners, need 3 or more')
    plan = _Plan(
        names=tuple(row),
        level=tuple((e["a"], e["b"]) for (kind, _), e in groups["line"].items() if kind == "level"),
        across=tuple((e["a"], e["b"]) for (kind, _), e in groups["line"].items() if kind == "upright"),
        rectangle=None if rectangle is None else _four(rectangle, marks.file),
        known=None if known is None else (known["a"], known["b"]),
        lines=tuple((name, e["a"], e["b"]) for (name, _), e in groups["pair"].items()),
        outlines=tuple(rings.items()),
    )
    _check_plan(plan, marks.file, given)
    pixels = np.array([mark.photos[photo.name] for mark in own], dtype=np.float64)
    return plan, pixels, np.array([mark.u_px for mark in own])


def _four(ring: tuple[int, ...], file: str) -> tuple[int, int, int, int]:
    if len(ring) != 4:
        raise InputError(f"{file}: rectangle has {len(ring)} corners, need rectangle.1 to rectangle.4")
    return ring[0], ring[1], ring[2], ring[3]


def _check_plan(plan: _Plan, file: str, given: Given) -> None:
    if given.rectangle_m is not None and plan.rectangle is None:
        raise InputError(f"{file}: no rectangle.1 to rectangle.4, need its corners with --rectangle")
    if given.length_m is not None and plan.known is None:
        raise InputError(f"{file}: no known.a and known.b, need the ends of the known length with --length")
    if given.length_m is None and given.rectangle_m is None:
        raise InputError(
            "nothing is known, need --length (of known.a to known.b) or --rectangle WIDTH HEIGHT"
        )
    if given.rectangle_m is None and (len(plan.level) < 2 or len(plan.across) < 2):
        raise InputError(
            f"{file}: {len(plan.level)} level and {len(plan.across)} upright lines, need two or more of each"
            " (level.1a, level.1b, ... upright.1a, ...), or a known rectangle"
        )
    if not plan.lines and not plan.outlines:
        raise InputError(
            f"{file}: nothing to measure, mark a line (NAME.a, NAME.b) or an outline (NAME.1, ...)"
        )


def _view(photo: Photo, plan: _Plan, pixels: Array, u_px: Array, given: Given) -> View:
    long_side = max(photo.width_px, photo.height_px)
    return View(
        pixels=pixels,
        u_px=u_px,
        level=plan.level,
        across=plan.across,
        lean_rad=np.zeros(len(plan.level) + len(plan.across)),
        lean_sd_rad=BUILT_SD_RAD,
        rectangle=plan.rectangle if given.rectangle_m else None,
        sides=given.rectangle_m or (1.0, 1.0),
        focal_px=photo.focal_px or USUAL_FOCAL * long_side,
        focal_sd=FOCAL_SD if photo.focal_px else FREE_FOCAL_SD,
        centre_px=((photo.width_px - 1) / 2, (photo.height_px - 1) / 2),
        centre_sd_px=CENTRE_SD * long_side,
        k1=0.0,
        k1_sd=K1_SD,
        size_px=(photo.width_px, photo.height_px),
    )


def _solved(photo: Photo, view: View, file: str) -> tuple[Lying, str, list[Notice], View]:
    """The plane; EXIF's focal length is held to what the lines say, where they say it well."""
    nominal = lie(view)
    focal_from = "EXIF"
    free_view = replace(view, focal_sd=FREE_FOCAL_SD)
    free = lie(free_view)
    if photo.focal_px is None:
        focal_from = "the lines"
    elif free is not None:
        gain = np.inf if nominal is None else nominal.cost - free.cost
        if gain > FOCAL_APART**2:
            text = (
                f"EXIF's focal length ({photo.focal_px:.0f} px) does not fit the lines, which give"
                f" {free.camera.focal_px:.0f} px ± {196 * _focal_u(free_view, free):.0f} %: theirs was used"
            )
            notice = Notice(code="focal_doubtful", text=text)
            return _checked(free, file), "the lines", [notice], free_view
        if _focal_u(free_view, free) < SOLVED_WELL:
            focal_from = CHECKED
    return _checked(nominal, file), focal_from, [], view


def _checked(nominal: Lying | None, file: str) -> Lying:
    """Refuse a plane that the marks do not agree on."""
    if nominal is None:
        raise DegenerateGeometryError(
            f"{file}: no plane before the camera fits: check which marks are a and b, level and upright"
        )
    strain = float(np.sqrt(nominal.cost / max(nominal.freedom, 1)))
    if strain > STRAINED:
        raise InputError(
            f"{file}: the marks contradict each other ({strain:.0f} times their uncertainty): check that"
            " level and upright lines, or the rectangle's sides, are right and lie on one plane"
        )
    return nominal


def _unchecked(
    plan: _Plan, given: Given, view: View, nominal: Lying, values: Array, u: Array
) -> list[Notice]:
    """What a focal length of EXIF that is off would do, where the lines cannot show that it is."""
    other = follow(nominal, replace(view, focal_px=view.focal_px * (1 + CROP)))
    change = np.abs(_values(plan, given, other, view.pixels) - values)
    worst = [
        (float(np.degrees(change[3 * n + 1])), name)
        for n, (name, _, _) in enumerate(plan.lines)
        if change[3 * n + 1] > TOLD_CROP * u[3 * n + 1]
    ]
    if not worst:
        return []
    degrees, name = max(worst)
    text = (
        f"the lines cannot check EXIF's focal length ({view.focal_px:.0f} px): were the photo cropped or"
        f" zoomed so that it is off by {100 * CROP:.0f} %, the pitch of {name} would be off by {degrees:.1f}°"
    )
    return [Notice(code="focal_unchecked", text=text)]


def _focal_u(view: View, free: Lying) -> float:
    """Standard uncertainty of a solved focal length, relative."""
    changes = [
        np.log(follow(free, ahead).camera.focal_px / follow(free, behind).camera.focal_px) / (2 * STEP)
        for ahead, behind in _moved_views(view)
    ]
    return float(np.sqrt(np.sum(np.square(changes))))


def _values(plan: _Plan, given: Given, lying: Lying, pixels: Array) -> Array:
    """Length, pitch and rise of each line; area and perimeter of each outline."""
    at = lying.on_plane(pixels)
    if plan.known is not None and given.length_m is not None:
        a, b = plan.known
        scale = given.length_m / float(np.linalg.norm(at[b] - at[a]))
    else:
        assert lying.scale is not None
        scale = lying.scale
    found = []
    for _, a, b in plan.lines:
        way = scale * (at[b] - at[a])
        run_, rise = abs(float(way[0])), abs(float(way[1]))
        found += [float(np.hypot(run_, rise)), float(np.arctan2(rise, run_)), 12 * rise / max(run_, 1e-9)]
    for _, ring in plan.outlines:
        corners = scale * at[list(ring)]
        x, y = (corners - corners[0]).T
        area = abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())) / 2
        found += [area, float(np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).sum())]
    return np.array(found)


def _variance(plan: _Plan, given: Given, view: View, nominal: Lying, n_values: int) -> Array:
    """Sum of squares of what each input does by its standard uncertainty."""
    total = np.zeros(n_values)
    moved = [(ahead, behind, given, given) for ahead, behind in _moved_views(view)]
    for ahead, behind, more, less in [*moved, *_known_moved(view, given)]:
        change = _values(plan, more, follow(nominal, ahead), ahead.pixels) - _values(
            plan, less, follow(nominal, behind), behind.pixels
        )
        total += (change / (2 * STEP)) ** 2
    return total


def _moved_views(view: View) -> list[tuple[View, View]]:
    """Views with one input moved by half its standard uncertainty, ahead and behind."""
    found = []
    for n in range(len(view.pixels)):
        for axis in (0, 1):
            step = np.zeros_like(view.pixels)
            step[n, axis] = STEP * view.u_px[n]
            found.append((replace(view, pixels=view.pixels + step), replace(view, pixels=view.pixels - step)))
    for line in range(len(view.lean_rad)):
        lean = np.zeros_like(view.lean_rad)
        lean[line] = STEP * view.lean_sd_rad
        found.append(
            (replace(view, lean_rad=view.lean_rad + lean), replace(view, lean_rad=view.lean_rad - lean))
        )
    focal, far = view.focal_px, float(np.exp(STEP * view.focal_sd))
    found.append((replace(view, focal_px=focal * far), replace(view, focal_px=focal / far)))
    x, y = view.centre_px
    for dx, dy in ((STEP * view.centre_sd_px, 0.0), (0.0, STEP * view.centre_sd_px)):
        found.append((replace(view, centre_px=(x + dx, y + dy)), replace(view, centre_px=(x - dx, y - dy))))
    found.append((replace(view, k1=STEP * view.k1_sd), replace(view, k1=-STEP * view.k1_sd)))
    return found


def _known_moved(view: View, given: Given) -> list[tuple[View, View, Given, Given]]:
    step = STEP * given.u_m
    if given.rectangle_m is None:
        assert given.length_m is not None
        more, less = (replace(given, length_m=given.length_m + s) for s in (step, -step))
        return [(view, view, more, less)]
    w, h = view.sides
    found = []
    for dw, dh in ((step, 0.0), (0.0, step)):
        ahead, behind = (replace(view, sides=(w + s * dw, h + s * dh)) for s in (1, -1))
        found.append((ahead, behind, given, given))
    return found


def _results(plan: _Plan, values: Array, u: Array) -> tuple[tuple[LineFound, ...], tuple[OutlineFound, ...]]:
    lines, outlines = [], []
    at = 0
    for name, _, _ in plan.lines:
        pitch = Measurement.normal(np.degrees(values[at + 1]), np.degrees(u[at + 1]), floor=0.0)
        lines.append(
            LineFound(
                name=name,
                length_m=Measurement.normal(values[at], u[at], floor=0.0),
                pitch_deg=pitch,
                rise_in_12=Measurement.normal(values[at + 2], u[at + 2], floor=0.0),
            )
        )
        at += 3
    for name, _ in plan.outlines:
        outlines.append(
            OutlineFound(
                name=name,
                area_m2=Measurement.normal(values[at], u[at], floor=0.0),
                perimeter_m=Measurement.normal(values[at + 1], u[at + 1], floor=0.0),
            )
        )
        at += 2
    return tuple(lines), tuple(outlines)


def _check_width(photo: Photo, lines: tuple[LineFound, ...], outlines: tuple[OutlineFound, ...]) -> None:
    lengths = [line.length_m for line in lines] + [outline.perimeter_m for outline in outlines]
    if any(not m.half_width <= WIDEST * m.value for m in lengths):
        raise _not_told(photo)


def _not_told(photo: Photo) -> DegenerateGeometryError:
    return DegenerateGeometryError(
        f"{photo.name}: the view does not tell how the plane lies (lengths to {100 * WIDEST:.0f} % at best):"
        " mark longer lines further apart, a longer known length, or take the photo from more in front"
    )
