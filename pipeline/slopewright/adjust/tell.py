"""What the adjustment tells of a roof beside its numbers."""

from __future__ import annotations

from ..roof import Edge, Plane
from ..scene import Array, EdgeKind, Notice
from ..state import ExcludePlane, FixLength, FixPitch, IncludePlane, PlaceBoundary, RoofState
from .spoken import in_words, named

AMBIGUOUS_M, AMBIGUOUS = 0.3, 0.1  # standard uncertainty of a length, both, from how the plan was cut
INFERRED = 0.5  # faces and edges with less than this share seen are called inferred


def notices(
    state: RoofState, planes: tuple[Plane, ...], edges: tuple[Edge, ...], refused: int, ambiguous: Array
) -> list[Notice]:
    """What is inferred, hidden, open, edited or contradicted."""
    found = []
    inferred = tuple(p.id for p in planes if p.observed < INFERRED)
    if inferred:
        found.append(
            Notice(
                code="plane_inferred",
                text="less than half of these planes was seen; the rest is inferred",
                about=inferred,
            )
        )
    unseen = tuple(e.id for e in edges if e.observed < INFERRED)
    if unseen:
        found.append(
            Notice(
                code="edge_inferred",
                text="less than half of these edges was seen; the rest is inferred",
                about=unseen,
            )
        )
    by_cut = dict(zip(state.edge_ids, ambiguous, strict=True))
    doubtful = tuple(e.id for e in edges if by_cut[e.id] > max(AMBIGUOUS_M, AMBIGUOUS * e.length.value))
    if doubtful:
        found.append(
            Notice(
                code="edge_ambiguous",
                text="few points lie where these edges end or turn: the roof may be cut otherwise there;"
                " their lengths' bounds carry it",
                about=doubtful,
            )
        )
    walls = tuple(e.id for e in edges if e.kind in (EdgeKind.SIDEWALL, EdgeKind.HEADWALL))
    if walls:
        found.append(
            Notice(
                code="hidden_strip",
                text="a roof may run on under the eave above it up to the wall; only what is seen from above"
                " is counted here",
                about=walls,
            )
        )
    if refused:
        found.append(
            Notice(
                code="corner_open",
                text=f"at {refused} corner(s) the planes do not meet within their uncertainty;"
                " the corner is their mean",
            )
        )
    return found + _of_edits(state)


def _of_edits(state: RoofState) -> list[Notice]:
    found = [
        Notice(code="corrected_by_hand", text=f"made by hand ({n}): {in_words(edit)}", about=named(edit))
        for n, edit in enumerate(state.journal, start=1)
        if not isinstance(edit, ExcludePlane | IncludePlane)  # only what is left of them counts, told below
    ]
    if state.excluded:
        found.append(
            Notice(
                code="plane_excluded",
                text=f"not counted, by hand: {', '.join(sorted(state.excluded))}",
            )
        )
    observed = [edit for edit in state.journal if isinstance(edit, FixPitch | FixLength | PlaceBoundary)]
    for made, agreement in zip(observed, state.agreements, strict=True):
        about = made.plane if isinstance(made, FixPitch) else made.edge
        if not agreement.agrees:
            forced = agreement.used
            done = "it was used all the same, as asked" if forced else "it was not used"
            found.append(
                Notice(
                    code="observation_forced" if forced else "observation_conflict",
                    text=f"an observation of {about} is in conflict with the roof"
                    f" (E_n {agreement.e_n:+.1f}); {done}",
                    about=(about,),
                )
            )
    return [*found, *state.remarks]
