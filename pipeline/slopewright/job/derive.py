"""A roof system that is told as another one with changes: tables and layers as TOML reads them."""

from __future__ import annotations

from typing import Any

from ..errors import InputError

OWN = ("base", "without", "layer")  # keys of a derived file that are not the system's own


def derive(changes: dict[str, Any], base: dict[str, Any], *, file: str) -> dict[str, Any]:
    """Apply a derived system file to the content of its base.

    Parameters
    ----------
    changes : dict
        The derived file.  Its tables ([shingle], [laying], ...) replace the base's key by key; `without`
        names items to leave out; a [[layer]] whose item the base has replaces that layer's keys; any other
        is new, and stands behind the item that its `after` names.
    base : dict
        Content of the base.
    file : str
        Name of the derived file, for messages.

    Returns
    -------
    dict
        A whole system, not yet checked, that shares no list of layers with its arguments.

    Raises
    ------
    InputError
        Naming the file and the item that does not fit its base.
    """
    layers = [dict(layer) for layer in base["layer"]]
    name = changes["base"]
    for item in _items(changes.get("without", []), file):
        del layers[_place(layers, item, f"{file}: without", name)]
    new = changes.get("layer", [])
    if not isinstance(new, list) or not all(isinstance(layer, dict) for layer in new):
        raise InputError(f"{file}: layer: got {new!r}, need [[layer]] tables")
    for number, layer in enumerate(new, start=1):
        where = f"{file}: layer {number}"
        if not isinstance(layer.get("item"), str):
            raise InputError(f"{where}: item: missing, need the name of a layer of {name}, or a new one")
        known = _find(layers, layer["item"])
        if known is None and "after" not in layer:
            raise InputError(
                f"{where}: item {layer['item']!r} is not in {name} and has no after,"
                f" need after = an item of {name}"
            )
        if known is not None and "after" in layer:
            raise InputError(f"{where}: after: {layer['item']!r} has its place in {name}, need no after")
        own = {key: value for key, value in layer.items() if key != "after"}
        if known is not None:
            layers[known] |= own
        else:
            layers.insert(_place(layers, layer["after"], f"{where}: after", name) + 1, own)
    result = dict(base)
    for key, value in changes.items():
        if key in OWN:
            continue
        both = isinstance(value, dict) and isinstance(base.get(key), dict)
        result[key] = {**base[key], **value} if both else value
    return result | {"layer": layers}


def _items(names: Any, file: str) -> list[str]:
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise InputError(f"{file}: without: got {names!r}, need a list of items in quotes")
    return names


def _find(layers: list[dict[str, Any]], item: str) -> int | None:
    return next((i for i, layer in enumerate(layers) if layer.get("item") == item), None)


def _place(layers: list[dict[str, Any]], item: Any, where: str, base: str) -> int:
    found = _find(layers, item)
    if found is None:
        items = "; ".join(str(layer.get("item")) for layer in layers)
        raise InputError(f"{where}: no item {item!r} in {base}, need one of {items}")
    return found
