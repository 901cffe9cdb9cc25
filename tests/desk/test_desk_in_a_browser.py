"""The whole job by hand in a real browser.  Oracles: the bytes dropped, exact geometry, axe-core (WCAG), CSP.

Nothing waits on time, only on what the page says.
"""

import io
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect, sync_playwright
from pypdf import PdfReader

from desk.served import SAMPLE
from slopewright.photos import cameras_json
from slopewright.photos.model import Block, Camera, PosedPhoto

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
QUIET = ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync"]
PATIENCE_MS = 60_000

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine (apt: chromium)")


@pytest.fixture(scope="module")
def browser():
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=CHROMIUM, headless=True, args=QUIET)
        yield launched
        launched.close()


@pytest.fixture
def opened(browser, tmp_path):
    """A page of a desk that was started as a person starts it; what goes wrong in it is listed."""
    root = tmp_path / "jobs"
    command = [sys.executable, "-m", "slopewright", "desk", "--jobs", str(root), "--no-browser"]
    environment = dict(os.environ, PYTHONUNBUFFERED="1")
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    page = browser.new_page(viewport={"width": 1500, "height": 950})
    page.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    faults: list[str] = []
    try:
        address = re.match(r"Workbench: (\S+)", process.stdout.readline()).group(1)
        own = address.split("/?")[0]
        page.on("pageerror", lambda error: faults.append(f"script: {error}"))
        page.on("console", lambda said: faults.append(said.text) if is_fault(said) else None)
        leaving = re.compile(rf"(?!{re.escape(own)})(https?|wss?):")
        page.on("request", lambda asked: faults.append(asked.url) if leaving.match(asked.url) else None)
        page.goto(address)
        yield page, root, faults
    finally:
        page.close()
        process.terminate()
        process.wait()
        process.stdout.close()


def is_fault(said):
    """Whether the console tells of an error, other than an input that was refused on purpose."""
    return said.type == "error" and "422" not in said.text


def drop(page, selector, paths):
    """Drop files as the system does it."""
    box = page.locator(selector).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + 10
    session = page.context.new_cdp_session(page)
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send("Input.dispatchDragEvent", {"type": kind, "x": x, "y": y, "data": data})


def all_can_use(page):
    found = Axe().run(page).response["violations"]
    assert not found, [(fault["id"], fault["nodes"][0]["html"][:200]) for fault in found]


def step(page, name):
    page.get_by_role("navigation").get_by_role("link", name=name).click()
    expect(page.get_by_role("heading", level=1, name=name)).to_be_visible()


def number(text):
    return float(re.search(r"[\d,]+\.\d+", text).group().replace(",", ""))


def test_from_a_dropped_cloud_to_a_printed_report(opened, tmp_path):
    """The area must grow by length x distance x slope factor when an eave is dragged outward."""
    page, root, faults = opened
    all_can_use(page)
    drop(page, ".drop", [SAMPLE / "cloud.laz"])
    page.get_by_label("Name of the job").fill("<b>Elm</b> & Oak")
    page.get_by_role("button", name="Make the job").click()
    expect(page.locator(".job-name")).to_have_text("<b>Elm</b> & Oak")
    job = root / "b-elm-b-oak"
    expect(page.get_by_role("row", name="cloud.laz")).to_be_visible()
    assert (job / "cloud.laz").read_bytes() == (SAMPLE / "cloud.laz").read_bytes()

    page.get_by_label("Storeys").fill("99")
    page.get_by_label("Storeys").press("Tab")
    expect(page.get_by_role("alert").filter(has_text="1 to 10")).to_be_visible()
    page.get_by_label("Storeys").fill("2")
    page.get_by_label("Storeys").press("Tab")
    expect(page.get_by_role("alert").filter(has_text="1 to 10")).to_have_count(0)
    all_can_use(page)
    page.get_by_role("button", name="Measure", exact=True).click()
    expect(page.get_by_role("status").filter(has_text="Measured.")).to_be_visible()

    step(page, "Roof")
    expect(page.get_by_text("points shown")).to_be_visible()
    all_can_use(page)
    choose_in_every_view(page)
    drag_an_eave(page, root / "b-elm-b-oak.run" / "roof.json")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("None. Those you make")).to_be_visible()
    page.get_by_role("button", name="Redo").click()
    expect(page.locator("#journal ~ ol li")).to_have_count(1)

    step(page, "Takeoff")
    status = page.get_by_label("Status of starter", exact=True)
    status.select_option("by_others")
    expect(page.get_by_role("row").filter(has=status)).to_have_class("dim")
    assert '"starter"' in (job / "job.toml").read_text()
    expect(page.get_by_alt_text(re.compile("Courses of shingles"))).to_be_visible()
    all_can_use(page)

    step(page, "Checks")
    roof = json.loads((root / "b-elm-b-oak.run" / "roof.json").read_text())
    ridge = next(edge for edge in roof["edges"] if edge["kind"] == "ridge")
    page.get_by_role("combobox", name="Edge").select_option(ridge["id"])
    page.get_by_label("Length, ft").fill(f"{ridge['length']['value'] / 0.3048:.2f}")
    page.get_by_role("button", name="Add", exact=True).click()
    page.get_by_role("button", name="Check", exact=True).click()
    expect(page.get_by_text("1 of 1 agree")).to_be_visible()
    page.get_by_label(re.compile("Table: a line a quantity")).fill("item,quantity,unit\nridge,200,lf\n")
    page.get_by_role("button", name="Compare", exact=True).click()
    expect(page.get_by_text("0 of 1 line is within our 95 % bounds.")).to_be_visible()
    all_can_use(page)

    step(page, "Report")
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save report.pdf").click()
    saved.value.save_as(tmp_path / "report.pdf")
    text = "".join(sheet.extract_text() for sheet in PdfReader(tmp_path / "report.pdf").pages)
    assert "moved outward" in text and "Elm" in text
    all_can_use(page)
    assert faults == []


def choose_in_every_view(page):
    """What is clicked in 3D is chosen in the plan and in the table, and the other way."""
    page.evaluate("document.querySelector('.canvas-box').scrollIntoView({block: 'center'})")
    x, y = page.evaluate("window.slopewright.view.screenOf('B')")
    page.mouse.click(x + 12, y)  # beside the letter
    expect(page.get_by_role("heading", name="Plane B")).to_be_visible()
    expect(page.locator("path[data-id=B]")).to_have_attribute("fill", "#e8b4a8")
    expect(page.get_by_role("button", name="B", exact=True)).to_have_attribute("aria-pressed", "true")
    page.get_by_role("button", name="e1", exact=True).press("Enter")
    expect(page.get_by_role("heading", name=re.compile("Edge e1,"))).to_be_visible()


def drag_an_eave(page, path):
    roof = json.loads(path.read_text())
    eave = max((e for e in roof["edges"] if e["kind"] == "eave"), key=lambda e: e["length"]["value"])
    plane = next(p for p in roof["planes"] if p["id"] == eave["planes"][0])
    page.get_by_role("button", name=eave["id"], exact=True).click()
    if not page.get_by_role("heading", name=re.compile(f"Edge {eave['id']},")).is_visible():
        page.get_by_role("button", name=eave["id"], exact=True).click()
    page.locator(".plan-svg").scroll_into_view_if_needed()
    handle = page.locator(f"circle[data-handle={eave['id']}]").bounding_box()
    x, y = handle["x"] + handle["width"] / 2, handle["y"] + handle["height"] / 2
    azimuth = np.radians(plane["azimuth_deg"]["value"])
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 12 * np.sin(azimuth), y - 12 * np.cos(azimuth), steps=4)
    page.mouse.up()
    expect(page.locator("#journal ~ ol li")).to_have_count(1)
    journal = json.loads((path.parent / "state.json").read_text())["journal"]
    (edit,) = journal
    assert edit["edge"] == eave["id"] and 0.05 < edit["by_m"] < 3.0
    after = json.loads(path.read_text())
    grown = after["totals"]["area"]["value"] - roof["totals"]["area"]["value"]
    slope = plane["area"]["value"] / plane["plan_area"]["value"]
    assert grown == pytest.approx(eave["length"]["value"] * edit["by_m"] * slope, rel=0.08)


def photo_with_a_square(path, centre, *, turned=False):
    """A grey photo, a white square of 5 pixels about a pixel; `turned`: stored on its side, with the tag."""
    pixels = np.full((900, 1200, 3), 70, np.uint8)
    x, y = centre
    pixels[y - 2 : y + 3, x - 2 : x + 3] = 255
    exif = Image.Exif()
    if turned:
        pixels = np.rot90(pixels)  # anticlockwise; EXIF 2.32, 4.6.4: 6 is shown turned clockwise
        exif[0x0112] = 6
    Image.fromarray(pixels).save(path, quality=95, exif=exif)


@pytest.mark.parametrize("turned", [False, True])
def test_a_mark_is_where_it_was_clicked(opened, tmp_path, turned):
    """Oracle: the square's middle in the photo's array, and its middle among the screen's pixels.

    At 24 times its size the square lies on whole pixels of the screen: that middle is sure to 0.5 / 24 px.
    """
    page, root, faults = opened
    drop_folder = tmp_path / "flight"
    drop_folder.mkdir()
    centre = (741, 318)
    photo_with_a_square(drop_folder / "a.jpg", centre, turned=turned)
    photo_with_a_square(drop_folder / "b.jpg", (200, 200))
    drop(page, ".drop", [drop_folder])
    page.get_by_label("Name of the job").fill("Marks")
    page.get_by_role("button", name="Make the job").click()
    step(page, "Marks")
    page.get_by_label("New mark").fill("staff_a")
    page.get_by_role("button", name="Add", exact=True).click()
    until(page, lambda: page.evaluate("window.slopewright.photo.full !== null"))
    page.evaluate(f"window.slopewright.photo.centre([{centre[0] - 3}, {centre[1] + 2}], 24)")
    canvas = page.locator(".photo-box > canvas").first
    canvas.scroll_into_view_if_needed()
    page.wait_for_function(
        "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))"
    )
    page.mouse.click(*middle_of_white(page, canvas.bounding_box()))
    expect(page.get_by_role("row").filter(has_text="a.jpg")).to_be_visible()
    path = root / "marks" / "marks.json"
    until(page, lambda: marks_in(path))
    (mark,) = marks_in(path)
    assert mark["name"] == "staff_a"
    np.testing.assert_allclose(mark["photos"]["a.jpg"], centre, atol=0.5 / 24 + 0.005)

    canvas.focus()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowDown")
    expect(page.locator(".card table")).to_contain_text(f"{centre[1] + 1}")
    page.reload()
    expect(page.locator(".card")).to_contain_text("in 1 photo")
    (moved,) = marks_in(path)
    np.testing.assert_allclose(
        np.subtract(moved["photos"]["a.jpg"], mark["photos"]["a.jpg"]), [0.1, 1], atol=0.002
    )
    all_can_use(page)
    assert faults == []


def middle_of_white(page, box):
    """The middle of what is white within a box of the window [CSS px]."""
    seen = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("L")).astype(float)
    white = np.where(seen > 200, seen, 0.0)
    rows, columns = np.indices(white.shape) + 0.5  # where pixels have their middle
    inside = (abs(columns - box["x"] - box["width"] / 2) < box["width"] / 2 - 4) & (
        abs(rows - box["y"] - box["height"] / 2) < box["height"] / 2 - 4
    )
    white *= inside
    return float((columns * white).sum() / white.sum()), float((rows * white).sum() / white.sum())


def marks_in(path):
    return json.loads(path.read_text())["marks"] if path.exists() else []


def until(page, condition):
    for _ in range(PATIENCE_MS // 25):
        if condition():
            return
        page.wait_for_timeout(25)
    raise AssertionError("nothing came of it")


def posed(name, eye, lens):
    """A photo of 1200 x 900 from a spot, looking at the origin."""
    ahead = -np.asarray(eye) / np.linalg.norm(eye)
    right = np.cross(ahead, [0, 0, 1])
    right /= np.linalg.norm(right)
    rotation = np.array([right, np.cross(ahead, right), ahead])
    camera = Camera(width_px=1200, height_px=900, focal_px=1000.0, centre_px=(603.0, 447.0), **lens)
    return PosedPhoto(
        name=name, path=Path(name), camera=camera, rotation=rotation, translation=-rotation @ eye
    )


def test_a_point_marked_in_two_photos_is_expected_where_it_is_in_the_third(opened):
    """Oracle: the photo stage's own lens, which is another program in another language."""
    page, root, faults = opened
    lens = {"k1": -0.11, "k2": 0.02}
    eyes = {"a.jpg": (9.0, 1.0, 7.0), "b.jpg": (2.0, 10.0, 6.0), "c.jpg": (-8.0, -3.0, 9.0)}
    photos = [posed(name, np.array(eye), lens) for name, eye in eyes.items()]
    block = Block(
        photos=tuple(photos),
        points=np.zeros((0, 3)),
        seen_point=np.zeros(0, np.int32),
        seen_photo=np.zeros(0, np.int32),
        origin=np.zeros(3),
        crs=None,
        scale_u=0.001,
        tilt_u_rad=0.001,
        scale_from="",
        level_from="",
    )
    (root / "flight").mkdir()
    (root / "flight.run" / "photos").mkdir(parents=True)
    (root / "flight.run" / "photos" / "cameras.json").write_bytes(cameras_json(block))
    corner = np.array([[1.2, -2.1, 1.7]])
    seen = {photo.name: photo.project(corner)[0].tolist() for photo in photos}
    for name in eyes:
        photo_with_a_square(root / "flight" / name, (600, 450))
    both = [
        {"name": "two", "u_px": 1.0, "photos": {name: seen[name] for name in ("a.jpg", "b.jpg")}},
        {"name": "one", "u_px": 1.0, "photos": {"a.jpg": seen["a.jpg"]}},
    ]
    marks = {"format": "slopewright-marks", "version": 1, "marks": both}
    (root / "flight" / "marks.json").write_text(json.dumps(marks))
    page.reload()
    page.get_by_role("link", name="flight").click()
    step(page, "Marks")
    expect(page.locator(".card").first).to_contain_text("0.0")  # what both are off
    page.get_by_role("button", name="c.jpg").click()
    shown = "window.slopewright.photo"
    until(page, lambda: len(page.evaluate(f"{shown}.dots")) == 1)
    (expected,) = page.evaluate(f"{shown}.dots")
    assert expected["predicted"] and expected["name"].startswith("two")
    np.testing.assert_allclose(expected["at"], seen["c.jpg"], atol=0.01)

    page.get_by_role("button", name="one", exact=True).click()
    until(page, lambda: page.evaluate(f"{shown}.strokes.length") == 1)
    line = np.array(page.evaluate(f"{shown}.strokes[0].points"))
    a, b = line[:-1], line[1:]
    share = ((seen["c.jpg"] - a) * (b - a)).sum(axis=1) / ((b - a) ** 2).sum(axis=1)
    nearest = a + np.clip(share, 0, 1)[:, None] * (b - a)
    assert np.hypot(*(nearest - seen["c.jpg"]).T).min() < 0.5  # it is drawn in straight pieces
    assert faults == []


def test_at_the_width_of_a_telephone_nothing_is_wider_than_the_screen(opened):
    page, root, faults = opened
    page.set_viewport_size({"width": 390, "height": 844})
    shutil.copytree(SAMPLE, root / "house")
    page.reload()
    page.get_by_role("link", name="Sample house").click()
    page.get_by_role("button", name="Measure", exact=True).click()
    expect(page.get_by_role("status").filter(has_text="Measured.")).to_be_visible()
    for name in ("Roof", "Takeoff", "Checks", "Report", "Files and job"):
        step(page, name)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
        all_can_use(page)
    assert faults == []
