"""A journal of edits as JSON, and back."""

from __future__ import annotations

import re
from dataclasses import asdict, fields
from typing import Any, get_args, get_type_hints

from ..scene import EdgeKind
from ..state import Edit
from .jsonfile import Field

_NAMES = {re.sub("(?<!^)([A-Z])", r"_\1", kind.__name__).lower(): kind for kind in get_args(Edit)}
_KINDS = frozenset(EdgeKind)


def journal_json(journal: tuple[Edit, ...]) -> list[dict[str, Any]]:
    """Edits in their order: what is done, and its particulars by the names of their fields.

    Numbers keep all their digits, so that the journal makes the same roof again.
    """
    name_of = {kind: name for name, kind in _NAMES.items()}
    return [
        {"edit": name_of[type(edit)]}
        | {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(edit).items()}
        for edit in journal
    ]


def journal_from_json(field: Field) -> tuple[Edit, ...]:
    """The edits of a journal.

    Raises
    ------
    InputError
        If one is unknown, or a particular is missing, unknown or of a wrong kind.
    """
    return tuple(_edit(item) for item in field)


def _edit(field: Field) -> Edit:
    kind = _NAMES[field["edit"].one_of(frozenset(_NAMES))]
    hints = get_type_hints(kind)
    names = [f.name for f in fields(kind)]
    unknown = set(field.members()) - {"edit", *names}
    if unknown:
        field[min(unknown)].fail(f"none: {field['edit'].value} has {', '.join(names)}")
    edit: Edit = kind(**{name: _value(field[name], hints[name]) for name in names})
    return edit


def _value(field: Field, hint: Any) -> Any:
    if hint is bool:
        if not isinstance(field.value, bool):
            field.fail("true or false")
        return field.value
    if hint is float:
        return field.number()
    if hint is EdgeKind:
        return EdgeKind(field.one_of(_KINDS))
    return field.text() if hint is str else field.vector(2)
