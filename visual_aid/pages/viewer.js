// The photo with what is flagged on it. Everything inside the SVG is in pixels of the upright photo;
// zoom and pan live in the browser, candidates and decisions live in Python.

const REACH = 22; // screen pixels around an outline that still count as on it: half a touch target
const GRIP = 9; // screen pixels of a corner to drag by
const END = 12; // screen pixels of the cross at an end of a known length, to each side
// Screen pixels by which a tap misses what is meant; two of three lie within. Common practice, no source.
const MISS = { mouse: 1, pen: 1.5, touch: 4 };
const CANDIDATE_LINE = 2.5;
const BADGE = { height: 24, pad: 7, text: 15 };

const dashes = (dash) => dash.map((length) => length * CANDIDATE_LINE).join(" ");

class Viewer extends PhotoView {
  constructor(root) {
    super(root.querySelector("svg"));
    this.root = root;
    // A nested svg cuts off what lies beyond its width: the visit before shows left of the line.
    this.former = this.svg.appendChild(make("svg", { class: "former", preserveAspectRatio: "none" }));
    this.formerImage = this.former.appendChild(make("image", { preserveAspectRatio: "none" }));
    this.line = this.svg.appendChild(make("g", { class: "former" }));
    this.circles = this.svg.appendChild(make("g", { class: "fasteners" }));
    this.covers = this.svg.appendChild(make("g", { class: "covers" }));
    this.shapes = this.svg.appendChild(make("g"));
    this.badges = this.svg.appendChild(make("g"));
    this.rubber = this.svg.appendChild(make("g"));
    this.rule = this.svg.appendChild(make("g"));
    this.data = { candidates: [], fasteners: [] };
    this.ends = []; // of a known length, while they are being pointed out
    // or "box", "outline": draw a mark; "fastener": point one out; "length": tap its ends; "wipe": see before
    this.mode = "look";
    this.image.onerror = () => (root.dataset.state = "missing");
    this.image.onload = () => (root.dataset.state = "shown");
    // Keys work wherever the focus is, as the page's own do, but not in fields.
    this.pressed = (event) => this.key(event);
    for (const button of root.querySelectorAll("button")) button.onclick = () => this.tool(button);
  }

  update(data) {
    const moved = data.chosen !== this.data.chosen;
    const laid = data.before !== this.data.before;
    this.data = data;
    const other = this.open(data.photo);
    if (other) this.root.dataset.state = "loading";
    if (other || laid) {
      this.formerImage.removeAttribute("href"); // fetched when asked for
      this.setMode(data.before && !data.tool ? "wipe" : "look");
    } else if (moved && this.chosen() && this.view && this.view.scale < this.whole()) {
      this.centreOn(this.chosen().box);
    }
    if (this.mode === "length" && !data.lengths) this.setMode("look");
    this.svg.setAttribute("aria-label", data.label);
    this.root.querySelector('[data-tool="box"] span').textContent = data.tool;
    this.root.querySelector(".for-box").textContent = data.hint;
    const offered = { box: data.tool, outline: data.outlines, fastener: data.points, length: data.lengths, wipe: data.before };
    for (const [tool, there] of Object.entries(offered)) {
      this.root.querySelector(`[data-tool="${tool}"]`).hidden = !there;
    }
    this.draw();
    this.legend();
    this.layout();
    document.addEventListener("keydown", this.pressed);
  }

  leave() {
    this.resized.disconnect();
    document.removeEventListener("keydown", this.pressed);
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

  legend() {
    const looks = new Map(this.data.candidates.map((candidate) => [candidate.name, candidate]));
    const rows = [...looks.values()].map(({ name, colour, dash }) => {
      const row = document.createElement("li");
      const sample = make("svg", { viewBox: "0 0 56 12", "aria-hidden": "true" });
      const at = { x1: 0, y1: 6, x2: 56, y2: 6 };
      sample.append(
        make("line", { ...at, class: "under", "stroke-width": CANDIDATE_LINE + 3 }),
        make("line", { ...at, stroke: colour, "stroke-width": CANDIDATE_LINE, "stroke-dasharray": dashes(dash) }),
      );
      row.append(sample, name);
      return row;
    });
    this.root.querySelector(".legend").replaceChildren(...rows);
  }

  outline({ id, outline, colour, dash, state, dial }) {
    const line = id === this.data.chosen ? CANDIDATE_LINE + 1.5 : CANDIDATE_LINE;
    const points = path(outline);
    const under = make("polygon", { class: "under", points, "stroke-width": line + 2.5 });
    const over = make("polygon", { class: "over", points, stroke: colour, "stroke-width": line });
    over.setAttribute("stroke-dasharray", dashes(dash));
    over.dataset.id = id;
    const layers = [under, over, ...(dial ? this.dial(dial, colour) : [])];
    for (const layer of layers) layer.dataset.decided = state;
    return layers;
  }

  // Where a nut that turned stood, where it stands, and how sure that is.
  dial({ stood, stands, doubt }, colour) {
    const hand = (points, layer, stroke) => make("polyline", { class: `hand ${layer}`, points: path(points), stroke });
    return [
      make("polygon", { class: "doubt", points: path(doubt), fill: colour }),
      hand(stood, "under"),
      hand(stood, "over stood", "#fff"),
      hand(stands, "under"),
      hand(stands, "over", colour),
    ];
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

  placed() {
    // Once a frame, however many moves there are in it.
    this.placing ??= requestAnimationFrame(() => {
      this.placing = null;
      const { x, y } = this.svg.viewBox.baseVal;
      const taken = [];
      for (const group of [...this.badges.children].reverse()) this.place(group, x, y, taken);
      this.drawLength();
      for (const grip of this.rubber.querySelectorAll(".handle")) grip.setAttribute("r", GRIP * this.view.scale);
    });
  }

  // Badges keep their size on screen, stay inside the view and off each other.
  place(group, left, top, taken) {
    const { scale } = this.view;
    const { width, height } = this.size();
    const [plate, text] = group.children;
    // Measured once: asking again after each move would lay the whole page out for every badge.
    if (!group.wide) {
      group.wide = text.getComputedTextLength() + 2 * BADGE.pad;
      plate.setAttribute("width", group.wide);
    }
    const { wide } = group;
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
    else {
      this.start.draws = mode === "look" ? (event.shiftKey && this.data.tool ? "box" : null) : mode;
      if (mode === "length") this.start.draws = null; // a drag pans, to bring the other end into view
      const far = mode === "look" ? this.opposite(this.start.pixel) : null;
      if (far) Object.assign(this.start, { draws: "box", pixel: far });
      this.start.trace = [this.start.pixel];
    }
  }

  dragged(event) {
    if (this.start.draws === "wipe") this.wipe(this.pixel(event).x);
    else if (this.start.draws) this.stretch(this.draft(event));
    return this.start.draws;
  }

  ended(event, start, still) {
    const { draws, pixel, trace } = start;
    const tapped = still && trace.length < 3; // an outline ends where it began
    if (this.mode === "length") {
      if (tapped) this.end(pixel, MISS[event.pointerType] ?? MISS.touch);
    } else if (draws === "fastener") {
      const radius = tapped ? null : this.draft(event, start).radius;
      this.send("fastener", { cx: pixel.x, cy: pixel.y, radius });
    } else if ((draws === "box" || draws === "outline") && !tapped) {
      const { box, outline = [] } = this.draft(event, start);
      if (box[2] >= 1 && box[3] >= 1) {
        this.send("drawn", { box, outline });
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

  // A drawn box is dragged by its corners: it is drawn anew from the corner that lies opposite.
  opposite({ x, y }) {
    const near = this.handles().find((corner) => Math.hypot(corner.x - x, corner.y - y) < REACH * this.view.scale);
    return near?.far;
  }

  handles() {
    const { box, outline } = this.data.drawn ?? {};
    if (!box || outline?.length) return [];
    const [left, top, width, height] = box;
    const at = (right, low) => ({ x: left + right * width, y: top + low * height });
    return [0, 1, 2, 3].map((i) => ({ ...at(i % 2, i >> 1), far: at(1 - (i % 2), 1 - (i >> 1)) }));
  }

  // What is being drawn, kept on the photo: a box between two corners, the outline that a finger went along
  // with the box around it, or the circle from a fastener's centre to its edge.
  draft(event, start = this.start) {
    const { x, y } = this.pixel(event);
    const { pixel, draws, trace } = start;
    if (draws === "fastener") return { cx: pixel.x, cy: pixel.y, radius: Math.hypot(x - pixel.x, y - pixel.y) };
    const { width, height } = this.photo;
    if (draws === "outline") {
      const last = trace.at(-1);
      if (Math.hypot(x - last.x, y - last.y) >= TAP * this.view.scale) trace.push({ x, y });
    }
    const corners = (draws === "outline" ? trace : [pixel, { x, y }]).map((point) => [
      clamp(point.x, -0.5, width - 0.5),
      clamp(point.y, -0.5, height - 0.5),
    ]);
    const [xs, ys] = [0, 1].map((axis) => corners.map((corner) => corner[axis]));
    const [left, top] = [Math.min(...xs), Math.min(...ys)];
    const box = [left, top, Math.max(...xs) - left, Math.max(...ys) - top];
    return draws === "outline" && corners.length > 2 ? { box, outline: corners } : { box };
  }

  stretch({ box, outline, cx, cy, radius }) {
    let shape = ["circle", { cx, cy, r: radius }];
    if (outline?.length) shape = ["polygon", { points: path(outline) }];
    else if (box) shape = ["rect", { x: box[0], y: box[1], width: box[2], height: box[3] }];
    this.rubber.replaceChildren(
      ...["under", "over"].map((layer) => make(shape[0], { ...shape[1], class: `rubber ${layer}` })),
      ...(this.start?.draws ? [] : this.handles()).map(({ x, y }) =>
        make("circle", { class: "handle", cx: x, cy: y, r: GRIP * (this.view?.scale ?? 1) }),
      ),
    );
  }

  // One end of a known length; the second one sends both.
  end({ x, y }, miss) {
    const { width, height } = this.photo;
    this.ends.push({ at: [clamp(x, 0, width - 1), clamp(y, 0, height - 1)], miss: miss * this.view.scale });
    if (this.ends.length < 2) return this.showEnds();
    this.send("length", { ends: this.ends.map(({ at }) => at), miss: Math.max(...this.ends.map(({ miss }) => miss)) });
    this.setMode("look");
  }

  showEnds() {
    this.root.querySelector(".for-length").textContent = this.ends.length
      ? "Now tap the other end."
      : "Zoom in, then tap one end of a length you know, such as a nut from flat to flat, in the plane of the part.";
    this.drawLength();
  }

  drawLength() {
    const ends = this.mode === "length" ? this.ends.map(({ at }) => at) : (this.data.length ?? []);
    const arm = END * (this.view?.scale ?? 1);
    const crosses = ends.map(([x, y]) => `M${x - arm},${y}H${x + arm}M${x},${y - arm}V${y + arm}`);
    const d = [...crosses, ends.length === 2 ? `M${ends[0]}L${ends[1]}` : ""].join("");
    this.rule.replaceChildren(...["under", "over"].map((layer) => make("path", { d, class: `rule ${layer}` })));
  }

  // Left of x the photo of the visit before is seen, right of it this one.
  wipe(x) {
    const { width, height } = this.photo;
    const share = clamp((x + 0.5) / width, 0.001, 1);
    if (!this.formerImage.hasAttribute("href")) this.formerImage.setAttribute("href", this.data.before);
    const cut = { x: -0.5, y: -0.5, width: width * share, height, viewBox: `0 0 ${width * share} ${height}` };
    for (const [key, value] of Object.entries(cut)) this.former.setAttribute(key, value);
    for (const [key, value] of Object.entries({ width, height })) this.formerImage.setAttribute(key, value);
    const at = width * share - 0.5;
    this.line.replaceChildren(
      ...["under", "over"].map((layer) =>
        make("line", { x1: at, x2: at, y1: -0.5, y2: height - 0.5, class: `rubber ${layer}` }),
      ),
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
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const field = "input, textarea, select, [contenteditable=true], [role=dialog], [role=listbox]";
    if (event.composedPath().some((element) => element.matches?.(field))) return;
    if (event.key === "Escape") this.setMode("look");
    const key = event.key.toLowerCase();
    for (const button of this.root.querySelectorAll("button[data-keys]")) {
      if (!button.dataset.keys.split(" ").includes(key) || button.hidden) continue;
      event.preventDefault();
      this.tool(button);
    }
  }

  setMode(mode) {
    this.mode = mode;
    this.root.dataset.mode = mode;
    this.ends = [];
    for (const name of ["box", "outline", "fastener", "length", "wipe"]) {
      this.root.querySelector(`button[data-tool="${name}"]`).setAttribute("aria-pressed", name === mode);
    }
    if (mode === "wipe") this.wipe(this.photo.width / 2);
    this.showEnds();
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
    };
    const { tool } = button.dataset;
    if (tool in tools) tools[tool]();
    else this.setMode(this.mode === tool ? "look" : tool);
  }
}

export default function ({ parentElement, data, setTriggerValue }) {
  const root = parentElement.querySelector(".viewer");
  root.viewer ??= new Viewer(root);
  root.viewer.send = setTriggerValue;
  root.viewer.update(data);
  return () => root.viewer?.leave();
}
