"""tape.json: tape measurements and how they stand to the roof, and back."""

from __future__ import annotations

from typing import Any

from ..checks import AGREE, CANNOT_TELL, CONFLICT, Cause, Point, TapeCheck, TapeReading, TapeResult
from .jsonfile import Field, measurement_json, rounded

FORMAT = "slopewright-tape"
VERSION = 1
VERDICTS = frozenset({AGREE, CONFLICT, CANNOT_TELL})


def tape_json(check: TapeCheck, *, roof_sha256: str) -> dict[str, Any]:
    """The content of tape.json.

    Parameters
    ----------
    check : TapeCheck
    roof_sha256 : str
        Of the roof.json that it goes with: with another roof the check is no longer valid.
    """
    return {
        "format": FORMAT,
        "version": VERSION,
        "roof_sha256": roof_sha256,
        "limit": rounded(check.limit),
        "scale": None if check.scale is None else measurement_json(check.scale),
        "scale_conflict": check.scale_conflict,
        "readings": [_result_json(result) for result in check.results],
    }


def _result_json(result: TapeResult) -> dict[str, Any]:
    reading = result.reading
    return {
        "where": reading.where,
        "of": reading.of,
        "edges": list(reading.edges),
        "corners": None if reading.corners is None else list(reading.corners),
        "ends": None if reading.ends is None else [[rounded(v) for v in end] for end in reading.ends],
        "stated": reading.stated,
        "how": reading.how,
        "length_m": rounded(reading.length_m),
        "u_m": rounded(reading.u_m),
        "model_m": measurement_json(result.model),
        "e_n": rounded(result.e_n),
        "verdict": result.verdict,
        "reason": result.reason,
        "causes": causes_json(result.causes),
        "used": result.used,
    }


def causes_json(causes: tuple[Cause, ...]) -> list[dict[str, Any]]:
    """Causes as files carry them."""
    return [{"kind": c.kind, "text": c.text, "odds": rounded(c.odds), "about": list(c.about)} for c in causes]


def causes_from_json(field: Field) -> tuple[Cause, ...]:
    """Causes back from a file."""
    return tuple(
        Cause(
            kind=c["kind"].text(),
            text=c["text"].text(),
            odds=c["odds"].number(0.0, 1.0),
            about=c["about"].texts(),
        )
        for c in field
    )


def tape_from_json(content: Any, *, file: str) -> tuple[TapeCheck, str]:
    """The check of a tape.json, and the digest of the roof.json that it goes with.

    Raises
    ------
    InputError
        If a field is missing or of a wrong kind.
    """
    root = Field(file, content)
    root.header(FORMAT, VERSION)
    scale = root["scale"]
    check = TapeCheck(
        results=tuple(_result(field) for field in root["readings"]),
        limit=root["limit"].number(0.0),
        scale=None if scale.value is None else scale.measurement(),
        scale_conflict=root["scale_conflict"].value is True,
    )
    return check, root["roof_sha256"].text()


def _result(field: Field) -> TapeResult:
    corners, ends = field["corners"], field["ends"]
    reading = TapeReading(
        where=field["where"].text(),
        of=field["of"].text(),
        edges=field["edges"].texts(),
        corners=None if corners.value is None else (corners.at(0).integer(), corners.at(1).integer()),
        ends=None if ends.value is None else (_point(ends.at(0)), _point(ends.at(1))),
        stated=field["stated"].text(),
        length_m=field["length_m"].number(0.0),
        u_m=field["u_m"].number(0.0),
        how=field["how"].text(),
    )
    return TapeResult(
        reading=reading,
        model=field["model_m"].measurement(),
        e_n=field["e_n"].number(),
        verdict=field["verdict"].one_of(VERDICTS),
        reason=field["reason"].text(),
        causes=causes_from_json(field["causes"]),
        used=field["used"].value is True,
    )


def _point(field: Field) -> Point:
    x, y, z = field.vector(3)
    return x, y, z
