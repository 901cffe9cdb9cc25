"""Whole batches: what a person gets, and what is left after something was killed, starved or spoiled."""

import csv
import json
import os
import resource
import signal
import subprocess
import sys

import numpy as np
import pyproj
import pytest
from batch_jobs import content, descendants, gable, kill, run, start, wait_for_rows, write_jobs, write_laz

from slopewright.batch import nursery

N, SPOILED = 6, (2,)


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    return write_jobs(tmp_path_factory.mktemp("jobs"), N, spoiled=SPOILED)


@pytest.fixture(scope="module")
def undisturbed(jobs, tmp_path_factory):
    """A batch that nothing happened to."""
    out = tmp_path_factory.mktemp("undisturbed") / "out"
    done = run(jobs, "--out", out, "--files", "roof", "--workers", 1, "--json")
    return done, out


def statuses(out):
    with (out / "results.csv").open(newline="", encoding="utf-8") as stream:
        return {row["id"]: row["status"] for row in csv.DictReader(stream)}


def held(out):
    with (out / "times.csv").open(newline="", encoding="utf-8") as stream:
        return [row["held"] for row in csv.DictReader(stream)]


def test_a_batch_measures_what_it_can_and_says_of_the_rest_why(jobs, undisturbed):
    done, out = undisturbed
    told = json.loads(done.stdout)
    assert done.returncode == 3 and "1 of 6 roofs were not measured or not certified" in done.stderr
    assert told["roofs"] == N and told["status"]["refused"] == 1 and all(map(os.path.exists, told["files"]))
    assert statuses(out)["roof 002"] == "refused"
    reason = json.loads((out / "rows" / "roof 002.json").read_text())["reason"]
    assert "002.laz" in reason and "truncated" in reason
    assert not (out / "runs" / "roof 002").exists()


def test_a_roof_of_a_batch_is_the_roof_that_measure_gives(jobs, undisturbed, tmp_path):
    """Oracle: `slopewright measure` of the same cloud."""
    _, out = undisturbed
    words = ["measure", str(jobs.parent / "000.laz"), "--unit", "m", "--out", str(tmp_path / "r"), "-q"]
    subprocess.run([sys.executable, "-m", "slopewright", *words], check=True, timeout=120)
    for name in ("roof.json", "takeoff.json", "covariance.json", "takeoff.csv"):
        assert (tmp_path / "r" / name).read_bytes() == (out / "runs" / "roof 000" / name).read_bytes()


def test_a_batch_that_was_killed_goes_on_and_ends_as_if_nothing_had_happened(jobs, undisturbed, tmp_path):
    """Oracle: every byte of the undisturbed batch, but for the times."""
    out = tmp_path / "out"
    words = (jobs, "--out", out, "--files", "roof", "--workers", 1)
    process = start(*words)
    wait_for_rows(out, 2, process)
    below = descendants(process.pid)
    kill(process)
    assert below and not (out / "results.csv").exists()
    again = run(*words)
    assert again.returncode == 3 and held(out).count("yes") >= 2
    assert content(out) == content(undisturbed[1])
    third = run(*words, "-q")
    assert third.returncode == 3 and held(out) == ["yes"] * N
    assert content(out) == content(undisturbed[1])


def test_killed_workers_cost_time_and_nothing_else(jobs, undisturbed, tmp_path):
    out = tmp_path / "out"
    process = start(jobs, "--out", out, "--files", "roof", "--workers", 2)
    wait_for_rows(out, 1, process)
    for pid in descendants(process.pid):
        try:
            os.kill(pid, signal.SIGKILL)
        except ProcessLookupError:
            continue
    process.wait(120)
    process.stderr.close()
    assert run(jobs, "--out", out, "--files", "roof", "--workers", 1).returncode == 3
    assert content(out) == content(undisturbed[1])


def test_a_full_disk_is_told_and_the_next_run_completes(jobs, undisturbed, tmp_path):
    """A limit on the size of files stands for the disk: roof.json of any roof is larger."""
    out = tmp_path / "out"

    def starved():
        resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000))

    words = (jobs, "--out", out, "--files", "roof", "--workers", 1)
    first = run(*words, preexec_fn=starved)
    assert first.returncode == 2 and "results cannot be written" in first.stderr
    assert not (out / "results.csv").exists() and not list(out.glob("runs/*/*"))
    assert run(*words).returncode == 3
    assert content(out) == content(undisturbed[1])


def test_a_polite_end_is_told_and_leaves_no_process(jobs, tmp_path):
    out = tmp_path / "out"
    process = start(jobs, "--out", out, "--files", "roof", "--workers", 1)
    wait_for_rows(out, 1, process)
    below = descendants(process.pid)
    process.send_signal(signal.SIGTERM)
    _, told = process.communicate(timeout=60)
    assert process.returncode == 130 and "the same command goes on from there" in told
    assert below and not [pid for pid in below if os.path.exists(f"/proc/{pid}/exe")]


def test_limits_of_time_and_memory_are_rows(tmp_path):
    """A pipe that nobody writes to is never read whole; 20 million points need 480 MB for x, y and z."""
    os.mkfifo(tmp_path / "pipe.laz")
    from cloud.cloud_files import house_points, write_las

    write_las(tmp_path / "big.las", house_points(400), n_points=20_000_000)
    os.truncate(tmp_path / "big.las", 600_000_000)
    (tmp_path / "m.csv").write_text("id,input,unit\nslow,pipe.laz,m\nlarge,big.las,m\ngone,no.laz,m\n")
    limits = ("--time-limit", 8, "--memory-limit", 0.25)
    done = run(tmp_path / "m.csv", "--out", tmp_path / "out", "--files", "roof", "--workers", 1, *limits)
    assert done.returncode == 3
    assert statuses(tmp_path / "out") == {"slow": "timeout", "large": "memory", "gone": "refused"}


@pytest.mark.parametrize("number", [signal.SIGSEGV, signal.SIGKILL, signal.SIGABRT])
def test_a_crash_in_native_code_is_contained_and_named(number):
    asked = {"time_limit_s": 20.0, "memory_limit_gb": 4.0}
    quiet, open_end = os.pipe()
    end = nursery.in_child(lambda: os.kill(os.getpid(), number) or {}, asked, quiet)
    os.close(quiet)
    os.close(open_end)
    assert end.answer is None and not end.late and signal.Signals(number).name in end.how


def test_one_batch_at_a_time_in_a_folder_and_only_where_a_batch_belongs(jobs, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("x")
    refused = run(jobs, "--out", tmp_path / "mine")
    assert refused.returncode == 2 and "holds no batch" in refused.stderr
    out = tmp_path / "out"
    process = start(jobs, "--out", out, "--files", "roof", "--workers", 1)
    wait_for_rows(out, 1, process)
    process.send_signal(signal.SIGSTOP)  # or it may be done before the second has started
    second = run(jobs, "--out", out, "--files", "roof")
    kill(process)
    assert second.returncode == 2 and "another batch runs in it" in second.stderr


def test_roofs_of_a_map_are_cut_from_their_tiles_and_joined(tmp_path):
    """Oracle: two gables of 12 x 8 m in plan, one of them across the border of two tiles.

    A roof of 6 in 12 has 96 m² x sqrt(1 + 1/4) of surface; the outlines in the results lie on the map's.
    """
    import pyarrow.parquet as pq
    import shapely

    crs, corner = pyproj.CRS.from_epsg(25832), (500_000.0, 5_400_000.0)
    shift = np.array([*corner, 200.0])
    first, second = gable(seed=1) + shift, gable(seed=2) + shift + [60, 0, 0]
    border = corner[0] + 65
    tiles = tmp_path / "tiles"
    tiles.mkdir()
    east = second[:, 0] > border
    write_laz(tiles / "west.laz", np.concatenate([first, second[~east]]), crs)
    write_laz(tiles / "east.laz", second[east], crs)
    houses = [shapely.box(corner[0] + dx, corner[1], corner[0] + dx + 12, corner[1] + 8) for dx in (0, 60)]
    shapes = [houses[0], houses[1].centroid, shapely.Point(corner[0] + 5000, corner[1])]
    features = [
        {
            "type": "Feature",
            "id": f"b{k}",
            "properties": {},
            "geometry": json.loads(shapely.to_geojson(shape)),
        }
        for k, shape in enumerate(shapes)
    ]
    (tmp_path / "r.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    words = (
        "--tiles",
        tiles,
        "--roofs",
        tmp_path / "r.geojson",
        "--out",
        tmp_path / "out",
        "--files",
        "roof",
    )
    done = run(*words, "--workers", 1)
    assert done.returncode == 3, done.stderr
    assert statuses(tmp_path / "out") == {"b0": "ok", "b1": "ok", "b2": "refused"}
    table = pq.read_table(tmp_path / "out" / "results.parquet").to_pylist()
    for row, house in zip(table[:2], houses, strict=True):
        assert row["area_low_m2"] < 96 * 1.25**0.5 < row["area_high_m2"]
        outline = shapely.from_wkb(row["geometry"])
        assert outline.symmetric_difference(house).area < 0.08 * house.area
    assert table[0]["footprint_m2"] == pytest.approx(96) and table[1]["footprint_m2"] is None
    before = content(tmp_path / "out")
    assert run(*words, "--workers", 1).returncode == 3 and held(tmp_path / "out")[:2] == ["yes", "yes"]
    assert content(tmp_path / "out") == before and not list((tmp_path / "out" / "cuts" / "parts").iterdir())


def test_a_running_cluster_does_the_same(jobs, undisturbed, tmp_path):
    """Oracle: every byte of the batch that ran without a cluster."""
    text = (
        "from distributed import LocalCluster; import sys\n"
        "if __name__ == '__main__':\n"
        "    cluster = LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None)\n"
        "    print(cluster.scheduler_address, flush=True)\n"
        "    sys.stdin.read()\n"
    )
    (tmp_path / "cluster.py").write_text(text)
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "cluster.py")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as cluster:
        address = cluster.stdout.readline().strip()
        done = run(jobs, "--out", tmp_path / "out", "--files", "roof", "--scheduler", address)
        for pid in [*descendants(cluster.pid), cluster.pid]:
            os.kill(pid, signal.SIGKILL)
    assert done.returncode == 3, done.stderr
    assert content(tmp_path / "out") == content(undisturbed[1])
    gone = run(jobs, "--out", tmp_path / "out", "--scheduler", "tcp://127.0.0.1:9")
    assert gone.returncode == 2 and "no Dask scheduler answers there" in gone.stderr
