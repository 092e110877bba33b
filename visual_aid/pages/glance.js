// The second press of a double press, or a key that is held, decides on nothing that nobody has looked at.

const GLANCE = 300; // ms: nobody sees what is asked and answers sooner; from memory, a choice takes 350 ms or more
const FIELD = "input, textarea, select, [contenteditable=true], [role=dialog], [role=listbox]";

// What is asked, and since when: kept here, since a page that moves it puts up another Glance.
const shown = { question: undefined, since: 0 };

class Glance {
  constructor(note) {
    this.note = note;
    this.pressed = (event) => this.press(event);
    this.drawn = new MutationObserver(() => this.look());
  }

  update({ keys }) {
    this.keys = keys;
    this.look();
    // The buttons may be drawn before or after this is called.
    this.drawn.observe(document.body, { childList: true, subtree: true, attributeFilter: ["class"] });
    // On the window, before any of the page's own listeners.
    for (const kind of ["click", "keydown"]) window.addEventListener(kind, this.pressed, true);
  }

  leave() {
    this.drawn.disconnect();
    for (const kind of ["click", "keydown"]) window.removeEventListener(kind, this.pressed, true);
  }

  // Note when another question is drawn: its buttons have another name.
  look() {
    const button = document.querySelector('.st-key-decide [class*="st-key-confirmed-"]');
    const question = button?.className.match(/st-key-confirmed-[\d-]+/)[0];
    if (question === undefined || question === shown.question) return;
    shown.question = question;
    shown.since = Infinity; // until it is painted: a slow browser is still at work on the photo
    requestAnimationFrame(() => setTimeout(() => { shown.since = performance.now(); }));
    this.note.hidden = true;
  }

  press(event) {
    if (!this.decides(event)) return;
    // By when it was pressed: a slow browser may hand it on later.
    const early = event.repeat || event.timeStamp - shown.since < GLANCE;
    if (early) {
      event.preventDefault();
      event.stopImmediatePropagation();
    }
    this.note.hidden = !early;
  }

  decides(event) {
    const within = (selector) => event.composedPath().some((element) => element.matches?.(selector));
    if (event.type === "click") return within(".st-key-decide button:enabled");
    const modified = event.ctrlKey || event.metaKey || event.altKey;
    // What fills in forms sends keys without a name.
    return this.keys.includes(event.key?.toUpperCase()) && !modified && !within(FIELD);
  }
}

export default function ({ parentElement, data }) {
  const note = parentElement.querySelector("p");
  note.glance ??= new Glance(note);
  note.glance.update(data);
  return () => note.glance.leave();
}
