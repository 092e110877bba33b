// The photo with what is flagged on it. Everything inside the SVG is in pixels of the upright photo;
// zoom and pan live in the browser, candidates and decisions live in Python.

const REACH = 22; // screen pixels around an outline that still count as on it: half a touch target
const CANDIDATE_LINE = 2.5;
const BADGE = { height: 24, pad: 7, text: 15 };

class Viewer extends PhotoView {
  constructor(root) {
    super(root.querySelector("svg"));
    this.root = root;
    this.circles = this.svg.appendChild(make("g", { class: "fasteners" }));
    this.covers = this.svg.appendChild(make("g", { class: "covers" }));
    this.shapes = this.svg.appendChild(make("g"));
    this.badges = this.svg.appendChild(make("g"));
    this.rubber = this.svg.appendChild(make("g"));
    this.data = { candidates: [], fasteners: [] };
    this.mode = "look"; // or "mark": draw a box, or "fastener": point one out
    this.image.onerror = () => (root.dataset.state = "missing");
    this.image.onload = () => (root.dataset.state = "shown");
    this.svg.onkeydown = (event) => this.key(event);
    for (const button of root.querySelectorAll("button")) button.onclick = () => this.tool(button);
  }

  update(data) {
    const moved = data.chosen !== this.data.chosen;
    this.data = data;
    if (this.open(data.photo)) {
      this.root.dataset.state = "loading";
      this.setMode("look");
    } else if (moved && this.chosen() && this.view && this.view.scale < this.whole()) {
      this.centreOn(this.chosen().box);
    }
    this.svg.setAttribute("aria-label", data.label);
    this.root.querySelector('[data-tool="mark"]').textContent = data.tool;
    this.root.querySelector(".for-mark").textContent = data.hint;
    this.root.querySelector('[data-tool="fastener"]').hidden = !data.points;
    this.draw();
    this.layout();
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
    this.covers.replaceChildren(
      ...this.data.blurred.map(([x, y, width, height]) => make("rect", { x, y, width, height })),
    );
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

  scrolls() {
    return this.mode === "look";
  }

  placed(left, top) {
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

  // Fingers, mouse, keys

  begins(event) {
    const { mode } = this;
    if (!this.start) this.rubber.replaceChildren();
    else if (mode === "mark" || (mode === "look" && event.shiftKey)) this.start.draws = "box";
    else if (mode === "fastener") this.start.draws = "fastener";
  }

  dragged(event) {
    if (this.start.draws) this.stretch(this.draft(event));
    return this.start.draws;
  }

  ended(event, start, tapped) {
    const { draws, pixel } = start;
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
    super.cancel(event);
    this.rubber.replaceChildren();
    if (this.data.drawn) this.stretch(this.data.drawn);
  }

  // The box between two corners, kept on the photo, or the circle from a fastener's centre to its edge.
  draft(event, start = this.start) {
    const { x, y } = this.pixel(event);
    const { pixel, draws } = start;
    if (draws === "fastener") return { cx: pixel.x, cy: pixel.y, radius: Math.hypot(x - pixel.x, y - pixel.y) };
    const { width, height } = this.photo;
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
      closer: () => this.chosen() && this.closerTo(this.chosen().box),
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
