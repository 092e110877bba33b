// A photo in an SVG, to look at closely. Everything inside the SVG is in pixels of the upright photo; the
// centre of the first pixel is (0, 0), so its corner lies half a pixel outside.

const SVG = "http://www.w3.org/2000/svg";
const TAP = 8; // screen pixels that a finger may slip and still tap
const CLOSEST = 1 / 8; // photo pixels per screen pixel at the strongest zoom

const make = (name, attributes = {}) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
};
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
const path = (points) => points.map(([x, y]) => `${x},${y}`).join(" ");

class PhotoView {
  constructor(svg) {
    this.svg = svg;
    this.image = svg.appendChild(make("image"));
    this.photo = { url: "", width: 1, height: 1 };
    this.pointers = new Map();
    svg.onpointerdown = (event) => this.press(event);
    svg.onpointermove = (event) => this.move(event);
    svg.onpointerup = (event) => this.release(event);
    svg.onpointercancel = (event) => this.cancel(event);
    svg.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    this.resized = new ResizeObserver(() => this.layout());
  }

  // What those who show more than a photo add: what a press begins, what a drag does other than pan, what a
  // press ends in, whether a finger may scroll the page instead of the photo, what moves with the view.
  begins() {}
  dragged() {}
  ended() {}
  scrolls() {
    return true;
  }
  placed() {}

  // Show a photo; true if it is another one than before.
  open({ url, width, height }) {
    const other = url !== this.photo.url;
    this.photo = { url, width, height };
    if (other) {
      const frame = { href: url, x: -0.5, y: -0.5, width, height };
      for (const [key, value] of Object.entries(frame)) this.image.setAttribute(key, value);
      this.svg.style.aspectRatio = `${width} / ${height}`;
      this.view = null;
    }
    this.resized.observe(this.svg);
    return other;
  }

  size() {
    const { clientWidth, clientHeight } = this.svg;
    return { width: clientWidth || 1, height: clientHeight || 1 };
  }

  whole() {
    const { width, height } = this.size();
    return Math.max(this.photo.width / width, this.photo.height / height);
  }

  layout() {
    const { width, height } = this.size();
    const { photo } = this;
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
    this.svg.style.touchAction = view.scale >= whole && this.scrolls() ? "pan-y" : "none";
    this.placed(left, top);
  }

  centreOn([x, y, w, h]) {
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

  closerTo(box) {
    const { width, height } = this.size();
    this.view.scale = 2 * Math.max(box[2] / width, box[3] / height);
    this.centreOn(box);
    this.layout();
  }

  pixel(event) {
    return new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
  }

  // Fingers and mouse

  press(event) {
    if (event.button > 0) return;
    this.svg.focus({ preventScroll: true });
    this.svg.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, event);
    this.start = this.pointers.size > 1 ? null : { event, pixel: this.pixel(event) };
    this.begins(event);
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
    } else if (this.start && this.slipped(event) && !this.dragged(event)) {
      this.shift(before.clientX - event.clientX, before.clientY - event.clientY);
    }
  }

  release(event) {
    const { start } = this;
    this.cancel(event);
    if (start) this.ended(event, start, !this.slipped(event, start));
  }

  cancel(event) {
    this.pointers.delete(event.pointerId);
    this.start = null;
  }

  slipped(event, start = this.start) {
    return Math.hypot(event.clientX - start.event.clientX, event.clientY - start.event.clientY) > TAP;
  }

  shift(dx, dy) {
    this.view.x += dx * this.view.scale;
    this.view.y += dy * this.view.scale;
    this.layout();
  }

  wheel(event) {
    event.preventDefault();
    this.zoom(Math.exp(-event.deltaY / 400), this.pixel(event));
  }
}
