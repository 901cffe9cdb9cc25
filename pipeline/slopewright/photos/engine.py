"""Features, matches and mapping by pycolmap; `mapping.py` runs this in a process of its own.

A failed check inside that library ends its process, and it writes to stderr whatever it is told: neither may
happen to the program itself.  The folder has request.json and the pictures; the answer is models.npz.
Pixels of the answer follow the project: (0, 0) is the centre of the first pixel.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from .doubt import camera_doubt
from .placed import Model

REQUEST_FILE, ANSWER_FILE, PAIRS_FILE = "request.json", "models.npz", "pairs.txt"
LENS = "RADIAL"  # f, principal point, k1, k2: what `Camera` holds
FIRST_PIXEL = 0.5  # where COLMAP has the centre of the first pixel
FUNCTION_TOLERANCE = 1e-6  # of a bundle adjustment; the default of 0 takes ten times as long, to the same end
# Principal points lie within about 1 % of the long side from the middle; one that the views tell worse than
# this (over the long side) is better left there.
MAX_CENTRE_SD = 0.002
KEYS = ("names", "camera", "lens", "pose", "points", "seen", "pixels")
MIN_MODEL = 3  # photos
MAX_MODELS = 6  # pieces worth telling of
GUESSED_FOCAL = (
    0.75  # focal length over long side where EXIF has none: telephones and drones have 0.65 to 0.85
)


def main(name: str) -> None:
    """Match and map the pictures of a folder."""
    import pycolmap

    folder = Path(name)
    request = json.loads((folder / REQUEST_FILE).read_text(encoding="utf-8"))
    pycolmap.set_random_seed(request["seed"])
    database = folder / "database.db"
    _extract(database, folder, request)
    _match(database, folder, request)
    out = folder / "models"
    out.mkdir()
    found = pycolmap.incremental_mapping(database, folder, out, _mapping(request))
    answer: dict[str, Any] = {"n_models": np.array(len(found))}
    for number, model in enumerate(sorted(found.values(), key=lambda model: -model.num_reg_images())):
        answer |= {f"{number}/{key}": value for key, value in _adjusted(model).items()}
    np.savez(folder / ANSWER_FILE, **answer)


def _adjusted(found: Any) -> dict[str, Any]:
    """A model after a last adjustment; with the principal point where the views tell it."""
    _bundle(found, principal_point=False)
    arrays = _arrays(found)
    model = model_of(arrays)
    doubt = camera_doubt(model)
    worst = max(float(doubt.lens_sd(photo)[1:3].max()) for photo in range(len(model.names)))
    if worst > MAX_CENTRE_SD * 2 * float(model.lens[:, 1:3].max()):
        return arrays
    _bundle(found, principal_point=True)
    return _arrays(found)


def _bundle(found: Any, *, principal_point: bool) -> None:
    """One bundle adjustment over the whole model, outliers weighed down."""
    import pycolmap

    options = pycolmap.BundleAdjustmentOptions()
    options.refine_principal_point = principal_point
    options.print_summary = False
    options.ceres.loss_function_type = pycolmap.LossFunctionType.SOFT_L1
    options.ceres.solver_options.function_tolerance = FUNCTION_TOLERANCE
    options.ceres.solver_options.num_threads = 1  # two repeat no bit
    pycolmap.bundle_adjustment(found, options)


def _extract(database: Path, folder: Path, request: dict[str, Any]) -> None:
    import pycolmap

    options = pycolmap.FeatureExtractionOptions()
    options.use_gpu = False
    pycolmap.Database.open(database).close()
    for group in request["groups"]:
        reader = pycolmap.ImageReaderOptions()
        reader.camera_model = LENS
        if group["focal_px"] is not None:
            centre = (group["width"] / 2, group["height"] / 2)
            reader.camera_params = ",".join(repr(value) for value in (group["focal_px"], *centre, 0.0, 0.0))
        else:
            reader.default_focal_length_factor = GUESSED_FOCAL
        pycolmap.import_images(
            database, folder, pycolmap.CameraMode.SINGLE, image_names=group["photos"], options=reader
        )
    pycolmap.extract_features(database, folder, extraction_options=options, device=pycolmap.Device.cpu)


def _match(database: Path, folder: Path, request: dict[str, Any]) -> None:
    import pycolmap

    matching, verification = pycolmap.FeatureMatchingOptions(), pycolmap.TwoViewGeometryOptions()
    matching.use_gpu = False
    verification.ransac.random_seed = request["seed"]
    (folder / PAIRS_FILE).write_text("".join(f"{a} {b}\n" for a, b in request["pairs"]), encoding="utf-8")
    pairing = pycolmap.ImportedPairingOptions()
    pairing.match_list_path = folder / PAIRS_FILE
    pycolmap.match_image_pairs(
        database,
        matching_options=matching,
        pairing_options=pairing,
        verification_options=verification,
        device=pycolmap.Device.cpu,
    )


def _mapping(request: dict[str, Any]) -> Any:
    import pycolmap

    options = pycolmap.IncrementalPipelineOptions()
    options.num_threads = 1
    options.random_seed = request["seed"]
    options.mapper.num_threads = 1
    options.mapper.random_seed = request["seed"]
    options.triangulation.random_seed = request["seed"]
    options.min_model_size = MIN_MODEL
    options.max_num_models = MAX_MODELS
    options.extract_colors = False
    options.ba_local_function_tolerance = FUNCTION_TOLERANCE
    options.ba_global_function_tolerance = FUNCTION_TOLERANCE
    return options


def model_of(arrays: dict[str, Any]) -> Model:
    """A model from the arrays of the answer."""
    seen = np.asarray(arrays["seen"], dtype=np.int64)
    pose = np.asarray(arrays["pose"], dtype=np.float64)
    return Model(
        names=tuple(str(name) for name in arrays["names"]),
        camera=np.asarray(arrays["camera"], dtype=np.int64),
        lens=np.asarray(arrays["lens"], dtype=np.float64),
        rotation=pose[:, :, :3].copy(),
        translation=pose[:, :, 3].copy(),
        points=np.asarray(arrays["points"], dtype=np.float64),
        seen_point=seen[:, 0].copy(),
        seen_photo=seen[:, 1].copy(),
        pixels=np.asarray(arrays["pixels"], dtype=np.float64),
    )


def _arrays(found: Any) -> dict[str, Any]:
    """A model as arrays: names, lenses, poses, points and who saw which where."""
    images = sorted(
        (image for image in found.images.values() if image.has_pose), key=lambda image: image.name
    )
    points = sorted(found.points3D)
    row = {point: n for n, point in enumerate(points)}
    lenses = [found.cameras[image.camera_id] for image in images]
    seen = [
        (row[spot.point3D_id], n, *(spot.xy - FIRST_PIXEL))
        for n, image in enumerate(images)
        for spot in image.points2D
        if spot.has_point3D()
    ]
    table = np.array(seen, dtype=np.float64).reshape(-1, 4)
    return {
        "names": np.array([image.name for image in images]),
        "camera": np.array([image.camera_id for image in images], dtype=np.int64),
        "lens": np.array([lens.params - [0, FIRST_PIXEL, FIRST_PIXEL, 0, 0] for lens in lenses]).reshape(
            -1, 5
        ),
        "pose": np.array([image.cam_from_world().matrix() for image in images]).reshape(-1, 3, 4),
        "points": np.array([found.points3D[point].xyz for point in points]).reshape(-1, 3),
        "seen": table[:, :2].astype(np.int64),
        "pixels": table[:, 2:],
    }
