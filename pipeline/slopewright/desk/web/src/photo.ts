// A photo to look into and to mark.  Pixels are of the upright photo, (0, 0) the centre of the first one: the
// picture reaches from -0.5 to width - 0.5, so a pixel p lies at (p + 0.5 - left) * scale on the canvas.

export interface Dot {
  name: string;
  at: [number, number];
  chosen: boolean;
  predicted?: boolean;
}
export interface Stroke {
  points: [number, number][];
  colour: string;
  width: number;
  dashes?: number[];
  fill?: string;
}

const MOST_SCALE = 24; // screen pixels a photo pixel
const LOUPE_PX = 160;
const LOUPE_SCALE = 10;
const CLICK_PX = 4; // that a press may move and still be a click

export class PhotoCanvas {
  private readonly context: CanvasRenderingContext2D;
  private readonly loupe: HTMLCanvasElement;
  private preview: HTMLImageElement | null = null;
  private full: HTMLImageElement | null = null;
  private size: [number, number] = [1, 1];
  private left = 0;
  private top = 0;
  private scale = 1;
  private dots: Dot[] = [];
  private strokes: Stroke[] = [];
  private due = false;
  private under: [number, number] | null = null;
  private fitted = true;
  private readonly pressed = new Map<number, { x: number; y: number }>();
  private from: { x: number; y: number; left: number; top: number; moved: boolean } | null = null;
  private readonly observer: ResizeObserver;

  constructor(
    private readonly canvas: HTMLCanvasElement,
    private readonly onPlace: (at: [number, number]) => void,
    private readonly onNudge: (by: [number, number]) => void = () => undefined,
  ) {
    this.context = canvas.getContext("2d")!;
    this.loupe = document.createElement("canvas");
    this.loupe.className = "loupe";
    this.loupe.width = this.loupe.height = LOUPE_PX;
    this.loupe.hidden = true;
    canvas.after(this.loupe);
    canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    canvas.addEventListener("pointerdown", (event) => this.press(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    canvas.addEventListener("pointerup", (event) => this.release(event));
    canvas.addEventListener("pointercancel", (event) => this.pressed.delete(event.pointerId));
    canvas.addEventListener("pointerleave", () => this.hover(null));
    canvas.addEventListener("keydown", (event) => this.key(event));
    this.observer = new ResizeObserver(() => this.resize());
    this.observer.observe(canvas);
  }

  dispose() {
    this.observer.disconnect();
    this.loupe.remove();
  }

  // Show a photo: the small picture at once, the full one when it is looked into.
  async open(place: string, width: number, height: number): Promise<void> {
    this.size = [width, height];
    this.preview = this.full = null;
    this.fitted = true;
    const preview = await load(`${place}/preview.jpg`);
    this.preview = preview;
    this.resize();
    const full = await load(`${place}/full.jpg`);
    if (this.preview !== preview) return;
    this.full = full;
    this.draw();
  }

  show(dots: Dot[], strokes: Stroke[] = []) {
    this.dots = dots;
    this.strokes = strokes;
    this.draw();
  }

  fit() {
    const { width, height } = this.area();
    this.scale = Math.min(width / this.size[0], height / this.size[1]);
    this.left = (this.size[0] - width / this.scale) / 2;
    this.top = (this.size[1] - height / this.scale) / 2;
    this.fitted = true;
    this.draw();
  }

  zoom(factor: number, about?: [number, number]) {
    const { width, height } = this.area();
    const [x, y] = about ?? [width / 2, height / 2];
    const least = 0.5 * Math.min(width / this.size[0], height / this.size[1]);
    const next = Math.min(Math.max(this.scale * factor, least), MOST_SCALE);
    this.left += x / this.scale - x / next;
    this.top += y / this.scale - y / next;
    this.scale = next;
    this.fitted = false;
    this.draw();
  }

  // Bring a pixel to the middle, large enough to place it.
  centre(at: [number, number], scale = 2) {
    const { width, height } = this.area();
    this.scale = Math.max(this.scale, scale);
    this.left = at[0] + 0.5 - width / this.scale / 2;
    this.top = at[1] + 0.5 - height / this.scale / 2;
    this.fitted = false;
    this.draw();
  }

  // The pixel under a place of the window, and back.
  pixelAt(clientX: number, clientY: number): [number, number] {
    const area = this.area();
    return [
      this.left + (clientX - area.left) / this.scale - 0.5,
      this.top + (clientY - area.top) / this.scale - 0.5,
    ];
  }

  screenOf(at: [number, number]): [number, number] {
    const area = this.area();
    const [x, y] = this.onCanvas(at);
    return [area.left + x, area.top + y];
  }

  get middle(): [number, number] {
    const area = this.area();
    return this.pixelAt(area.left + area.width / 2, area.top + area.height / 2);
  }

  // Where the canvas is drawn: on whole pixels of the screen, wherever the layout would have it.
  private area(): DOMRect {
    const { x, y, width, height } = this.canvas.getBoundingClientRect();
    const snapped = (value: number) => Math.round(value * devicePixelRatio) / devicePixelRatio;
    return new DOMRect(snapped(x), snapped(y), width, height);
  }

  private onCanvas([x, y]: [number, number]): [number, number] {
    return [(x + 0.5 - this.left) * this.scale, (y + 0.5 - this.top) * this.scale];
  }

  private resize() {
    const { width, height } = this.area();
    if (!width || !height) return;
    const dpr = devicePixelRatio;
    this.canvas.width = Math.round(width * dpr);
    this.canvas.height = Math.round(height * dpr);
    if (this.fitted) this.fit();
    else this.draw();
  }

  private wheel(event: WheelEvent) {
    event.preventDefault();
    const area = this.area();
    this.zoom(Math.exp(-event.deltaY * 0.002), [event.clientX - area.left, event.clientY - area.top]);
  }

  private press(event: PointerEvent) {
    this.canvas.setPointerCapture(event.pointerId);
    this.pressed.set(event.pointerId, { x: event.clientX, y: event.clientY });
    this.from = { x: event.clientX, y: event.clientY, left: this.left, top: this.top, moved: this.pressed.size > 1 };
  }

  private move(event: PointerEvent) {
    this.hover(this.pixelAt(event.clientX, event.clientY));
    const before = this.pressed.get(event.pointerId);
    if (!before || !this.from) return;
    const others = [...this.pressed.entries()].filter(([id]) => id !== event.pointerId);
    if (others.length) {
      const other = others[0][1];
      const away = (p: { x: number; y: number }) => Math.hypot(p.x - other.x, p.y - other.y) || 1;
      const area = this.area();
      const now = { x: event.clientX, y: event.clientY };
      this.zoom(away(now) / away(before), [(now.x + other.x) / 2 - area.left, (now.y + other.y) / 2 - area.top]);
    } else {
      const [dx, dy] = [event.clientX - this.from.x, event.clientY - this.from.y];
      if (Math.hypot(dx, dy) > CLICK_PX) this.from.moved = true;
      if (this.from.moved) {
        this.left = this.from.left - dx / this.scale;
        this.top = this.from.top - dy / this.scale;
        this.fitted = false;
        this.draw();
      }
    }
    this.pressed.set(event.pointerId, { x: event.clientX, y: event.clientY });
  }

  private release(event: PointerEvent) {
    this.pressed.delete(event.pointerId);
    if (this.from && !this.from.moved) this.place(this.pixelAt(event.clientX, event.clientY));
    if (!this.pressed.size) this.from = null;
  }

  private place(at: [number, number]) {
    const inside = at.every((value, i) => value >= -0.5 && value <= this.size[i] - 0.5);
    if (inside) this.onPlace(at);
  }

  private key(event: KeyboardEvent) {
    const step = event.shiftKey ? 0.1 : event.ctrlKey ? 10 : 1;
    const ways: Record<string, [number, number]> = {
      ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1],
    }; // prettier-ignore
    const way = ways[event.key];
    if (way && event.altKey) {
      this.left += (way[0] * 60) / this.scale;
      this.top += (way[1] * 60) / this.scale;
      this.fitted = false;
      this.draw();
    } else if (way) this.onNudge([way[0] * step, way[1] * step]);
    else if (event.key === "+" || event.key === "=") this.zoom(1.5);
    else if (event.key === "-") this.zoom(1 / 1.5);
    else if (event.key === "0") this.fit();
    else if (event.key === "Enter" || event.key === " ") this.place(this.middle);
    else return;
    event.preventDefault();
  }

  private hover(at: [number, number] | null) {
    this.under = at;
    this.drawLoupe();
  }

  private picture(scale: number): HTMLImageElement | null {
    const preview = this.preview;
    return preview && (!this.full || scale * this.size[0] <= preview.naturalWidth) ? preview : (this.full ?? preview);
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
    const c = this.context;
    const dpr = this.canvas.width / (this.area().width || 1);
    c.setTransform(1, 0, 0, 1, 0, 0);
    c.fillStyle = "#33383b";
    c.fillRect(0, 0, this.canvas.width, this.canvas.height);
    c.setTransform(dpr, 0, 0, dpr, 0, 0);
    const picture = this.picture(this.scale * dpr);
    if (picture) {
      c.imageSmoothingEnabled = this.scale < 3;
      c.drawImage(
        picture,
        -this.left * this.scale,
        -this.top * this.scale,
        this.size[0] * this.scale,
        this.size[1] * this.scale,
      );
    }
    for (const stroke of this.strokes) this.stroke(stroke);
    for (const dot of this.dots) this.dot(dot);
    if (document.activeElement === this.canvas) this.cross();
    this.drawLoupe();
  }

  private stroke({ points, colour, width, dashes, fill }: Stroke) {
    const c = this.context;
    c.beginPath();
    points.map((p) => this.onCanvas(p)).forEach(([x, y], i) => (i ? c.lineTo(x, y) : c.moveTo(x, y)));
    if (fill) {
      c.closePath();
      c.fillStyle = fill;
      c.fill();
    }
    c.setLineDash(dashes ?? []);
    c.lineWidth = width + 2;
    c.strokeStyle = "#ffffffb0";
    c.stroke();
    c.lineWidth = width;
    c.strokeStyle = colour;
    c.stroke();
    c.setLineDash([]);
  }

  private dot({ name, at, chosen, predicted }: Dot) {
    const c = this.context;
    const [x, y] = this.onCanvas(at);
    for (const [colour, width] of [["#ffffff", 4], [chosen ? "#b3261e" : "#111111", 1.6]] as const) {
      c.strokeStyle = colour;
      c.lineWidth = width;
      c.setLineDash(predicted ? [3, 3] : []);
      c.beginPath();
      c.arc(x, y, 9, 0, 2 * Math.PI);
      if (!predicted)
        for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
          c.moveTo(x + 3 * dx, y + 3 * dy);
          c.lineTo(x + 14 * dx, y + 14 * dy);
        }
      c.stroke();
    }
    c.setLineDash([]);
    c.font = "600 13px system-ui, sans-serif";
    c.lineWidth = 3;
    c.strokeStyle = "#ffffff";
    c.strokeText(name, x + 13, y - 11);
    c.fillStyle = chosen ? "#b3261e" : "#111111";
    c.fillText(name, x + 13, y - 11);
  } // prettier-ignore

  private cross() {
    const { width, height } = this.area();
    const c = this.context;
    c.strokeStyle = "#ffffffa0";
    c.lineWidth = 1;
    c.strokeRect(width / 2 - 6, height / 2 - 6, 12, 12);
  }

  private drawLoupe() {
    const chosen = this.dots.find((dot) => dot.chosen && !dot.predicted);
    const keyboard = document.activeElement === this.canvas && chosen ? chosen.at : null;
    const at = this.under ?? keyboard;
    const picture = this.full ?? this.preview;
    this.loupe.hidden = !at || !picture || this.scale >= LOUPE_SCALE;
    if (this.loupe.hidden || !at || !picture) return;
    const c = this.loupe.getContext("2d")!;
    const share = picture.naturalWidth / this.size[0];
    const half = LOUPE_PX / 2 / LOUPE_SCALE;
    c.fillStyle = "#33383b";
    c.fillRect(0, 0, LOUPE_PX, LOUPE_PX);
    c.imageSmoothingEnabled = false;
    const [x, y] = [(at[0] + 0.5 - half) * share, (at[1] + 0.5 - half) * share];
    c.drawImage(picture, x, y, 2 * half * share, 2 * half * share, 0, 0, LOUPE_PX, LOUPE_PX);
    for (const [colour, width] of [["#ffffff", 3], ["#b3261e", 1]] as const) {
      c.strokeStyle = colour;
      c.lineWidth = width;
      c.beginPath();
      c.moveTo(LOUPE_PX / 2, LOUPE_PX / 2 - 24);
      c.lineTo(LOUPE_PX / 2, LOUPE_PX / 2 + 24);
      c.moveTo(LOUPE_PX / 2 - 24, LOUPE_PX / 2);
      c.lineTo(LOUPE_PX / 2 + 24, LOUPE_PX / 2);
      c.stroke();
    }
  } // prettier-ignore
}

async function load(address: string): Promise<HTMLImageElement> {
  const image = new Image();
  image.src = address;
  await image.decode();
  return image;
}
