// One photo of a quiz: a trainee taps what looks loose or worn and says what it is, or that there is nothing.
// Once the answer is in, what is there is drawn and told. Marks are given in Python; what is told here goes
// by the same rule (gallery/quiz.py, mark).

const PIN = 13; // screen pixels
const inside = ({ x, y }, [left, top, w, h]) => x >= left && x <= left + w && y >= top && y <= top + h;
const area = ({ box }) => box[2] * box[3];

class Asking extends PhotoView {
  constructor(root) {
    super(root.querySelector("svg"));
    this.root = root;
    this.shapes = this.svg.appendChild(make("g"));
    this.pins = this.svg.appendChild(make("g"));
    this.data = { answer: null };
    this.image.onerror = () => (root.dataset.state = "missing");
    this.image.onload = () => (root.dataset.state = "shown");
    for (const button of root.querySelectorAll("button[data-do]")) {
      button.onclick = () => this.act(button.dataset.do);
    }
  }

  update(data) {
    this.data = data;
    if (this.open(data.photo) || this.number !== data.number) {
      this.number = data.number;
      this.taps = [];
      this.chosen = null;
    }
    if (data.answer) this.taps = data.answer;
    this.draw();
    this.layout();
  }

  ended(event, start, tapped) {
    if (!tapped || this.data.answer) return;
    const near = this.taps.findIndex((tap) => {
      const distance = Math.hypot(tap.x - start.pixel.x, tap.y - start.pixel.y);
      return distance < (1.5 * PIN) * this.view.scale;
    });
    const { width, height } = this.photo;
    const x = clamp(start.pixel.x, 0, width - 1);
    const y = clamp(start.pixel.y, 0, height - 1);
    if (near < 0) this.taps = [...this.taps.filter((tap) => tap.cue), { x, y, cue: null }];
    this.chosen = near < 0 ? this.taps.length - 1 : near;
    this.draw();
    this.layout();
  }

  act(what) {
    const { width, height } = this.photo;
    const acts = {
      in: () => this.zoom(1.5),
      out: () => this.zoom(1 / 1.5),
      whole: () => this.closerTo([0, 0, width, height]),
      nothing: () => this.send([]),
      done: () => this.send(this.taps),
    };
    acts[what]();
  }

  say(cue) {
    this.taps = this.taps.map((tap, index) => (index === this.chosen ? { ...tap, cue } : tap));
    this.draw();
    this.layout();
  }

  drop() {
    this.taps = this.taps.filter((_, index) => index !== this.chosen);
    this.chosen = null;
    this.draw();
    this.layout();
  }

  // What is drawn and told

  draw() {
    const { data, root } = this;
    const open = !data.answer;
    root.querySelector(".ask").textContent = open ? this.question() : `Photo ${data.number + 1} of ${data.count}`;
    root.querySelector(".answer").hidden = !open;
    root.querySelector(".answer").style.display = open ? "" : "none";
    root.querySelector('[data-do="done"]').disabled = !this.taps.length || this.taps.some((tap) => !tap.cue);
    root.querySelector('[data-do="nothing"]').disabled = this.taps.length > 0;
    root.querySelector(".cues").replaceChildren(...(open && this.chosen !== null ? this.choices() : []));
    this.pins.replaceChildren(...this.taps.map((tap, index) => this.pin(tap, index)));
    const regions = open ? [] : [...data.truth.look_alikes, ...data.truth.evidence];
    this.shapes.replaceChildren(...regions.flatMap((region) => this.outlined(region)));
    root.querySelector(".told").replaceChildren(...(open ? [] : this.told()).map(([kind, text]) => {
      const line = document.createElement("li");
      line.dataset.kind = kind;
      line.textContent = text;
      return line;
    }));
  }

  question() {
    const { number, count } = this.data;
    const head = `Photo ${number + 1} of ${count}. `;
    if (this.chosen !== null && !this.taps[this.chosen].cue) return `${head}What is it?`;
    if (this.taps.length) return `${head}Tap what else looks loose or worn. If that is all: Done.`;
    return `${head}Tap what looks loose or worn, or say that there is nothing.`;
  }

  choices() {
    const button = (text, act, pressed = null) => {
      const made = document.createElement("button");
      made.type = "button";
      made.textContent = text;
      made.onclick = act;
      if (pressed !== null) made.setAttribute("aria-pressed", pressed);
      return made;
    };
    const { cue } = this.taps[this.chosen];
    const said = this.data.cues.map((one) => button(one.label, () => this.say(one.cue), one.cue === cue));
    return [...said, button(`Take pin ${this.chosen + 1} off`, () => this.drop())];
  }

  pin(tap, index) {
    const group = make("g", { class: index === this.chosen && !this.data.answer ? "pin chosen" : "pin" });
    // Beside what was tapped once that is to be seen, with a dot where the finger was.
    const aside = this.data.answer ? PIN : 0;
    const text = make("text", { x: aside, y: 5 - aside });
    text.textContent = index + 1;
    if (aside) group.append(make("circle", { r: 3 }));
    group.append(make("circle", { r: PIN, cx: aside, cy: -aside }), text);
    group.tap = tap;
    return group;
  }

  placed() {
    for (const group of this.pins.children) {
      const { x, y } = group.tap;
      group.setAttribute("transform", `translate(${x} ${y}) scale(${this.view.scale})`);
    }
  }

  outlined({ outline, colour, dash }) {
    const points = path(outline);
    const over = make("polygon", { class: "over", points, stroke: colour });
    over.setAttribute("stroke-dasharray", dash.map((length) => length * 2.5).join(" "));
    return [make("polygon", { class: "under", points }), over];
  }

  told() {
    const { evidence, look_alikes: others, unsettled } = this.data.truth;
    const name = (cue) => this.data.cues.find((one) => one.cue === cue)?.label ?? cue;
    const on = (tap, regions) =>
      regions
        .filter(({ reach }) => inside(tap, reach))
        .sort((a, b) => (a.cue !== tap.cue) - (b.cue !== tap.cue) || area(a) - area(b))[0];
    const lines = evidence.map((region) => {
      const pins = this.taps.filter((tap) => on(tap, evidence) === region);
      const say = region.say ? ` ${region.say}` : "";
      const named = [region.label, region.grade].filter(Boolean).join(", ");
      if (!pins.length) return ["miss", `Missed: ${named}.${say}`];
      if (pins.some((tap) => tap.cue === region.cue)) return ["hit", `Found: ${named}.${say}`];
      return ["hit", `Found, but it is not ${name(pins[0].cue).toLowerCase()}: ${region.label}.${say}`];
    });
    this.taps.forEach((tap, index) => {
      if (on(tap, evidence)) return;
      const other = on(tap, others);
      const open = unsettled.some((box) => inside(tap, box));
      if (other && !open) lines.push(["false", `Pin ${index + 1}: looks like it, and is not. ${other.say}`]);
      else if (open) lines.push(["open", `Pin ${index + 1}: nobody has settled what is there. It does not count.`]);
      else lines.push(["false", `Pin ${index + 1}: nothing was found there.`]);
    });
    if (!evidence.length) lines.unshift(this.taps.length ? ["open", "Nothing was found on this photo."] : ["hit", "Right: nothing was found on this photo."]);
    if (others.length) lines.push(["open", "Outlined in white: looks like it, and is not."]);
    return lines;
  }
}
