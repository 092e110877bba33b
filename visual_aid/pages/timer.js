// Counts a wait down by the clock. It runs in the browser alone and outlives what the page does meanwhile.

const words = (seconds) =>
  seconds < 60 ? `${seconds} s` : `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")} min`;

// Three beeps: the person looks at the vehicle, not at the screen.
const beep = (sound) => {
  for (const at of [0, 0.4, 0.8]) {
    const tone = sound.createOscillator();
    tone.connect(sound.destination);
    tone.start(sound.currentTime + at);
    tone.stop(sound.currentTime + at + 0.2);
  }
};

class Timer {
  constructor(root) {
    this.button = root.querySelector("button");
    this.left = root.querySelector("output");
    this.say = root.querySelector("p");
    this.button.onclick = () => (this.ticking ? this.stop("Stopped early.") : this.start());
  }

  start() {
    this.sound ??= new AudioContext(); // may sound only because a tap began it
    this.ends = Date.now() + 1000 * this.seconds;
    this.ticking = setInterval(() => this.show(), 200);
    this.say.textContent = "";
    this.show();
  }

  stop(why) {
    clearInterval(this.ticking);
    this.ticking = null;
    this.say.textContent = why;
    this.show();
  }

  show() {
    if (!this.ticking) {
      this.button.textContent = `Start ${words(this.seconds)}`;
      this.left.textContent = "";
      return;
    }
    const left = Math.ceil((this.ends - Date.now()) / 1000);
    this.button.textContent = "Stop";
    this.left.textContent = words(Math.max(0, left));
    if (left <= 0) {
      this.stop(`${words(this.seconds)} are over.`);
      beep(this.sound);
      navigator.vibrate?.([300, 200, 300]);
    }
  }
}

export default function ({ parentElement, data }) {
  const root = parentElement.querySelector(".timer");
  root.timer ??= new Timer(root);
  root.timer.seconds = data.seconds;
  root.timer.show();
}
