"""Writers of cloud files for the tests, by hand from the published formats; nothing of the package is used.

LAS: ASPRS LAS 1.4 R15.  PLY: G. Turk 1994.  PCD: file format page of the Point Cloud Library.
E57: ASTM E2807 through libE57Format (pye57).
"""

import struct
from pathlib import Path

import numpy as np

US_FOOT_M = 1200 / 3937
RECORD_BYTES = {0: 20, 1: 28, 2: 26, 3: 34, 4: 57, 5: 63, 6: 30, 7: 36, 8: 38, 9: 59, 10: 67}
LAS_HEADER_BYTES = {0: 227, 1: 227, 2: 227, 3: 235, 4: 375}


def house_points(n=400, *, seed=0, shift=(0.0, 0.0, 0.0)):
    """Points of a gable roof of 12 x 8 m over some ground, in metres, whole millimetres."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 12, n), rng.uniform(0, 8, n)
    z = 3 + (4 - np.abs(y - 4)) * 0.5
    z[: n // 4] = 0.0
    return (np.stack([x, y, z], axis=1) + shift).round(3)


def write_las(
    path,
    xyz,
    *,
    minor=2,
    point_format=1,
    classes=0,
    flags=0,
    scale=0.001,
    offset=(0.0, 0.0, 0.0),
    wkt=None,
    keys=None,
    doubles=(),
    encoding=0,
    extra_bytes=0,
    evlr_wkt=None,
    n_points=None,
):
    """A LAS file.  `flags` is the withheld bit (0 or 1), scalar or per point."""
    n = len(xyz)
    vlrs = []
    if keys is not None:
        entries = b"".join(struct.pack("<4H", *entry) for entry in keys)
        vlrs.append((34735, struct.pack("<4H", 1, 1, 0, len(keys)) + entries))
    if doubles:
        vlrs.append((34736, struct.pack(f"<{len(doubles)}d", *doubles)))
    if wkt is not None:
        vlrs.append((2112, wkt.encode() + b"\0"))
    block = b"".join(struct.pack("<H16sHH32s", 0, b"LASF_Projection", i, len(b), b"") + b for i, b in vlrs)
    record = RECORD_BYTES[point_format] + extra_bytes
    points_at = LAS_HEADER_BYTES[minor] + len(block)
    body = np.zeros((n, record), dtype=np.uint8)
    steps = np.round((np.asarray(xyz) - offset) / scale).astype("<i4")
    body[:, :12] = steps.view(np.uint8).reshape(n, 12)
    withheld = np.broadcast_to(np.asarray(flags, dtype=np.uint8), n)
    codes = np.broadcast_to(np.asarray(classes, dtype=np.uint8), n)
    if point_format >= 6:
        body[:, 15], body[:, 16] = withheld << 2, codes
    else:
        body[:, 15] = codes | withheld << 7
    body[:, RECORD_BYTES[point_format] :] = 0xAB
    count = n if n_points is None else n_points
    legacy = 0 if point_format >= 6 else count
    low, high = np.min(xyz, axis=0), np.max(xyz, axis=0)
    head = struct.pack("<4sHH16sBB32s32sHH", b"LASF", 0, encoding, b"", 1, minor, b"", b"", 1, 2026)
    head += struct.pack("<HIIBH", LAS_HEADER_BYTES[minor], points_at, len(vlrs), point_format, record)
    head += struct.pack("<I5I", legacy, legacy, 0, 0, 0, 0)
    head += struct.pack("<6d", scale, scale, scale, *offset)
    head += struct.pack("<6d", *[side[axis] for axis in range(3) for side in (high, low)])
    if minor >= 3:
        head += struct.pack("<Q", 0)
    if minor >= 4:
        evlr_at = points_at + n * record
        head += struct.pack(
            "<QIQ15Q", evlr_at if evlr_wkt else 0, int(bool(evlr_wkt)), count, *([count] + [0] * 14)
        )
    tail = b""
    if evlr_wkt:
        text = evlr_wkt.encode() + b"\0"
        tail = struct.pack("<H16sHQ32s", 0, b"LASF_Projection", 2112, len(text), b"") + text
    Path(path).write_bytes(head + block + body.tobytes() + tail)
    return Path(path)


def write_ply(path, xyz, *, form="ascii", kind="double", extra=True, faces=True, newline="\n", before=False):
    """A PLY file with a colour and a normal among the properties, and a face, as asked."""
    n = len(xyz)
    lines = ["ply", f"format {form} 1.0", "comment made by hand"]
    if before:
        lines += ["element camera 2", "property float view_px", "property uchar flag"]
    lines += [f"element vertex {n}", f"property {kind} x", f"property {kind} y"]
    lines += ["property uchar red", "property float nx"] if extra else []
    lines += [f"property {kind} z"]
    lines += ["element face 1", "property list uchar int vertex_indices"] if faces else []
    head = (newline.join([*lines, "end_header"]) + newline).encode()
    if form == "ascii":
        rows = ["1.5 7"] * 2 if before else []
        middle = " 200 0.5 " if extra else " "
        rows += [f"{x!r} {y!r}{middle}{z!r}" for x, y, z in np.asarray(xyz, dtype=float).tolist()]
        rows += ["3 0 1 2"] if faces else []
        Path(path).write_bytes(head + (newline.join(rows) + newline).encode())
        return Path(path)
    order = "<" if "little" in form else ">"
    number = {"float": "f4", "double": "f8", "float32": "f4", "float64": "f8", "int": "i4"}[kind]
    columns = [("x", order + number), ("y", order + number)]
    columns += [("red", "u1"), ("nx", order + "f4")] if extra else []
    body = np.zeros(n, dtype=[*columns, ("z", order + number)])
    body["x"], body["y"], body["z"] = np.asarray(xyz).T
    start = struct.pack(order + "fBfB", 1.5, 7, 1.5, 7) if before else b""
    end = struct.pack(order + "B3i", 3, 0, 1, 2) if faces else b""
    Path(path).write_bytes(head + start + body.tobytes() + end)
    return Path(path)


def write_pcd(path, xyz, *, data="ascii", size=8, width=None, height=1, compress=None):
    """A PCD file whose fields are y, rgb, normal (3 values), x, z: not in the order of reading."""
    n = len(xyz)
    head = [
        "# .PCD v0.7 - Point Cloud Data file format", "VERSION 0.7", "FIELDS y rgb normal x z",
        f"SIZE {size} 4 4 {size} {size}", "TYPE F U F F F", "COUNT 1 1 3 1 1",
        f"WIDTH {n if width is None else width}", f"HEIGHT {height}", "VIEWPOINT 0 0 0 1 0 0 0",
        f"POINTS {n}", f"DATA {data}",
    ]  # fmt: skip
    kind = f"<f{size}"
    body = np.zeros(n, dtype=[("y", kind), ("rgb", "<u4"), ("normal", "<f4", 3), ("x", kind), ("z", kind)])
    body["x"], body["y"], body["z"] = np.asarray(xyz).T
    start = ("\n".join(head) + "\n").encode()
    if data == "ascii":
        rows = [f"{y!r} 5 0 0 1 {x!r} {z!r}" for x, y, z in np.asarray(xyz, dtype=float).tolist()]
        payload = ("\n".join(rows) + "\n").encode()
    elif data == "binary":
        payload = body.tobytes()
    else:
        plain = b"".join(np.ascontiguousarray(body[field]).tobytes() for field in body.dtype.names)
        packed = (compress or lzf_literals)(plain)
        payload = struct.pack("<II", len(packed), len(plain)) + packed
    Path(path).write_bytes(start + payload)
    return Path(path)


def lzf_literals(plain):
    """Valid LZF that holds literal runs only: a byte of length minus one, then up to 32 bytes."""
    runs = (plain[i : i + 32] for i in range(0, len(plain), 32))
    return b"".join(bytes([len(run) - 1]) + run for run in runs)


def write_e57(path, scans, *, metadata=""):
    """An E57 file; a scan is a dict of `fields` (name -> values), `rotation` (w, x, y, z), `translation`.

    Rotation and translation may be left out.  Coordinates are stored as 64-bit floats, invalid states
    as integers 0 to 2.
    """
    from pye57 import libe57

    image = libe57.ImageFile(str(path), "w")
    image.extensionsAdd("", libe57.E57_V1_0_URI)
    root = image.root()
    root.set("formatName", libe57.StringNode(image, "ASTM E57 3D Imaging Data File"))
    root.set("guid", libe57.StringNode(image, "{made-by-hand}"))
    root.set("versionMajor", libe57.IntegerNode(image, libe57.E57_FORMAT_MAJOR))
    root.set("versionMinor", libe57.IntegerNode(image, libe57.E57_FORMAT_MINOR))
    root.set("coordinateMetadata", libe57.StringNode(image, metadata))
    data3d = libe57.VectorNode(image, True)
    root.set("data3D", data3d)
    for index, scan in enumerate(scans):
        node = libe57.StructureNode(image)
        node.set("guid", libe57.StringNode(image, f"{{scan-{index}}}"))
        if "rotation" in scan or "translation" in scan:
            pose = libe57.StructureNode(image)
            node.set("pose", pose)
            for part, names in (("rotation", "zyxw"), ("translation", "zxy")):  # by name, not in order
                if part in scan:
                    child = libe57.StructureNode(image)
                    for axis in names:
                        value = float(scan[part][("wxyz" if part == "rotation" else "xyz").index(axis)])
                        child.set(axis, libe57.FloatNode(image, value))
                    pose.set(part, child)
        data3d.append(node)
        prototype = libe57.StructureNode(image)
        columns, buffers = {}, libe57.VectorSourceDestBuffer()
        for name, values in scan["fields"].items():
            state = name.endswith("State")
            columns[name] = np.ascontiguousarray(values, dtype="i1" if state else "f8")
            leaf = libe57.IntegerNode(image, 0, 0, 2) if state else libe57.FloatNode(image, 0.0)
            prototype.set(name, leaf)
            n = len(columns[name])
            buffers.append(libe57.SourceDestBuffer(image, name, columns[name], n, True, True))
        points = libe57.CompressedVectorNode(image, prototype, libe57.VectorNode(image, True))
        node.set("points", points)
        writer = points.writer(buffers)
        writer.write(n)
        writer.close()
    image.close()
    return Path(path)


def cartesian_fields(xyz):
    """Names and values of an E57 scan's coordinates."""
    return dict(zip(("cartesianX", "cartesianY", "cartesianZ"), np.asarray(xyz).T, strict=True))


def write_text(path, lines):
    """A text file of these lines."""
    Path(path).write_text("\n".join(lines) + "\n")
    return Path(path)


def world(cloud):
    """World coordinates [m] of a cloud."""
    return cloud.origin + cloud.xyz
