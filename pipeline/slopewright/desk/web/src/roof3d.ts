// The roof and its cloud in three dimensions.  Drawn on demand only: without a graphics card a frame takes long.
import {
  AmbientLight,
  BufferAttribute,
  BufferGeometry,
  Color,
  DirectionalLight,
  DoubleSide,
  Group,
  Mesh,
  MeshLambertMaterial,
  PerspectiveCamera,
  Points,
  PointsMaterial,
  Raycaster,
  Scene,
  ShapeUtils,
  Vector2,
  Vector3,
  WebGLRenderer,
} from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { Line2 } from "three/addons/lines/Line2.js";
import { LineGeometry } from "three/addons/lines/LineGeometry.js";
import { LineMaterial } from "three/addons/lines/LineMaterial.js";
import { CSS2DObject, CSS2DRenderer } from "three/addons/renderers/CSS2DRenderer.js";
import { linearRgb } from "./colour";
import { LOOKS } from "./kinds";
import type { Chosen } from "./state";
import type { Edge, Plane, Roof, Xyz } from "./types";

const FRAME_MS = 100; // of drawing while the view turns; with what the browser adds seven frames a second
const FEWEST_POINTS = 4000;
const PICK_PX = 7; // from an edge within which a click means it
const PX_PER_MM = 3.2; // of the plan's strokes
const HIGHLIGHT = "#b3261e";

export class Roof3d {
  private readonly scene = new Scene();
  private readonly camera = new PerspectiveCamera(40, 1, 0.5, 2000);
  private readonly renderer: WebGLRenderer;
  private readonly labels = new CSS2DRenderer();
  private readonly controls: OrbitControls;
  private readonly model = new Group();
  private readonly faces = new Map<string, { mesh: Mesh<BufferGeometry, MeshLambertMaterial>; plane: Plane }>();
  private readonly lines = new Map<string, { line: Line2; edge: Edge }>();
  private readonly tags: { object: CSS2DObject; normals: Vector3[] }[] = [];
  private points: Points<BufferGeometry, PointsMaterial> | null = null;
  private shown = 0;
  private moving = false;
  private due = false;
  private settle = 0;
  private readonly pixel = new Uint8Array(4);
  private readonly observer: ResizeObserver;
  readonly frames: number[] = []; // milliseconds of the last frames while turning, for studies

  constructor(
    private readonly box: HTMLElement,
    private readonly onChoose: (chosen: Chosen | null) => void,
  ) {
    this.renderer = new WebGLRenderer({ antialias: true });
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.renderer.setClearColor("#f7f7f5");
    this.labels.domElement.className = "tags";
    box.append(this.renderer.domElement, this.labels.domElement);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, this.renderer.domElement);
    this.controls.addEventListener("change", () => this.draw());
    this.controls.addEventListener("start", () => (this.moving = true));
    this.controls.addEventListener("end", () => this.rest());
    this.scene.add(new AmbientLight("#ffffff", 2.1), this.sun(1, -0.6, 1.6, 0.9), this.sun(-1, 1, 0.8, 0.35));
    this.scene.add(this.model);
    this.renderer.domElement.addEventListener("pointerdown", (down) => this.pick(down));
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(box);
    this.resize();
  }

  dispose() {
    this.observer.disconnect();
    this.controls.dispose();
    this.clear();
    this.points?.geometry.dispose();
    this.renderer.dispose();
    this.box.replaceChildren();
  }

  setRoof(roof: Roof, fit: boolean) {
    this.clear();
    for (const plane of roof.planes) this.addFace(plane);
    for (const edge of roof.edges) this.addEdge(edge, roof);
    if (fit) this.fit(roof);
    this.draw();
  }

  setPoints(xyz: Float32Array) {
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(xyz, 3));
    this.points = new Points(geometry, new PointsMaterial({ size: 1.6, sizeAttenuation: false, color: "#6d6d6d" }));
    this.points.frustumCulled = false;
    this.shown = xyz.length / 3;
    this.scene.add(this.points);
    this.draw();
  }

  showPoints(visible: boolean) {
    if (this.points) this.points.visible = visible;
    this.draw();
  }

  choose(chosen: Chosen | null, about: string[]) {
    const on = new Set([...(chosen ? [chosen.id] : []), ...about]);
    for (const [id, { mesh, plane }] of this.faces) {
      mesh.material.color = on.has(id) ? new Color("#e8b4a8") : new Color(...linearRgb(plane.pitch_deg.value));
      mesh.material.opacity = plane.observed < 0.5 ? 0.55 : 0.92;
    }
    for (const [id, { line, edge }] of this.lines) {
      const material = line.material as LineMaterial;
      material.color = new Color(on.has(id) ? HIGHLIGHT : "#1a1a1a");
      material.linewidth = (LOOKS[edge.kind]?.width ?? 0.3) * PX_PER_MM + (on.has(id) ? 2.5 : 0.6);
    }
    for (const { object } of this.tags) object.element.classList.toggle("on", on.has(object.element.dataset.id ?? ""));
    this.draw();
  }

  // Where a plane or edge stands on the screen, for tests: the middle of it, in client pixels.
  screenOf(id: string): [number, number] | null {
    const tag = this.tags.find(({ object }) => object.element.dataset.id === id);
    if (!tag) return null;
    this.camera.updateMatrixWorld();
    const at = tag.object.position.clone().project(this.camera);
    const area = this.renderer.domElement.getBoundingClientRect();
    return [area.left + ((at.x + 1) / 2) * area.width, area.top + ((1 - at.y) / 2) * area.height];
  }

  private sun(x: number, y: number, z: number, strength: number) {
    const light = new DirectionalLight("#ffffff", strength);
    light.position.set(x, y, z);
    return light;
  }

  private clear() {
    for (const { mesh } of this.faces.values()) {
      mesh.geometry.dispose();
      mesh.material.dispose();
    }
    for (const { line } of this.lines.values()) {
      line.geometry.dispose();
      (line.material as LineMaterial).dispose();
    }
    this.model.clear();
    this.faces.clear();
    this.lines.clear();
    for (const { object } of this.tags) object.element.remove();
    this.tags.length = 0;
  }

  private addFace(plane: Plane) {
    const rings = [plane.outline, ...plane.holes];
    const flat = rings.map((ring) => ring.map(([x, y]) => new Vector2(x, y)));
    const triangles = ShapeUtils.triangulateShape(flat[0], flat.slice(1));
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(new Float32Array(rings.flat(2)), 3));
    geometry.setIndex(triangles.flat());
    geometry.computeVertexNormals();
    const material = new MeshLambertMaterial({
      side: DoubleSide,
      transparent: true,
      opacity: 0.92,
      polygonOffset: true,
      polygonOffsetFactor: -6,
      polygonOffsetUnits: -6,
    });
    const mesh = new Mesh(geometry, material);
    mesh.userData.id = plane.id;
    this.faces.set(plane.id, { mesh, plane });
    this.model.add(mesh);
    this.tag(plane.id, plane.id, inside(plane, triangles), [new Vector3(...plane.normal)], "plane-tag");
  }

  private addEdge(edge: Edge, roof: Roof) {
    const look = LOOKS[edge.kind] ?? LOOKS.unknown;
    const dashed = look.dashes.length > 0;
    const geometry = new LineGeometry();
    geometry.setPositions([...edge.start, ...edge.end]);
    const material = new LineMaterial({
      linewidth: look.width * PX_PER_MM + 0.6,
      dashed,
      dashSize: (look.dashes[0] ?? 1) * 0.12,
      gapSize: (look.dashes[1] ?? 1) * 0.12,
      polygonOffset: true,
      polygonOffsetFactor: -12,
      polygonOffsetUnits: -12,
    });
    const line = new Line2(geometry, material);
    line.computeLineDistances();
    this.lines.set(edge.id, { line, edge });
    this.model.add(line);
    const normals = roof.planes.filter((p) => edge.planes.includes(p.id)).map((p) => new Vector3(...p.normal));
    const middle = new Vector3(...edge.start).add(new Vector3(...edge.end)).multiplyScalar(0.5);
    this.tag(edge.id, look.letter, middle, normals, "edge-tag");
  }

  private tag(id: string, text: string, at: Vector3, normals: Vector3[], kind: string) {
    const element = document.createElement("span");
    element.className = kind;
    element.dataset.id = id;
    element.textContent = text;
    const object = new CSS2DObject(element);
    object.position.copy(at);
    this.tags.push({ object, normals });
    this.model.add(object);
  }

  private fit(roof: Roof) {
    const corners = roof.planes.flatMap((plane) => plane.outline);
    const low = [0, 1, 2].map((i) => Math.min(...corners.map((c) => c[i])));
    const high = [0, 1, 2].map((i) => Math.max(...corners.map((c) => c[i])));
    const middle = new Vector3(...(low.map((l, i) => (l + high[i]) / 2) as Xyz));
    const size = Math.hypot(...low.map((l, i) => high[i] - l));
    this.controls.target.copy(middle);
    this.camera.position.copy(middle).add(new Vector3(-0.55, -0.85, 0.85).multiplyScalar(size * 0.95));
    this.camera.far = size * 20;
    this.camera.updateProjectionMatrix();
    this.controls.update();
  }

  private resize() {
    const { clientWidth: width, clientHeight: height } = this.box;
    if (!width || !height) return;
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    this.renderer.setSize(width, height);
    this.labels.setSize(width, height);
    this.draw();
  }

  private rest() {
    this.moving = false;
    clearTimeout(this.settle);
    this.settle = window.setTimeout(() => this.draw(), 120);
  }

  private draw() {
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => {
      this.due = false;
      this.frame();
    });
  }

  private frame() {
    const began = performance.now();
    const total = this.points ? this.points.geometry.attributes.position.count : 0;
    this.points?.geometry.setDrawRange(0, this.moving ? this.shown : total);
    for (const { object, normals } of this.tags) {
      const towards = this.camera.position.clone().sub(object.position);
      object.visible = normals.some((normal) => normal.dot(towards) > 0);
    }
    this.renderer.render(this.scene, this.camera);
    this.labels.render(this.scene, this.camera);
    if (!this.moving) return;
    const gl = this.renderer.getContext();
    gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, this.pixel); // waits for the picture: else asking is timed
    const took = performance.now() - began;
    this.frames.push(took);
    if (this.frames.length > 200) this.frames.shift();
    const share = took > FRAME_MS ? Math.max((0.8 * FRAME_MS) / took, 0.1) : took < FRAME_MS / 2 ? 1.3 : 1;
    this.shown = Math.min(Math.max(Math.round(this.shown * share), FEWEST_POINTS), total);
  }

  private pick(down: PointerEvent) {
    const up = (event: PointerEvent) => {
      removeEventListener("pointerup", up);
      if (Math.hypot(event.clientX - down.clientX, event.clientY - down.clientY) > 4) return;
      this.onChoose(this.at(event.clientX, event.clientY));
    };
    addEventListener("pointerup", up);
  }

  private at(clientX: number, clientY: number): Chosen | null {
    const area = this.renderer.domElement.getBoundingClientRect();
    const [x, y] = [clientX - area.left, clientY - area.top];
    const onScreen = (p: Xyz) => {
      const v = new Vector3(...p).project(this.camera);
      return [((v.x + 1) / 2) * area.width, ((1 - v.y) / 2) * area.height];
    };
    const ray = new Raycaster();
    ray.setFromCamera(new Vector2((2 * x) / area.width - 1, 1 - (2 * y) / area.height), this.camera);
    const hit = ray.intersectObjects([...this.faces.values()].map(({ mesh }) => mesh), false)[0];
    let best: { id: string; away: number } | null = null;
    for (const { edge } of this.lines.values()) {
      const [a, b] = [onScreen(edge.start), onScreen(edge.end)];
      const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
      const t = Math.min(Math.max(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy || 1), 0), 1);
      const away = Math.hypot(x - a[0] - t * dx, y - a[1] - t * dy);
      const behind = hit && this.camera.position.distanceTo(along(edge, t)) > hit.distance + 0.5;
      if (away < PICK_PX && !behind && (!best || away < best.away)) best = { id: edge.id, away };
    }
    if (best) return { kind: "edge", id: best.id };
    return hit ? { kind: "plane", id: String(hit.object.userData.id) } : null;
  }
}

const along = (edge: Edge, t: number) => new Vector3(...edge.start).lerp(new Vector3(...edge.end), t);

// A spot well inside a face: the middle of its largest triangle.
function inside(plane: Plane, triangles: number[][]): Vector3 {
  const corners = [plane.outline, ...plane.holes].flat().map((corner) => new Vector3(...corner));
  let best = corners[0];
  let largest = -1;
  for (const [i, j, k] of triangles) {
    const [a, b, c] = [corners[i], corners[j], corners[k]];
    const size = b.clone().sub(a).cross(c.clone().sub(a)).length();
    if (size > largest) {
      largest = size;
      best = a.clone().add(b).add(c).divideScalar(3);
    }
  }
  return best;
}
