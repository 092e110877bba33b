// The photo with what is flagged on it. Everything inside the SVG is in pixels of the upright photo;
// zoom and pan live here, candidates and decisions live in Python.

const SVG = "http://www.w3.org/2000/svg";
const TAP = 8; // screen pixels that a finger may slip and still tap
const REACH = 22; // screen pixels around an outline that still count as on it: half a touch target
const CLOSEST = 1 / 8; // photo pixels per screen pixel at the strongest zoom
const CANDIDATE_LINE = 2.5;
const BADGE = { height: 24, pad: 7, text: 15 };

const make = (name, attributes = {}) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
};
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
const path = (points) => points.map(([x, y]) => `${x},${y}`).join(" ");

class Viewer {
  constructor(root) {
    this.root = root;
    this.svg = root.querySelector("svg");
    this.image = this.svg.appendChild(make("image"));
    this.circles = this.svg.appendChild(make("g", { class: "fasteners" }));
    this.shapes = this.svg.appendChild(make("g"));
    this.badges = this.svg.appendChild(make("g"));
    this.rubber = this.svg.appendChild(make("g"));
    this.pointers = new Map();
    this.data = { photo: { url: "", width: 1, height: 1 }, candidates: [], fasteners: [] };
    this.mode = "look"; // or "mark": draw a box, or "fastener": point one out
    this.image.onerror = () => (root.dataset.state = "missing");
    this.image.onload = () => (root.dataset.state = "shown");
    this.svg.onpointerdown = (event) => this.press(event);
    this.svg.onpointermove = (event) => this.move(event);
    this.svg.onpointerup = (event) => this.release(event);
    this.svg.onpointercancel = (event) => this.cancel(event);
    this.svg.onkeydown = (event) => this.key(event);
    this.svg.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    for (const button of root.querySelectorAll("button")) button.onclick = () => this.tool(button);
    this.resized = new ResizeObserver(() => this.layout());
  }

  update(data) {
    const other = data.photo.url !== this.data.photo.url;
    const moved = data.chosen !== this.data.chosen;
    this.data = data;
    const { url, width, height } = data.photo;
    if (other) {
      this.root.dataset.state = "loading";
      // The centre of the first pixel is (0, 0), so its corner lies half a pixel outside.
      const frame = { href: url, x: -0.5, y: -0.5, width, height };
      for (const [key, value] of Object.entries(frame)) this.image.setAttribute(key, value);
      this.svg.style.aspectRatio = `${width} / ${height}`;
      this.view = null;
      this.setMode("look");
    } else if (moved && this.view && this.view.scale < this.whole()) {
      this.centreOn(this.chosen());
    }
    this.svg.setAttribute("aria-label", data.label);
    this.draw();
    this.layout();
    this.resized.observe(this.svg);
  }

  chosen() {
    return this.data.candidates.find((candidate) => candidate.id === this.data.chosen);
  }

  // What is drawn

  draw() {
    this.circles.replaceChildren(
      ...this.data.fasteners.flatMap(({ cx, cy, radius }) =>
        ["under", "over"].map((layer) => make("circle", { class: layer, cx, cy, r: radius })),
      ),
    );
    const ordered = [...this.data.candidates].sort(
      (a, b) => (a.id === this.data.chosen) - (b.id === this.data.chosen),
    );
    this.shapes.replaceChildren(...ordered.flatMap((candidate) => this.outline(candidate)));
    this.badges.replaceChildren(...ordered.map((candidate) => this.badge(candidate)));
    this.rubber.replaceChildren();
    if (this.data.drawn) this.stretch(this.data.drawn);
  }

  outline({ id, outline, colour, dash, state }) {
    const line = id === this.data.chosen ? CANDIDATE_LINE + 1.5 : CANDIDATE_LINE;
    const points = path(outline);
    const under = make("polygon", { class: "under", points, "stroke-width": line + 2.5 });
    const over = make("polygon", { class: "over", points, stroke: colour, "stroke-width": line });
    over.setAttribute("stroke-dasharray", dash.map((length) => length * CANDIDATE_LINE).join(" "));
    over.dataset.id = id;
    for (const layer of [under, over]) layer.dataset.decided = state;
    return [under, over];
  }

  badge(candidate) {
    const chosen = candidate.id === this.data.chosen;
    const group = make("g", { class: chosen ? "badge chosen" : "badge" });
    const text = make("text", { x: BADGE.pad, y: BADGE.height - 7, "font-size": BADGE.text });
    text.textContent = chosen ? `${candidate.badge} ${candidate.name}` : candidate.badge;
    const plate = make("rect", { height: BADGE.height, rx: 4, stroke: candidate.colour });
    group.append(plate, text);
    group.candidate = candidate;
    return group;
  }

  // Where it is drawn

  size() {
    const { clientWidth, clientHeight } = this.svg;
    return { width: clientWidth || 1, height: clientHeight || 1 };
  }

  whole() {
    const { width, height } = this.size();
    return Math.max(this.data.photo.width / width, this.data.photo.height / height);
  }

  layout() {
    const { width, height } = this.size();
    const { photo } = this.data;
    const whole = this.whole();
    const view = this.view ?? { x: (photo.width - 1) / 2, y: (photo.height - 1) / 2, scale: whole };
    view.scale = clamp(view.scale, Math.min(CLOSEST, whole), whole);
    const reach = (length, extent) => {
      const half = Math.min(length / 2, (extent * view.scale) / 2);
      return [half - 0.5, length - half - 0.5];
    };
    view.x = clamp(view.x, ...reach(photo.width, width));
    view.y = clamp(view.y, ...reach(photo.height, height));
    this.view = view;
    const left = view.x - (width * view.scale) / 2;
    const top = view.y - (height * view.scale) / 2;
    this.svg.setAttribute("viewBox", `${left} ${top} ${width * view.scale} ${height * view.scale}`);
    // A whole photo leaves nothing to pan: let a finger scroll the page instead.
    const still = view.scale >= whole && this.mode === "look";
    this.svg.style.touchAction = still ? "pan-y" : "none";
    const taken = [];
    for (const group of [...this.badges.children].reverse()) this.place(group, left, top, taken);
  }

  // Badges keep their size on screen, stay inside the view and off each other.
  place(group, left, top, taken) {
    const { scale } = this.view;
    const { width, height } = this.size();
    const [plate, text] = group.children;
    const wide = text.getComputedTextLength() + 2 * BADGE.pad;
    plate.setAttribute("width", wide);
    const [x, y, w, h] = group.candidate.box;
    const across = clamp((x - left) / scale, 2, Math.max(2, width - wide - 2));
    const above = (y - top) / scale - BADGE.height - 4;
    const below = (y + h - top) / scale + 4;
    const seen = (y + h - top) / scale > 0 && (y - top) / scale < height;
    const visible = seen && (x + w - left) / scale > 0 && (x - left) / scale < width;
    group.setAttribute("visibility", visible ? "visible" : "hidden");
    const free = (at) =>
      at >= 2 &&
      at + BADGE.height <= height - 2 &&
      taken.every(
        (other) =>
          Math.abs(other.y - at) >= BADGE.height + 2 ||
          across + wide + 2 <= other.x ||
          other.x + other.wide + 2 <= across,
      );
    const step = BADGE.height + 3;
    const tries = [above, below];
    for (let n = 1; n < 12; n += 1) tries.push(above - n * step, below + n * step);
    const down = tries.find(free) ?? clamp(above, 2, height - BADGE.height - 2);
    if (visible) taken.push({ x: across, y: down, wide });
    group.setAttribute("transform", `translate(${left + across * scale} ${top + down * scale}) scale(${scale})`);
  }

  centreOn(candidate) {
    if (!candidate) return;
    const [x, y, w, h] = candidate.box;
    Object.assign(this.view, { x: x + w / 2, y: y + h / 2 });
  }

  zoom(factor, at = null) {
    const { view } = this;
    const scale = clamp(view.scale / factor, Math.min(CLOSEST, this.whole()), this.whole());
    if (at) {
      view.x = at.x + ((view.x - at.x) * scale) / view.scale;
      view.y = at.y + ((view.y - at.y) * scale) / view.scale;
    }
    view.scale = scale;
    this.layout();
  }

  closer() {
    const candidate = this.chosen();
    if (!candidate) return;
    const { width, height } = this.size();
    const [, , w, h] = candidate.box;
    this.view.scale = 2 * Math.max(w / width, h / height);
    this.centreOn(candidate);
    this.layout();
  }

  pixel(event) {
    return new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
  }

  // Fingers, mouse, keys

  press(event) {
    if (event.button > 0) return;
    this.svg.focus({ preventScroll: true });
    this.svg.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, event);
    const { mode } = this;
    if (this.pointers.size > 1) {
      this.start = null;
      this.rubber.replaceChildren();
      return;
    }
    const draws = mode === "mark" || (mode === "look" && event.shiftKey) ? "box" : mode === "fastener" ? "fastener" : null;
    this.start = { event, draws, pixel: this.pixel(event), view: { ...this.view } };
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const others = [...this.pointers.values()].filter((p) => p.pointerId !== event.pointerId);
    this.pointers.set(event.pointerId, event);
    if (others.length === 1) {
      const [other] = others;
      const gap = (p) => Math.hypot(p.clientX - other.clientX, p.clientY - other.clientY);
      const middle = { clientX: (event.clientX + other.clientX) / 2, clientY: (event.clientY + other.clientY) / 2 };
      this.zoom(gap(event) / Math.max(gap(before), 1), this.pixel(middle));
      this.shift((before.clientX - event.clientX) / 2, (before.clientY - event.clientY) / 2);
    } else if (this.start && this.slipped(event)) {
      if (this.start.draws) this.stretch(this.draft(event));
      else this.shift(before.clientX - event.clientX, before.clientY - event.clientY);
    }
  }

  release(event) {
    const { start } = this;
    this.cancel(event);
    if (!start) return;
    const { draws, pixel } = start;
    const tapped = !this.slipped(event, start);
    if (draws === "fastener") {
      const radius = tapped ? null : this.draft(event, start).radius;
      this.send("fastener", { cx: pixel.x, cy: pixel.y, radius });
    } else if (draws === "box" && !tapped) {
      const { box } = this.draft(event, start);
      if (box[2] >= 1 && box[3] >= 1) {
        this.send("drawn", { box });
        this.setMode("look");
      }
    } else if (tapped) {
      const hit = this.hit(pixel);
      if (hit) this.send("picked", { id: hit.id });
    }
  }

  cancel(event) {
    this.pointers.delete(event.pointerId);
    this.start = null;
    this.rubber.replaceChildren();
    if (this.data.drawn) this.stretch(this.data.drawn);
  }

  slipped(event, start = this.start) {
    return Math.hypot(event.clientX - start.event.clientX, event.clientY - start.event.clientY) > TAP;
  }

  shift(dx, dy) {
    this.view.x += dx * this.view.scale;
    this.view.y += dy * this.view.scale;
    this.layout();
  }

  // The box between two corners, kept on the photo, or the circle from a fastener's centre to its edge.
  draft(event, start = this.start) {
    const { x, y } = this.pixel(event);
    const { pixel, draws } = start;
    if (draws === "fastener") return { cx: pixel.x, cy: pixel.y, radius: Math.hypot(x - pixel.x, y - pixel.y) };
    const { width, height } = this.data.photo;
    const xs = [pixel.x, x].map((v) => clamp(v, -0.5, width - 0.5)).sort((a, b) => a - b);
    const ys = [pixel.y, y].map((v) => clamp(v, -0.5, height - 0.5)).sort((a, b) => a - b);
    return { box: [xs[0], ys[0], xs[1] - xs[0], ys[1] - ys[0]] };
  }

  stretch({ box, cx, cy, radius }) {
    const shape = box
      ? ["rect", { x: box[0], y: box[1], width: box[2], height: box[3] }]
      : ["circle", { cx, cy, r: radius }];
    this.rubber.replaceChildren(
      ...["under", "over"].map((layer) => make(shape[0], { ...shape[1], class: `rubber ${layer}` })),
    );
  }

  // The smallest candidate under a finger; its box is widened to what a finger can hit.
  hit({ x, y }) {
    const margin = REACH * this.view.scale;
    const under = this.data.candidates.filter(({ box: [left, top, w, h] }) => {
      const near = (value, from, length) => value >= from - margin && value <= from + length + margin;
      return near(x, left, w) && near(y, top, h);
    });
    return under.sort((a, b) => a.box[2] * a.box[3] - b.box[2] * b.box[3])[0];
  }

  wheel(event) {
    event.preventDefault();
    this.zoom(Math.exp(-event.deltaY / 400), this.pixel(event));
  }

  key(event) {
    const tool = { "+": "in", "=": "in", "-": "out", 0: "whole" }[event.key];
    if (!tool || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    event.stopPropagation();
    this.tool(this.root.querySelector(`button[data-tool="${tool}"]`));
  }

  setMode(mode) {
    this.mode = mode;
    this.root.dataset.mode = mode;
    for (const name of ["mark", "fastener"]) {
      this.root.querySelector(`button[data-tool="${name}"]`).setAttribute("aria-pressed", name === mode);
    }
    this.layout();
  }

  tool(button) {
    const toggle = () => {
      const on = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", on);
      return on;
    };
    const tools = {
      in: () => this.zoom(1.5),
      out: () => this.zoom(1 / 1.5),
      whole: () => this.zoom(0),
      closer: () => this.closer(),
      circles: () => this.root.classList.toggle("circles", toggle()),
      lines: () => this.root.classList.toggle("lines", toggle()),
      mark: () => this.setMode(this.mode === "mark" ? "look" : "mark"),
      fastener: () => this.setMode(this.mode === "fastener" ? "look" : "fastener"),
    };
    tools[button.dataset.tool]();
  }
}

export default function ({ parentElement, data, setTriggerValue }) {
  const root = parentElement.querySelector(".viewer");
  root.viewer ??= new Viewer(root);
  root.viewer.send = setTriggerValue;
  root.viewer.update(data);
  return () => root.viewer?.resized.disconnect();
}
